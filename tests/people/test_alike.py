"""Who is perhaps in the book already: offered as somebody is typed, asked about once, never decided."""

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from people.alike import AlikePerson, households_alike, people_alike
from people.choices import ContactKind
from people.likeness import Why
from people.merging import merge
from people.models import Household, Person
from tests import factory

pytestmark = pytest.mark.django_db


def only(found: list[AlikePerson]) -> AlikePerson:
    assert len(found) == 1
    return found[0]


class TestPeople:
    def test_accents_capitals_and_spaces_do_not_hide_somebody(self):
        ines = factory.make_person("Inés", "Quist")
        found = only(people_alike(given_name="INES ", family_name=" quist"))
        assert (found.person, found.name) == (ines, Why.SAME)

    def test_a_shared_address_alone_says_one_household_and_not_one_person(self):
        factory.make_person("Ines", "Quist", email="quist@example.org")
        found = only(
            people_alike(given_name="Odo", contacts=[(ContactKind.EMAIL, "Quist@Example.org")])
        )
        assert found.name is None
        assert [str(word) for word in found.words] == [
            "the same e-mail address, perhaps one household"
        ]

    def test_a_name_and_an_address_together_come_first(self):
        factory.make_person("Ines", "Quist")
        both = factory.make_person("I.", "Quist", email="quist@example.org")
        found = people_alike(
            given_name="Ines",
            family_name="Quist",
            contacts=[(ContactKind.EMAIL, "quist@example.org")],
        )
        assert [one.person for one in found][0] == both
        assert len(found) == 2

    def test_a_phone_is_the_same_with_a_country_code(self):
        ines = factory.make_person("Ines", "Quist", phone="(505) 555-0111")
        found = people_alike(given_name="X", contacts=[(ContactKind.PHONE, "+1 505 555 0111")])
        assert only(found).person == ines

    def test_a_postal_address_is_the_same_in_another_spelling(self):
        ines = factory.make_person("Ines", "Quist", postal="110 Saltbush Street\nPalo Azul")
        found = people_alike(given_name="X", contacts=[(ContactKind.POSTAL, "110 Saltbush St.")])
        assert only(found).person == ines

    def test_nobody_is_alike_to_themselves_or_to_a_second_entry(self):
        ines = factory.make_person("Ines", "Quist", email="quist@example.org")
        second = factory.make_person("Inez", "Quist")
        merge(kept=ines, gone=second, by=None)
        assert people_alike(given_name="Ines", family_name="Quist", but=ines) == []

    def test_no_more_than_five_are_offered(self):
        for number in range(8):
            factory.make_person("Wen", f"Salazar{number}" + "x" * number)
        assert len(people_alike(given_name="Wen")) == 5

    def test_more_people_cost_no_more_queries(self):
        def count() -> int:
            with CaptureQueriesContext(connection) as seen:
                people_alike(
                    given_name="Wen",
                    family_name="Abad",
                    contacts=[(ContactKind.POSTAL, "1 Row"), (ContactKind.EMAIL, "w@example.org")],
                )
            return len(seen)

        factory.make_person("Wen", "Abad", postal="1 Row")
        before = count()
        for _number in range(4):
            factory.make_person("Wen", "Abad", postal="1 Row")
        # names, postal addresses, who shares one, the people
        assert count() == before == 4


class TestHouseholds:
    def test_at_the_same_address_in_another_spelling(self):
        home = Household.objects.create(name="Quist", address="110 Saltbush Street")
        Household.objects.create(name="Farrow", address="210 Yucca Lane")
        assert [one.household for one in households_alike(address="110 saltbush st")] == [home]
        assert households_alike(address="110 saltbush st", but=home) == []
        assert households_alike(address="  ") == []


class TestTheOffer:
    def test_it_names_who_and_why_with_a_way_to_look(self, coordinator, cast):
        page = coordinator.get(
            "/people/alike/",
            {"given": "Ines", "family": "Qiust", "contact": ["bram.okello@example.org"]},
        ).content.decode()
        assert f'href="/people/{cast.owner.pk}/"' in page
        assert "spelled nearly the same" in page
        assert f'data-alike-key="{cast.tenant.pk}"' in page
        assert "perhaps one household" in page

    def test_nothing_typed_and_nobody_alike_say_nothing(self, coordinator, cast):
        for asked in ({}, {"given": "Xanthe", "family": "Yarrow"}, {"contact": "x" * 5000}):
            assert coordinator.get("/people/alike/", asked).content.decode().strip() == ""

    def test_somebody_being_corrected_is_not_offered_to_themselves(self, coordinator, cast):
        asked = {"given": "Ines", "family": "Quist", "but": cast.owner.pk}
        assert coordinator.get("/people/alike/", asked).content.decode().strip() == ""

    def test_what_is_typed_is_shown_as_text_only(self, coordinator):
        factory.make_person("<b>Ines</b>", "Quist")
        page = coordinator.get(
            "/people/alike/", {"given": "<b>Ines</b>", "family": "Quist"}
        ).content.decode()
        assert "<b>" not in page


class TestTheQuestionWithoutAScript:
    def test_a_new_household_at_an_address_in_the_book_is_asked_about_too(self, coordinator):
        Household.objects.create(name="Quist", address="110 Saltbush Street")
        form = self.FORM | {"household_name": "Orr", "household_address": "110 saltbush st"}
        response = coordinator.post("/people/new/", form)
        words = response.context["form"].errors["someone_else"][0]
        assert "Quist, 110 Saltbush Street (the same address)" in words
        # the very same one is simply taken
        form |= {"household_name": "Quist", "household_address": "110 Saltbush Street"}
        coordinator.post("/people/new/", form)
        assert Person.objects.get(given_name="Bill").household == Household.objects.get()

    FORM = {
        "given_name": "Bill",
        "family_name": "Orr",
        "language": "en",
        "channel": "none",
    }

    def test_it_is_asked_once_after_the_form_was_sent_and_a_tick_saves(self, coordinator):
        factory.make_person("William", "Orr")
        response = coordinator.post("/people/new/", self.FORM)
        words = response.context["form"].errors["someone_else"][0]
        assert words.startswith("Perhaps in the book already: William Orr (goes by another name).")
        assert not Person.objects.filter(given_name="Bill").exists()
        coordinator.post("/people/new/", self.FORM | {"someone_else": "on"})
        assert Person.objects.filter(given_name="Bill").exists()
