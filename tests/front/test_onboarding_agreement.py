"""Step 5 of taking on a household: terms, who signs, the document."""

from datetime import date

import pytest

from people.agents import name_agent
from stewardship.agreements.models import Document
from tests import factory
from tests.front.walk import at, text_of, up_to_works

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen_day")]


def test_terms_are_saved(coordinator):
    agreement = up_to_works(coordinator)
    coordinator.post(
        at(agreement, "agreement"),
        {
            "do": "terms",
            "sharing": "together",
            "instrument": "licence",
            "language": "es",
            "begins_on": "2026-09-01",
        },
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


TERMS = {"do": "terms", "instrument": "care_agreement", "language": "en", "sharing": "together"}


def test_faults_notices_and_parts_are_settled_in_the_same_form(coordinator):
    agreement = up_to_works(coordinator, **{"also0-given_name": "Teo"})
    first, second = agreement.parties.order_by("pk")
    coordinator.post(
        at(agreement, "agreement"),
        TERMS
        | {
            "cure_days": "45",
            "notices_by": "certified",
            "sharing": "parts",
            f"part_{first.pk}": "the inlet and the trap",
            f"part_{second.pk}": "the plants",
        },
    )
    agreement.refresh_from_db()
    assert (agreement.cure_days, agreement.notices_by) == (45, "certified")
    assert [party.part for party in agreement.parties.order_by("pk")] == [
        "the inlet and the trap",
        "the plants",
    ]


def test_parts_without_words_are_refused_and_what_was_typed_stays(coordinator):
    agreement = up_to_works(coordinator, **{"also0-given_name": "Teo"})
    response = coordinator.post(
        at(agreement, "agreement"), TERMS | {"sharing": "parts", "cure_days": "45"}
    )
    assert "Say which part is cared for by" in text_of(response)
    assert response.context["settled"]["cure_days"].value() == "45"
    agreement.refresh_from_db()
    assert agreement.cure_days is None


def test_an_offer_stands_until_the_day_that_was_given(coordinator):
    agreement = up_to_works(coordinator)
    coordinator.post(at(agreement, "agreement"), {"do": "me"})
    offer = {"do": "offer", "on": "2026-07-15"}
    response = coordinator.post(at(agreement, "agreement"), offer | {"until": "2026-07-14"})
    assert "That day has passed" in response.context["offer"].errors["until"][0]
    assert not agreement.documents.exists()
    coordinator.post(at(agreement, "agreement"), offer | {"until": "2026-08-31"})
    agreement.refresh_from_db()
    assert agreement.offer_until == date(2026, 8, 31)
    page = text_of(coordinator.get(at(agreement, "agreement")))
    assert "signs after the others" in page  # the program countersigns


def test_somebody_with_the_right_to_sign_is_offered_and_taken_back(coordinator, cast):
    agreement = up_to_works(coordinator)
    party = agreement.parties.get()
    right = name_agent(
        principal=party.person,
        agent=cast.tenant,
        scope="signs",
        starts_on=factory.TODAY,
        authority="power of attorney of 1 July 2026",
    )
    page = at(agreement, "agreement")
    coordinator.post(page, {"do": "agent", "party": party.pk, "agent": right.pk})
    party.refresh_from_db()
    assert party.signs_by == cast.tenant
    coordinator.post(page, {"do": "self", "party": party.pk})
    party.refresh_from_db()
    assert party.signs_by is None


def test_nobody_without_a_right_can_be_made_to_sign_for_another(coordinator, cast):
    agreement = up_to_works(coordinator)
    party = agreement.parties.get()
    response = coordinator.post(
        at(agreement, "agreement"), {"do": "agent", "party": party.pk, "agent": "1"}
    )
    assert response.status_code == 404
