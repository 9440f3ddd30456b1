"""The pages for people, as a coordinator uses them."""

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from people.models import Household, Person
from tests import factory

pytestmark = pytest.mark.django_db

NEW = {
    "given_name": "Marit",
    "family_name": "Dueñas",
    "language": "es",
    "channel": "email",
    "emails": "marit@example.org",
    "phones": "",
    "postal": "",
    "agency_office": "",
    "note": "",
    "household_name": "",
    "household_address": "",
}


def text_of(response) -> str:
    return " ".join(response.content.decode().split())


class TestTheList:
    def test_it_says_how_each_is_reached_and_who_cannot_be(self, coordinator):
        factory.make_person("Wen", "", channel="email")
        page = text_of(coordinator.get("/people/"))
        assert "ines.quist@example.org" in page
        assert "there is no address" in page

    def test_the_filters_find_people(self, coordinator):
        wen = factory.make_person("Wen", "Abad", channel="email")
        for query, found in (
            ("q=abad", True),
            ("q=saltbush", False),
            ("unreachable=on", True),
            ("channel=letter", False),
        ):
            page = text_of(coordinator.get(f"/people/?{query}"))
            assert (f"/people/{wen.pk}/" in page) is found, query

    def test_it_downloads_as_csv_with_the_addresses(self, coordinator):
        rows = b"".join(coordinator.get("/people/?_export=csv").streaming_content).decode()
        assert "Odile Farrow" in rows
        assert "210 Yucca Lane" in rows

    def test_more_people_cost_no_more_queries(self, coordinator):
        def count() -> int:
            with CaptureQueriesContext(
                connection,
            ) as seen:
                coordinator.get("/people/")
            return len(seen)

        before = count()
        for number in range(12):
            factory.make_person(
                "Extra", str(number), email=f"e{number}@example.org", postal=f"{number} Row"
            )
        assert count() == before


class TestWritingSomebodyDown:
    def test_they_are_saved_and_shown(self, coordinator):
        response = coordinator.post("/people/new/", NEW, follow=True)
        assert "Marit Dueñas is saved." in text_of(response)
        person = Person.objects.get(given_name="Marit")
        assert person.contact_points.get().value == "marit@example.org"

    def test_no_surname_is_fine(self, coordinator):
        coordinator.post("/people/new/", NEW | {"family_name": ""})
        assert Person.objects.get(given_name="Marit").full_name == "Marit"

    def test_a_channel_without_an_address_is_told_at_the_field_and_nothing_typed_is_lost(
        self, coordinator
    ):
        response = coordinator.post("/people/new/", NEW | {"channel": "letter"})
        form = response.context["form"]
        assert form.errors["postal"] == [
            "They want to hear by letter: give a postal address, or choose another way."
        ]
        assert "marit@example.org" in text_of(response)
        assert not Person.objects.filter(given_name="Marit").exists()

    def test_a_bad_address_among_several_is_named(self, coordinator):
        response = coordinator.post("/people/new/", NEW | {"emails": "marit@example.org\nnot one"})
        assert "“not one” is not an e-mail address" in response.context["form"].errors["emails"][0]

    def test_several_addresses_are_kept(self, coordinator):
        coordinator.post(
            "/people/new/",
            NEW
            | {
                "phones": "505-555-0120\n505-555-0121",
                "postal": "1 Row\r\nPalo Azul\r\n\r\nBox 9\r\nPalo Azul",
            },
        )
        person = Person.objects.get(given_name="Marit")
        assert sorted(p.value for p in person.contact_points.filter(kind="postal")) == [
            "1 Row\nPalo Azul",
            "Box 9\nPalo Azul",
        ]
        assert person.contact_points.filter(kind="phone").count() == 2

    def test_somebody_alike_is_asked_about_once(self, coordinator):
        twin = NEW | {"given_name": "INÉS", "family_name": "quist", "emails": "other@example.org"}
        response = coordinator.post("/people/new/", twin)
        assert (
            "Perhaps in the book already: Ines Quist (the same name)."
            in response.context["form"].errors["someone_else"][0]
        )
        assert not Person.objects.filter(given_name="INÉS").exists()
        coordinator.post("/people/new/", twin | {"someone_else": "on"})
        assert Person.objects.filter(given_name="INÉS").exists()

    def test_a_new_household_needs_name_and_address(self, coordinator):
        response = coordinator.post("/people/new/", NEW | {"household_name": "Dueñas"})
        assert "household_address" in response.context["form"].errors
        coordinator.post(
            "/people/new/", NEW | {"household_name": "Dueñas", "household_address": "1 Row"}
        )
        assert Person.objects.get(given_name="Marit").household == Household.objects.get()


