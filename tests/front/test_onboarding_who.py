"""Step 1 of taking on a household: who, with whom, for whom."""

from datetime import date

import pytest

from people.choices import Channel
from people.models import Household, Organisation, Person
from stewardship.agreements.choices import InstrumentKind
from stewardship.agreements.models import Agreement
from tests.front.walk import LANDLORD, WHO, at, begin, faults, text_of

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen_day")]


def test_looking_at_the_first_step_writes_nothing(coordinator):
    before = Agreement.objects.count(), Person.objects.count()
    assert coordinator.get("/onboard/?q=quist").status_code == 200
    assert (Agreement.objects.count(), Person.objects.count()) == before


def test_somebody_in_the_book_is_found_and_taken(coordinator, cast):
    page = text_of(coordinator.get("/onboard/?q=quist"))
    assert f"?person={cast.owner.pk}" in page
    form = coordinator.get(f"/onboard/?person={cast.owner.pk}").context["page"].main
    assert form["given_name"].value() == "Ines"
    people = Person.objects.count()
    agreement = begin(
        coordinator,
        person=cast.owner.pk,
        given_name="Ines",
        family_name="Quist",
        emails="ines.quist@example.org",
    )
    assert Person.objects.count() == people
    assert agreement.parties.get().person == cast.owner


def test_a_tenant_comes_with_the_landlord(coordinator):
    agreement = begin(coordinator, **LANDLORD)
    parties = {p.capacity: p.person for p in agreement.parties.all()}
    assert set(parties) == {"tenant", "landlord"}
    assert str(parties["landlord"]) == "Iris Vand"
    assert parties["landlord"].channel == Channel.LETTER


@pytest.mark.parametrize(
    ("changes", "field", "words"),
    [
        ({"given_name": ""}, "given_name", "Fill this in"),
        ({"emails": ""}, "emails", "give an e-mail address"),
        ({"capacity": "tenant"}, "landlord-person", "needs the landlord’s consent"),
        (LANDLORD | {"landlord-postal": ""}, "landlord-email", "one way to reach"),
        (LANDLORD | {"landlord-email": "no"}, "landlord-email", "not an e-mail address"),
        ({"capacity": "agency_officer"}, "agency", "which agency they speak for"),
        ({"household_name": "Dueñas"}, "household_address", "where the new household lives"),
    ],
)
def test_what_is_missing_is_told_at_its_field_and_nothing_is_begun(
    coordinator, changes, field, words
):
    before = Agreement.objects.count()
    response = coordinator.post("/onboard/", WHO | changes)
    assert words in faults(response)[field]
    assert "Dueñas" in text_of(response)
    assert Agreement.objects.count() == before


def test_no_surname_and_no_reminders_are_fine(coordinator):
    agreement = begin(coordinator, family_name="", channel="none", emails="")
    assert str(agreement.parties.get().person) == "Marit"


def test_the_language_chosen_is_that_of_the_agreement(coordinator):
    assert begin(coordinator, language="es").language == "es"


def test_a_new_household_is_written_down(coordinator):
    agreement = begin(coordinator, household_name="Dueñas", household_address="30 Yucca Lane")
    assert agreement.parties.get().person.household == Household.objects.get(name="Dueñas")


def test_going_back_changes_the_same_person_and_their_capacity(coordinator):
    agreement = begin(coordinator, **LANDLORD)
    form = coordinator.get(at(agreement, "who")).context["page"].main
    assert form["given_name"].value() == "Marit"
    assert form["capacity"].value() == "tenant"
    people = Person.objects.count()
    coordinator.post(at(agreement, "who"), WHO | {"family_name": "Duarte"})
    assert Person.objects.count() == people
    party = agreement.parties.get()
    assert (str(party.person), party.capacity) == ("Marit Duarte", "owner")


def test_an_agency_office_is_offered_a_memorandum(coordinator, cast):
    agreement = begin(
        coordinator,
        capacity="agency_officer",
        agency=cast.agency.pk,
        agency_office="Maintenance",
    )
    assert agreement.instrument == InstrumentKind.MEMORANDUM
    assert agreement.parties.get().agency == cast.agency


def test_a_helper_walks_a_shorter_path(coordinator):
    agreement = begin(coordinator, capacity="helper")
    response = coordinator.get(f"/onboard/{agreement.reference}/")
    assert response.url == at(agreement, "agreement")
    assert coordinator.get(at(agreement, "works")).status_code == 404


SPOUSE = {"also0-given_name": "Teo", "also0-family_name": "Dueñas"}


def signers(agreement) -> dict[str, str]:
    return {str(party.person): party.capacity for party in agreement.parties.all()}


def test_spouses_sign_together_and_share_an_address_and_a_home(coordinator):
    agreement = begin(
        coordinator,
        household_name="Dueñas",
        household_address="30 Yucca Lane",
        **SPOUSE,
        **{"also0-language": "es"},
    )
    assert signers(agreement) == {"Marit Dueñas": "owner", "Teo Dueñas": "owner"}
    spouse = Person.objects.get(given_name="Teo")
    assert spouse.language == "es"
    assert spouse.household.name == "Dueñas"
    shared = spouse.contact_points.get()
    assert shared.value == "marit@example.org"
    assert shared.people.count() == 2


def test_one_who_signs_beside_can_have_an_address_and_a_way_of_their_own(coordinator):
    begin(coordinator, **SPOUSE, **{"also0-phone": "505-555-0142"})
    spouse = Person.objects.get(given_name="Teo")
    assert spouse.channel == Channel.TEXT
    assert spouse.contact_points.get().value == "505-555-0142"


