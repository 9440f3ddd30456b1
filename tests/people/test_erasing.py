"""Erase or keep: who somebody is goes everywhere, what they signed and what was done stays under a pseudonym.

What has to be kept, and that a public body may not erase, is common practice, no source; local law decides.
"""

import hashlib
from dataclasses import dataclass
from datetime import date

import pytest
from django.contrib.auth import authenticate
from django.utils import timezone

from people import erasing
from people.merging import merge, undo_merge
from people.models import (
    Agent,
    ContactPoint,
    Household,
    Membership,
    Merge,
    Person,
    PersonEvent,
    PersonExternalId,
    User,
)
from people.silence import write_again
from stewardship.agreements.choices import AgreementState
from stewardship.agreements.models import Document, Party, Responsibility, Signature
from stewardship.care.models import Answer, ContactCheck, FlowReport, Reminder, Visit
from stewardship.care.services import record_visit, send_first_reminders, send_new_link
from stewardship.common.errors import Refused
from stewardship.outbox.choices import WAITING, Status
from stewardship.outbox.models import Message, OptOut
from stewardship.outbox.services import stop_reminders
from stewardship.rain.choices import GaugeKind
from stewardship.rain.services import make_reader_link
from tests import factory
from tests.book import make_message
from tests.people.erased import erase, every_text
from tests.people.erasure_inventory import INVENTORY, SIGNED

pytestmark = pytest.mark.django_db

MAIL = "zenobia.tarn@example.org"
PHONE = "505-555-0177"
SHARED = "tarn.house@example.org"
#: Words that nobody but her wrote or is told of.
SECRETS = ["quietword", "Zenobia Tarn", "Tarn", MAIL, PHONE, "77 Globemallow", "ASSESSOR-ZT"]


@dataclass
class Life:
    """What one person left in the book; her promise ended a year ago."""

    person: Person
    second: Person
    neighbour: Person
    user: User
    document: Document
    notice: Message
    waiting: Message
    sent: Message
    visit: Visit
    answer: Answer


