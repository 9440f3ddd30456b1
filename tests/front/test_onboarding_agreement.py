"""Step 5 of taking on a household: terms, who signs, the document."""

from datetime import date

import pytest

from stewardship.agreements.models import Document
from tests.front.walk import at, up_to_works

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen_day")]


def test_terms_are_saved(coordinator):
    agreement = up_to_works(coordinator)
    coordinator.post(
        at(agreement, "agreement"),
        {"do": "terms", "instrument": "licence", "language": "es", "begins_on": "2026-09-01"},
    )
    agreement.refresh_from_db()
    assert (agreement.instrument, agreement.language, agreement.begins_on) == (
        "licence",
        "es",
        date(2026, 9, 1),
    )


def test_it_says_who_is_not_named_yet_and_makes_no_document(coordinator):
    agreement = up_to_works(coordinator)
    response = coordinator.post(at(agreement, "agreement"), {"do": "offer", "on": "2026-07-15"})
    assert "nobody is named yet" in response.context["offer"].errors["on"][0]
    assert not Document.objects.filter(agreement=agreement).exists()


def test_somebody_is_named_and_taken_out(coordinator, cast):
    agreement = up_to_works(coordinator)
    coordinator.post(
        at(agreement, "agreement"),
        {"do": "name", "person": cast.other_owner.pk, "capacity": "owner"},
    )
    party = agreement.parties.get(person=cast.other_owner)
    coordinator.post(at(agreement, "agreement"), {"do": "unname", "party": party.pk})
    assert not agreement.parties.filter(person=cast.other_owner).exists()


def test_a_date_ahead_is_told_at_the_field(coordinator):
    agreement = up_to_works(coordinator)
    coordinator.post(at(agreement, "agreement"), {"do": "me"})
    response = coordinator.post(at(agreement, "agreement"), {"do": "offer", "on": "2026-08-01"})
    assert "not dated ahead" in response.context["offer"].errors["on"][0]