def test_going_back_to_another_capacity_takes_those_beside_along(coordinator):
    agreement = begin(coordinator, **SPOUSE)
    coordinator.post(at(agreement, "who"), WHO | LANDLORD)
    assert signers(agreement) == {
        "Marit Dueñas": "tenant",
        "Teo Dueñas": "tenant",
        "Iris Vand": "landlord",
    }
    page = coordinator.get(at(agreement, "who"))
    assert str(page.context["person"]) == "Marit Dueñas"
    assert [str(party.person) for party in page.context["beside"]] == ["Teo Dueñas"]


def test_one_more_who_signs_is_taken_out_again(coordinator):
    agreement = begin(coordinator, then="another", **SPOUSE)
    party = agreement.parties.get(person__given_name="Teo")
    coordinator.post(at(agreement, "who"), {"do": "unname", "party": party.pk})
    assert signers(agreement) == {"Marit Dueñas": "owner"}


def test_t06_three_unit_owners_and_their_association_stand_in_one_agreement(coordinator):
    """The association holds the ground through somebody who signs for it; unit owners sign beside, each for themselves."""
    agreement = begin(
        coordinator,
        organisation_name="Tamarisk Court Owners",
        organisation_kind="condo",
        **{"also0-given_name": "Unit", "also0-family_name": "One"},
        **{"also1-given_name": "Ufa", "also1-family_name": "Two"},
    )
    first = agreement.parties.order_by("pk").first()
    assert first.organisation == Organisation.objects.get(name="Tamarisk Court Owners")
    assert first.organisation.contacts.get(role="signs").person == first.person
    assert agreement.parties.count() == 3
    # corrected later, the body stays theirs
    body = first.organisation
    coordinator.post(at(agreement, "who"), WHO | {"organisation": body.pk, "phones": "5055550101"})
    assert agreement.parties.filter(organisation=body).count() == 1
    assert body.contacts.count() == 1


def test_t38_a_daughter_gets_the_letters_and_signs_by_a_power_of_attorney(coordinator):
    agreement = begin(
        coordinator,
        **{
            "agent-given_name": "Sela",
            "agent-family_name": "Dueñas",
            "agent-letters": "on",
            "agent-signs": "on",
            "agent-authority": "power of attorney of 3 May 2026",
        },
    )
    mother = agreement.parties.get().person
    assert {row.scope for row in mother.agents.all()} == {"letters", "signs"}
    assert str(agreement.parties.get().signs_by) == "Sela Dueñas"
    page = text_of(coordinator.get(at(agreement, "agreement")))
    assert "Sela Dueñas signs for them" in page


@pytest.mark.parametrize(
    ("changes", "field", "words"),
    [
        ({"agent-given_name": "Sela"}, "agent-letters", "get the letters, sign, or both"),
        (
            {"agent-given_name": "Sela", "agent-signs": "on"},
            "agent-authority",
            "by what right they sign",
        ),
        ({"agent-letters": "on"}, "agent-given_name", "who acts for them"),
        ({"organisation_name": "Tamarisk Court"}, "organisation_kind", "what kind of body"),
        (
            {"organisation_name": "T", "organisation_kind": "condo", "capacity": "helper"},
            "organisation",
            "Only an owner or tenant",
        ),
        ({"also0-email": "teo@example.org"}, "also0-given_name", "one is needed"),
        ({"also0-given_name": "Teo", "also0-email": "teo"}, "also0-email", "not an e-mail"),
        (
            {"also0-given_name": "Teo", "also0-email": "t@example.org", "also0-channel": "text"},
            "also0-channel",
            "give a phone number",
        ),
        (
            {"also0-given_name": "Ines", "also0-family_name": "Quist"},
            "also0-someone_else",
            "Perhaps in the book already: Ines Quist",
        ),
    ],
)
def test_what_is_odd_about_the_others_is_told_at_its_field(coordinator, changes, field, words):
    response = coordinator.post("/onboard/", WHO | changes)
    assert words in faults(response)[field]
    assert not Person.objects.filter(given_name="Marit").exists()


def test_somebody_of_the_same_name_can_be_somebody_else(coordinator):
    also = {"also0-given_name": "Ines", "also0-family_name": "Quist", "also0-someone_else": "on"}
    agreement = begin(coordinator, **also)
    assert "Ines Quist" in signers(agreement)
    assert Person.objects.filter(given_name="Ines", family_name="Quist").count() == 2


def test_two_bodies_of_one_name_are_refused_and_nothing_is_half_written(coordinator):
    Organisation.objects.create(name="Tamarisk Court", kind="condo")
    body = {"organisation_name": "tamarisk court", "organisation_kind": "condo"}
    response = coordinator.post("/onboard/", WHO | body)
    assert "is in the book already" in faults(response)["__all__"]
    assert not Person.objects.filter(given_name="Marit").exists()


def test_nobody_who_died_is_taken_on(coordinator, cast):
    cast.owner.died_on = cast.owner.silent_since = date(2026, 6, 1)
    cast.owner.silent_why = "died"
    cast.owner.save()
    response = coordinator.post("/onboard/", WHO | {"person": cast.owner.pk})
    assert "Ines Quist died; choose somebody else" in faults(response)["__all__"]
    response = coordinator.post("/onboard/", WHO | {"also0-person": cast.owner.pk})
    assert "also0-person" in faults(response)