@pytest.fixture
def life(cast, frozen_day) -> Life:
    home = Household.objects.create(name="Tarn", address="77 Globemallow Lane")
    person = factory.make_person(
        "Zenobia",
        "Tarn",
        email=MAIL,
        phone=PHONE,
        postal="77 Globemallow Lane\nPalo Azul",
        household=home,
        note="quietword one",
    )
    neighbour = factory.make_person("Odo", "Lark", email=SHARED)
    ContactPoint.objects.get(value=SHARED).people.add(person)
    site = factory.make_built_site("GLO-7", owner=person, on=date(2024, 4, 1))
    agreement = site.agreements.get()
    Responsibility.objects.filter(person=person).update(
        ends_on=date(2025, 6, 1), ended_why="Sold by Zenobia Tarn"
    )
    agreement.state, agreement.ends_on = AgreementState.ENDED, date(2025, 6, 1)
    agreement.ended_why = "Zenobia Tarn sold"
    agreement.save()
    agreement.events.create(became="ended", why="Zenobia Tarn has moved away")
    Party.objects.filter(person=person).update(
        declined_on=date(2024, 3, 1), declined_why="quietword two"
    )
    factory.make_volunteer(person, near="77 Globemallow")
    user = factory.make_user("volunteer", email=MAIL, name="Zenobia Tarn", person=person)
    Agent.objects.create(
        principal=person,
        agent=neighbour,
        scope="signs",
        authority="Power of attorney of Zenobia Tarn",
        starts_on=date(2025, 1, 1),
    )
    PersonExternalId.objects.create(person=person, kept_by="Assessor", value="ASSESSOR-ZT")
    duty = factory.make_duty(site, owed_by=Responsibility.objects.get(person=person))
    sent = make_message(
        "sent",
        status=Status.SENT,
        sent_at=factory.at(date(2025, 5, 2)),
        to_name="Zenobia Tarn",
        to_address=MAIL,
        text="Dear Zenobia Tarn",
        context={"names": "Zenobia Tarn"},
    )
    waiting = make_message(
        "waiting", status=Status.QUEUED, to_name="Zenobia Tarn", to_address=SHARED
    )
    notice = make_message(
        "notice",
        message_class="notice",
        status=Status.SENT,
        sent_at=factory.at(date(2025, 5, 3)),
        to_name="Zenobia Tarn",
        to_address=MAIL,
        text="Notice to Zenobia Tarn",
    )
    make_message(
        "to-neighbour",
        status=Status.SENT,
        sent_at=factory.at(date(2025, 5, 4)),
        to_name="Odo Lark",
        to_address=SHARED,
        text="You cover for Zenobia Tarn.",
    )
    Reminder.objects.create(duty=duty, person=person, message=sent)
    answer = Answer.objects.create(
        duty=duty, person=person, kind="cannot", about_on=date(2025, 5, 2), note="quietword three"
    )
    visit = record_visit(
        site=site,
        duty=duty,
        done_by=person,
        happened_on=date(2026, 7, 14),
        outcome="could_not",
        note="quietword four",
        by=cast.coordinator,
    )
    FlowReport.objects.create(
        site=site, kind="hail", ran_on=date(2025, 5, 1), person=person, note="quietword five"
    )
    ContactCheck.objects.create(person=person, site=site, reason="bounced", note="quietword six")
    site.disputes.create(
        person=person,
        opened_on=date(2025, 1, 1),
        closed_on=date(2025, 2, 1),
        claim="quietword seven",
        answer="Zenobia Tarn was told",
        outcome="Withdrawn by Zenobia Tarn",
    )
    site.pauses.create(
        person=person,
        kind="person",
        effect="owed",
        starts_on=date(2025, 1, 1),
        ends_on=date(2025, 2, 1),
        why="quietword eight",
    )
    gauge = factory.make_gauge("school", kind=GaugeKind.DAILY)
    gauge.readers.add(person)
    make_reader_link(gauge=gauge, person=person, by=cast.coordinator)
    stop_reminders(address=MAIL, channel="email")
    second = factory.make_person("Z.", "Tarn", note="quietword nine")
    merge(kept=person, gone=second, by=cast.coordinator)
    person.refresh_from_db()
    return Life(
        person=person,
        second=second,
        neighbour=neighbour,
        user=user,
        document=agreement.documents.get(),
        notice=notice,
        waiting=waiting,
        sent=sent,
        visit=visit,
        answer=answer,
    )


