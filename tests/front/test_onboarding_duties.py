"""Step 4 of taking on a household: what there is to do and how much that is."""

from io import BytesIO

import pytest
from pypdf import PdfReader

from stewardship.agreements.models import Document
from tests import factory
from tests.front.walk import at, text_of, up_to_works

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen_day")]


def test_what_was_talked_about_is_kept_and_the_rest_is_named(coordinator):
    agreement = up_to_works(coordinator)
    response = coordinator.post(
        at(agreement, "duties"), {"litter": "on", "trap": "on"}, follow=True
    )
    assert "5 duties have not been talked about yet" in text_of(response)
    assert {d.group for d in agreement.duties_shown.all()} == {"litter", "trap"}
    form = coordinator.get(at(agreement, "duties")).context["form"]
    assert form["litter"].value() and not form["plants"].value()


def test_the_times_are_those_of_the_care_rules_and_go_into_the_document(coordinator):
    factory.make_care_rule(phase="settling_in", least_in=0.25)
    factory.make_care_rule(trigger="calendar", phase="settling_in", every_days=30)
    agreement = up_to_works(coordinator)
    page = text_of(coordinator.get(at(agreement, "duties")))
    assert "each storm of 0.25 in or more, within 5 days of our message" in page
    assert "every 30 days" in page
    coordinator.post(at(agreement, "agreement"), {"do": "me"})
    coordinator.post(at(agreement, "agreement"), {"do": "offer", "on": "2026-07-15"})
    content = bytes(Document.objects.get(agreement=agreement).content)
    whole = " ".join(p.extract_text() for p in PdfReader(BytesIO(content)).pages)
    assert "each storm of 0.25 in or more" in " ".join(whole.split())
