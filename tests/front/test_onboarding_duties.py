"""Step 4 of taking on a household: what there is to do and how much that is."""

from datetime import date, timedelta
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


def test_a_years_care_is_told_from_the_rain_that_was_before_anybody_signs(coordinator):
    factory.make_care_rule(phase="settling_in", least_in=0.25)
    gauge = factory.make_gauge("MESA", lists_dry=False)
    for day in (date(2024, 7, 1), factory.TODAY):
        factory.make_readings(gauge, factory.at(day, "00:00"), timedelta(hours=1), [0], found=True)
    for day in (date(2024, 8, 1), date(2025, 8, 1), date(2025, 8, 20), date(2025, 8, 22)):
        factory.make_storm(factory.at(day, "15:00"), depth_in=0.5, gauges=[gauge])
    agreement = up_to_works(coordinator)
    page = text_of(coordinator.get(at(agreement, "duties")))
    # the storms of 20 and 22 August are one look: one in the first year, two in the second
    assert "about 2 (1 to 2)" in page
    assert "2 years of rain at gauge MESA" in page


def test_where_the_record_is_too_short_the_page_says_so(coordinator):
    agreement = up_to_works(coordinator)
    assert "No gauge near YUC-3 has a whole year on record yet" in text_of(
        coordinator.get(at(agreement, "duties"))
    )
