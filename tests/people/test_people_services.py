"""People and where they are reached: one name is enough, addresses are shared, dead ones are not used."""

from datetime import date

import pytest
from django.db import IntegrityError, transaction

from people import services
from people.choices import Channel, ContactKind
from people.models import ContactPoint, Person
from stewardship.common.errors import Refused
from tests import factory

pytestmark = pytest.mark.django_db

EMAIL = (ContactKind.EMAIL, "ines.quist@example.org")
PHONE = (ContactKind.PHONE, "505-555-0111")
POSTAL = (ContactKind.POSTAL, "110 Saltbush Street\nPalo Azul, NM 87000")


class TestAddingSomebody:
    def test_one_name_is_enough(self):
        person = services.add_person(given_name=" Wen ", channel=Channel.NONE)
        assert (person.full_name, person.family_name) == ("Wen", "")

    def test_no_name_is_not(self):
        with pytest.raises(Refused, match="One name is enough, but one is needed"):
            services.add_person(given_name="  ", channel=Channel.NONE)

    @pytest.mark.parametrize(
        ("channel", "contacts", "words"),
        [
            (Channel.EMAIL, [PHONE, POSTAL], "give an e-mail address"),
            (Channel.TEXT, [EMAIL], "give a phone number"),
            (Channel.LETTER, [], "give a postal address"),
        ],
    )
    def test_a_channel_without_its_address_is_refused_and_nobody_is_added(
        self, channel, contacts, words
    ):
        with pytest.raises(Refused, match=words):
            services.add_person(given_name="Ines", channel=channel, contacts=contacts)
        assert not Person.objects.exists()
        assert not ContactPoint.objects.exists()

    @pytest.mark.parametrize(
        ("contact", "words"),
        [
            ((ContactKind.EMAIL, "ines at home"), "“ines at home” is not an e-mail address"),
            ((ContactKind.PHONE, "call me"), "“call me” is not a phone number"),
            ((ContactKind.PHONE, "555"), "not a phone number"),
            ((ContactKind.POSTAL, " \n "), "at least a street or box"),
        ],
    )
    def test_an_address_that_is_none_is_refused(self, contact, words):
        with pytest.raises(Refused, match=words):
            services.add_person(given_name="Ines", channel=Channel.NONE, contacts=[contact])

    def test_a_couple_shares_one_address_row(self):
        for name in ("Ines", "Odo"):
            services.add_person(
                given_name=name, contacts=[(ContactKind.EMAIL, "quist@example.org")]
            )
        point = ContactPoint.objects.get()
        assert {str(p) for p in point.people.all()} == {"Ines", "Odo"}


class TestReachingThem:
    def test_each_channel_finds_its_kind_of_address(self):
        person = services.add_person(given_name="Ines", contacts=[EMAIL, PHONE, POSTAL])
        assert services.reachable_at(person).value == EMAIL[1]
        assert services.reachable_at(person, Channel.TEXT).value == PHONE[1]
        assert services.reachable_at(person, Channel.LETTER).value == POSTAL[1]
        assert services.reachable_at(person, Channel.NONE) is None

    def test_a_dead_address_is_not_used_and_the_next_one_is(self):
        second = (ContactKind.EMAIL, "ines@example.org")
        person = services.add_person(given_name="Ines", contacts=[EMAIL, second])
        services.mark_dead(
            contact=services.reachable_at(person), on=date(2026, 7, 1), why="It bounced"
        )
        assert services.reachable_at(person).value == second[1]

    def test_an_address_that_somebody_gives_again_is_alive_again(self):
        person = services.add_person(given_name="Ines", contacts=[EMAIL])
        services.mark_dead(
            contact=services.reachable_at(person), on=date(2026, 7, 1), why="It bounced"
        )
        assert services.reachable_at(person) is None
        given = (EMAIL[0], "INES.quist@example.org")
        services.update_person(person=person, contacts=[given])
        point = person.contact_points.get()
        assert (point.dead_since, point.dead_why) == (None, "")
        assert services.reachable_at(person) == point


class TestCorrectingSomebody:
    def test_the_addresses_become_exactly_those_given(self):
        person = services.add_person(given_name="Ines", contacts=[EMAIL, PHONE])
        services.update_person(person=person, contacts=[EMAIL, POSTAL])
        assert {p.kind for p in person.contact_points.all()} == {"email", "postal"}

    def test_somebody_elses_share_of_an_address_stays(self):
        ines, odo = (services.add_person(given_name=n, contacts=[EMAIL]) for n in ("Ines", "Odo"))
        services.update_person(person=ines, channel=Channel.LETTER, contacts=[POSTAL])
        assert services.reachable_at(odo).value == EMAIL[1]
        assert not ines.contact_points.filter(kind="email").exists()

    def test_the_channel_must_still_have_an_address(self):
        person = services.add_person(given_name="Ines", contacts=[EMAIL])
        with pytest.raises(Refused, match="give an e-mail address"):
            services.update_person(person=person, contacts=[PHONE])
        assert services.reachable_at(person).value == EMAIL[1]

    def test_a_dead_address_stays_on_record_as_dead(self):
        person = services.add_person(given_name="Ines", contacts=[EMAIL, PHONE])
        services.mark_dead(
            contact=person.contact_points.get(kind="email"), on=date(2026, 7, 1), why="Bounced"
        )
        services.update_person(person=person, channel=Channel.TEXT, contacts=[PHONE])
        assert person.contact_points.get(kind="email").dead_why == "Bounced"


def test_a_log_in_gets_its_person_once():
    user = factory.make_user("coordinator", email="rosa.lind@example.org", name="Rosa Lind")
    person = services.person_of_user(user)
    assert (person.given_name, person.family_name) == ("Rosa", "Lind")
    assert services.reachable_at(person).value == "rosa.lind@example.org"
    assert services.person_of_user(user) == person


class TestTheConstraints:
    def test_a_person_has_a_name(self):
        with pytest.raises(IntegrityError), transaction.atomic():
            Person.objects.create(given_name="")

    def test_one_row_per_address(self):
        ContactPoint.objects.create(kind="email", value="a@example.org")
        with pytest.raises(IntegrityError), transaction.atomic():
            ContactPoint.objects.create(kind="email", value="A@example.org")
        ContactPoint.objects.create(kind="postal", value="a@example.org")