class TestT42:
    def test_t42_what_goes_and_what_stays_and_why_is_shown_before_the_click(
        self, life, coordinator
    ):
        page = " ".join(
            coordinator.get(f"/people/{life.person.pk}/erase/").content.decode().split()
        )
        for words in (
            "What is erased",
            "what they wrote in answers, visits and reports: 3",
            "messages: recipient and words; those that wait do not leave: 2",
            "log-in",
            "What is kept, and why",
            "Formal notices that were sent",
            "Documents of agreements with their signature, byte for byte",
            "as long as a claim can rest on it",
            "That they were responsible, where and from when until when",
        ):
            assert words in page, words
        assert Person.objects.get(pk=life.person.pk).full_name == "Zenobia Tarn"

    def test_t42_afterwards_nothing_in_the_book_tells_who_she_was_but_what_is_kept(self, life):
        before = {(model, name) for model, name, text in every_text() if "Tarn" in text}
        assert ("people.Person", "family_name") in before
        erase(life.person)
        found = {
            (model, name, secret)
            for model, name, text in every_text()
            for secret in SECRETS
            if secret in text
        }
        kept = {
            (model, name, secret)
            for model, name, secret in found
            if INVENTORY[model].get(name) == SIGNED
        }
        notice = {("outbox.Message", "to_name"), ("outbox.Message", "to_address")}
        notice |= {("outbox.Message", "text"), ("outbox.Message", "context")}
        rest = {(model, name) for model, name, _secret in found - kept}
        assert rest <= notice
        assert Message.objects.filter(text__contains="Tarn").get() == life.notice

    def test_t42_what_was_signed_stays_byte_for_byte(self, life):
        before = bytes(life.document.content)
        erase(life.person)
        life.document.refresh_from_db()
        assert bytes(life.document.content) == before
        assert life.document.sha256 == hashlib.sha256(before).hexdigest()
        assert Signature.objects.get(document=life.document).typed_name == "Zenobia Tarn"

    def test_t42_facts_of_work_stand_under_a_stable_pseudonym(self, life):
        erase(life.person)
        name = f"Person {life.person.pk:04d}"
        life.visit.refresh_from_db()
        life.answer.refresh_from_db()
        assert str(life.visit.done_by) == str(life.answer.person) == name
        assert (life.visit.happened_on, life.visit.note) == (date(2026, 7, 14), "")
        assert Person.objects.get(pk=life.second.pk).full_name == name
        held = Responsibility.objects.get(person=life.person)
        assert held.ended_why == f"Sold by {name}"
        assert Responsibility.objects.as_of(date(2025, 1, 1)).filter(person=life.person).exists()

    def test_t42_a_notice_that_was_sent_stays_as_proof_and_what_waits_does_not_leave(self, life):
        erase(life.person)
        notice, waiting, sent = (
            Message.objects.get(pk=one.pk) for one in (life.notice, life.waiting, life.sent)
        )
        assert (notice.to_address, notice.text) == (MAIL, "Notice to Zenobia Tarn")
        assert waiting.status == Status.SUPPRESSED
        assert (sent.status, sent.text, sent.sent_at) == (Status.SENT, "", life.sent.sent_at)
        assert not OptOut.objects.exists()

    def test_t42_the_log_in_is_closed(self, life):
        assert authenticate(username=MAIL, password=factory.PASSWORD) == life.user
        erase(life.person)
        user = User.objects.get(pk=life.user.pk)
        assert not user.is_active
        assert not user.has_usable_password()
        assert user.email.endswith(".invalid")
        assert not Membership.objects.filter(user=user).exists()

    def test_t42_who_asked_and_when_is_kept_and_nobody_writes_to_them(self, life, coordinator):
        address = f"/people/{life.person.pk}/erase/"
        facts = {"asked_by": "for_them", "asked_on": "2026-07-10"}
        refused = coordinator.post(address, facts)
        assert refused.status_code == 422
        assert "sure" in refused.context["form"].errors
        coordinator.post(address, facts | {"sure": "on"})
        person = Person.objects.get(pk=life.person.pk)
        assert person.erased_on == factory.TODAY
        assert person.is_silent
        event = PersonEvent.objects.get(person=person)
        assert "asked for by somebody who may act for them" in event.why
        assert event.by.email == "rosa.lind@example.org"
        page = coordinator.get(f"/people/{person.pk}/").content.decode()
        assert str(person) in page
        assert "Write to them again" not in page

    def test_t42_no_reminder_goes_out_afterwards_and_silence_is_not_lifted(self, life):
        duty = Reminder.objects.get(person=life.person).duty
        erase(life.person)
        before = Message.objects.count()
        send_new_link(duty=duty, person=Person.objects.get(pk=life.person.pk), at=timezone.now())
        send_first_reminders(at=timezone.now())
        assert Message.objects.count() == before
        assert not Message.objects.filter(
            status__in=WAITING, to_name__in=["Zenobia Tarn", f"Person {life.person.pk:04d}"]
        ).exists()
        with pytest.raises(Refused, match="Their data were erased"):
            write_again(person=life.person, why="She called")

    def test_t42_a_shared_address_and_the_others_stay(self, life):
        erase(life.person)
        assert list(life.neighbour.contact_points.values_list("value", flat=True)) == [SHARED]
        told = Message.objects.get(key="to-neighbour")
        assert told.to_name == "Odo Lark"
        assert told.text == f"You cover for Person {life.person.pk:04d}."

    def test_t42_a_household_in_which_others_are_left_stays(self, life):
        life.neighbour.household = life.person.household
        life.neighbour.save()
        assert erasing.preview(person=life.person).household_stays == life.person.household
        erase(life.person)
        assert Household.objects.get() == life.neighbour.household

    def test_t42_twice_is_once(self, life):
        erase(life.person)
        events = PersonEvent.objects.count()
        erase(life.person)
        assert PersonEvent.objects.count() == events

    def test_t42_nothing_is_left_to_tell_two_entries_apart(self, life):
        erase(life.person)
        with pytest.raises(Refused, match="cannot be told apart any more"):
            undo_merge(merge=Merge.objects.get(), by=None)

    def test_t42_they_are_in_no_list_and_no_choice_any_more(self, life, coordinator):
        erase(life.person)
        name = f"Person {life.person.pk:04d}"
        assert name not in coordinator.get("/people/").content.decode()
        assert life.person not in Person.objects.known()
        assert coordinator.get(f"/people/{life.person.pk}/edit/").status_code == 404