class TestCorrectingSomebody:
    def test_the_form_shows_what_is_known_and_saves_what_changed(self, coordinator, cast):
        page = coordinator.get(f"/people/{cast.owner.pk}/edit/")
        form = page.context["form"]
        assert form["emails"].value() == "ines.quist@example.org"
        response = coordinator.post(
            f"/people/{cast.owner.pk}/edit/",
            NEW | {"given_name": "Ines", "family_name": "Quist", "emails": "new@example.org"},
            follow=True,
        )
        assert "Ines Quist is saved." in text_of(response)
        assert [p.value for p in cast.owner.contact_points.all()] == ["new@example.org"]

    def test_an_address_is_marked_as_reaching_nobody_with_a_reason(self, coordinator, cast):
        point = cast.owner.contact_points.get(kind="email")
        address = f"/people/{cast.owner.pk}/contacts/{point.pk}/dead/"
        response = coordinator.post(address, {"why": " "}, follow=True)
        assert "Say how you know" in text_of(response)
        coordinator.post(address, {"why": "Mail came back"})
        point.refresh_from_db()
        assert point.dead_why == "Mail came back"
        assert "so nothing reaches them" in text_of(coordinator.get(f"/people/{cast.owner.pk}/"))

    def test_an_address_of_somebody_else_is_not_found(self, coordinator, cast):
        point = cast.owner.contact_points.get(kind="email")
        address = f"/people/{cast.tenant.pk}/contacts/{point.pk}/dead/"
        assert coordinator.post(address, {"why": "x"}).status_code == 404


class TestOnePerson:
    def test_the_page_joins_what_they_signed_and_what_they_owe(self, coordinator, cast):
        page = text_of(coordinator.get(f"/people/{cast.owner.pk}/"))
        assert "A-OAK-1-20250401" in page
        assert "OAK-1" in page
        assert "Does the work" in page

    @pytest.mark.parametrize("role", ["stranger", "reviewer", "volunteer", "reader"])
    def test_nobody_but_a_coordinator_finds_it(self, client_of, cast, role):
        client = client_of(role)
        for address in ("/people/", f"/people/{cast.owner.pk}/", "/people/new/"):
            assert client.get(address).status_code == 404


class TestWhatOtherListsCallThem:
    def test_t47_an_identifier_of_another_list_is_written_down_shown_and_taken_away(
        self, coordinator, cast
    ):
        address = f"/people/{cast.owner.pk}/"
        coordinator.post(f"{address}lists/", {"kept_by": " Assessor ", "value": "R-7"})
        page = text_of(coordinator.get(address))
        assert "R-7" in page
        assert "Assessor" in page
        row = cast.owner.external_ids.get()
        response = coordinator.post(
            f"/people/{cast.tenant.pk}/lists/",
            {"kept_by": "Assessor", "value": "R-7"},
            follow=True,
        )
        assert "In that list “R-7” is Ines Quist." in text_of(response)
        response = coordinator.post(f"{address}lists/", {"kept_by": "Assessor"}, follow=True)
        assert "The list and the name there go together." in text_of(response)
        assert coordinator.post(f"/people/{cast.tenant.pk}/lists/{row.pk}/drop/").status_code == 404
        coordinator.post(f"{address}lists/{row.pk}/drop/")
        assert not cast.owner.external_ids.exists()


class TestHouseholds:
    def test_its_page_shows_who_lives_there_and_it_is_put_right(self, coordinator, cast):
        home = Household.objects.create(name="Quist", address="110 Saltbush Street")
        cast.owner.household = home
        cast.owner.save()
        assert "Ines Quist" in text_of(coordinator.get(f"/people/households/{home.pk}/"))
        facts = {"name": "Quist and Okello", "address": "110 Saltbush St", "one_letter": "on"}
        coordinator.post(f"/people/households/{home.pk}/edit/", facts)
        home.refresh_from_db()
        assert (home.name, home.one_letter) == ("Quist and Okello", True)

    def test_the_same_name_at_the_same_address_is_refused_in_words(self, coordinator):
        one = Household.objects.create(name="Quist", address="1 Row")
        other = Household.objects.create(name="Rea", address="1 Row")
        response = coordinator.post(
            f"/people/households/{other.pk}/edit/", {"name": "Quist", "address": "1 Row"}
        )
        assert "say that the two are one" in text_of(response)
        other.refresh_from_db()
        assert other.name == "Rea"
        assert one.name == "Quist"


def test_a_person_with_one_name_only_is_fine_on_every_page(coordinator, cast):
    wen = factory.make_person("Wen", "", email="wen@example.org")
    twin = factory.make_person("Wen", "Abad")
    pages = ["", "edit/", "erase/", "same/", f"same/?with={twin.pk}"]
    for page in [f"/people/{wen.pk}/{one}" for one in pages] + ["/people/", "/people/?q=wen"]:
        response = coordinator.get(page)
        assert response.status_code == 200, page
        assert "Wen" in text_of(response)
        assert "None" not in text_of(response).replace("None.", ""), page
    rows = b"".join(coordinator.get("/people/?_export=csv").streaming_content).decode()
    assert "Wen," in rows
