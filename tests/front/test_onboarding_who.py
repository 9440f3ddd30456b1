"""Step 1 of taking on a household: who, with whom, for whom."""

import pytest

from people.choices import Channel
from people.models import Household, Person
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
        ({"given_name": ""}, "given_name", "required"),
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