class TestWhatHasToEndFirst:
    def test_t42_a_promise_in_force_ends_first(self, cast, frozen_day):
        with pytest.raises(Refused, match="Does the work at OAK-1 under A-OAK-1-20250401"):
            erase(cast.owner)
        assert cast.owner.contact_points.exists()

    def test_an_agreement_that_is_still_to_be_signed_ends_first(self, cast, frozen_day):
        agreement = cast.site.agreements.get()
        agreement.state = AgreementState.OFFERED
        agreement.save()
        Party.objects.create(agreement=agreement, person=cast.tenant, capacity="tenant")
        with pytest.raises(Refused, match="They are to sign A-OAK-1-20250401 as tenant"):
            erase(cast.tenant)

    def test_a_dispute_is_settled_first(self, cast, frozen_day):
        cast.site.disputes.create(person=cast.tenant, opened_on=date(2026, 7, 1), claim="Not mine.")
        with pytest.raises(Refused, match="They dispute something at OAK-1"):
            erase(cast.tenant)

    def test_somebody_else_coordinates_first(self, cast, frozen_day):
        cast.coordinator.person = factory.make_person("Rosa", "Lind")
        cast.coordinator.save()
        with pytest.raises(Refused, match="Nobody else coordinates the program"):
            erase(cast.coordinator.person)
        factory.make_user("coordinator", email="second@example.org")
        assert erase(cast.coordinator.person).erased_on

    def test_of_an_agency_its_records_law_is_looked_at_first(self, cast, frozen_day, coordinator):
        officer = factory.make_person("Ada", "Pell", agency=cast.agency, agency_office="Permits")
        with pytest.raises(Refused, match="Records law may forbid erasing"):
            erase(officer)
        page = coordinator.get(f"/people/{officer.pk}/erase/").content.decode()
        assert "Its records law may forbid erasing" in page
        assert erase(officer, law_allows=True).agency == cast.agency

    def test_a_second_entry_goes_with_the_first(self, life):
        with pytest.raises(Refused, match="This is a second entry of Zenobia Tarn"):
            erase(life.second)

    def test_a_day_yet_to_come_is_none(self, cast, frozen_day):
        with pytest.raises(Refused, match="That day is yet to come"):
            erase(cast.tenant, asked_on=date(2027, 1, 1))


def test_a_name_of_one_word_is_replaced_only_where_it_is_about_them(cast, frozen_day):
    may = factory.make_person("May", "", email="may@example.org")
    cast.site.events.create(became="built", why="Water ran in May")
    gauge = factory.make_gauge("school", kind=GaugeKind.DAILY)
    gauge.readers.add(may)
    gauge.events.create(became="readers", why="Read by May")
    erase(may)
    assert cast.site.events.get(why__startswith="Water").why == "Water ran in May"
    assert gauge.events.get().why == f"Read by Person {may.pk:04d}"
