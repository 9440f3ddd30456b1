"""Somebody died or is not to be written to: everything stops at once, and what they owed comes to a person."""

from datetime import date, datetime, timedelta

import pytest
import time_machine
from django.core import mail
from django.db.models import Q
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from hypothesis.extra.django import TestCase

from people.agents import name_agent
from people.choices import Channel, ContactRole, OrganisationKind, Silence
from people.models import Organisation, Person
from people.silence import write_again
from stewardship.agreements.models import Responsibility
from stewardship.agreements.services.estates import name_estate
from stewardship.care import services
from stewardship.care.choices import NeedsPerson
from stewardship.care.models import ContactCheck, Reminder
from stewardship.care.services.silence import record_death, stop_writing
from stewardship.common.errors import Refused
from stewardship.outbox.choices import MessageClass, Status
from stewardship.outbox.delivery import deliver_due
from stewardship.outbox.models import Message
from stewardship.outbox.services import queue_message, retry_message
from stewardship.outbox.writing import write
from tests import factory
from tests.care.book import TUESDAY, letters_to, noon, open_duty, rain, statuses, sweep
from tests.cast import make_cast

pytestmark = pytest.mark.usefixtures("frozen_day")

OWNER = "ines.quist@example.org"


def notice(key: str = "n1", **changes) -> Message:
    facts = {
        "key": key,
        "message_class": MessageClass.NOTICE,
        "channel": Channel.EMAIL,
        "to_name": "Ines Quist",
        "to_address": OWNER,
        "language": "en",
        "template": "reminder-first",
        "context": {"names": "Ines", "sites": []},
        "due_at": noon(),
    }
    return queue_message(**(facts | changes))


class TestADeath:
    def test_t05_every_letter_that_waits_stops_at_once_with_the_reason(self, cast):
        rain(cast.site)
        sweep()
        waiting = notice()
        record_death(person=cast.owner, on=factory.TODAY, by=cast.coordinator)
        assert statuses(letters_to(OWNER)) == ["suppressed", "suppressed"]
        waiting.refresh_from_db()
        assert "Ines Quist" in waiting.error
        assert waiting.events.last().became == "suppressed"

    def test_t05_no_later_letter_is_made_and_the_duty_stands_on_the_list(self, cast):
        rain(cast.site)
        record_death(person=cast.owner, on=TUESDAY)
        sweep()
        deliver_due()
        sweep(factory.TODAY + timedelta(days=9))
        deliver_due()
        assert not mail.outbox and not Reminder.objects.filter(person=cast.owner).exists()
        duty = open_duty(cast.site)
        assert duty.needs_person_why == NeedsPerson.SILENT
        assert duty.owed_by.person == cast.owner

    def test_t05_the_page_says_what_will_stop_before_it_is_written_down(self, cast, coordinator):
        rain(cast.site)
        sweep()
        address = f"/people/{cast.owner.pk}/died/"
        page = coordinator.get(address).content.decode()
        assert (
            OWNER in page and "After rain: OAK-1" in page and "Nothing is sent to anybody" in page
        )
        assert statuses(letters_to(OWNER)) == ["queued"]
        answer = coordinator.post(address, {"on": "2026-07-13", "note": "His sister called."})
        assert answer.status_code == 302
        cast.owner.refresh_from_db()
        assert (cast.owner.died_on, cast.owner.silent_why) == (date(2026, 7, 13), "died")
        page = coordinator.get(f"/people/{cast.owner.pk}/").content.decode()
        assert "Nothing is sent to them" in page and "His sister called." in page

    def test_a_day_to_come_is_refused_at_the_form(self, cast, coordinator):
        answer = coordinator.post(f"/people/{cast.owner.pk}/died/", {"on": "2026-07-16"})
        assert answer.status_code == 422 and "yet to come" in answer.content.decode()

    def test_t05_of_a_couple_the_other_one_is_written_to_alone(self, cast, frozen_day):
        frozen_day.move_to(factory.at(factory.TODAY, "20:00"), tick=False)
        partner = factory.make_person("Rob", "Amaro", email=OWNER)
        factory.make_agreement(
            [cast.site], signers=[(partner, "owner")], on=date(2025, 4, 1), reference="SECOND"
        )
        rain(cast.site)
        sweep(clock="20:00")
        (letter,) = letters_to(OWNER)
        assert letter.to_name == "Ines Quist, Rob Amaro"
        record_death(person=cast.owner, on=factory.TODAY)
        letter.refresh_from_db()
        assert (letter.status, letter.to_name) == (Status.QUEUED, "Rob Amaro")
        assert "Ines" not in write(letter).text
        # the other one is asked, so the duty is no matter for the list
        assert open_duty(cast.site).needs_person_since is None

    def test_t05_a_letter_already_written_on_paper_is_stopped_too(self, cast):
        rain(cast.other_site)
        sweep()
        deliver_due()
        (letter,) = letters_to("210 Yucca Lane")
        assert "Odile Farrow" in letter.html
        record_death(person=cast.other_owner, on=factory.TODAY)
        letter.refresh_from_db()
        assert letter.status == Status.SUPPRESSED

    def test_t05_what_was_on_its_way_is_not_sent_a_second_time(self, cast):
        rain(cast.site)
        sweep()
        # Its sender died halfway: nobody can tell whether it went out.
        Message.objects.update(status=Status.SENDING, taken_at=noon() - timedelta(hours=1))
        record_death(person=cast.owner, on=factory.TODAY)
        deliver_due()
        deliver_due()
        assert not mail.outbox
        assert statuses(letters_to(OWNER)) == ["suppressed"]

    def test_t05_nobody_can_send_it_again_by_hand(self, cast):
        rain(cast.site)
        sweep()
        record_death(person=cast.owner, on=factory.TODAY)
        Message.objects.update(status=Status.FAILED)
        with pytest.raises(Refused, match="Nobody writes to Ines Quist"):
            retry_message(message=Message.objects.get())

    def test_t05_a_notice_made_later_fails_in_sight_instead_of_going_out(self, cast):
        record_death(person=cast.owner, on=factory.TODAY)
        late = notice()
        assert late.status == Status.FAILED and "Ines Quist" in late.error

    def test_t05_the_link_in_an_old_letter_opens_nothing_any_more(self, cast, client):
        rain(cast.site)
        sweep()
        (letter,) = letters_to(OWNER)
        path = letter.context["sites"][0]["path"]
        record_death(person=cast.owner, on=factory.TODAY)
        assert client.get(path).status_code == 404

    def test_a_death_written_down_by_mistake_is_taken_back_with_a_reason(self, cast, coordinator):
        rain(cast.site)
        record_death(person=cast.owner, on=TUESDAY)
        sweep()
        with pytest.raises(Refused, match="Say why"):
            write_again(person=cast.owner, why=" ")
        coordinator.post(f"/people/{cast.owner.pk}/again/", {"why": "It was his uncle"})
        sweep()
        assert len(letters_to(OWNER)) == 1
        assert open_duty(cast.site).needs_person_since is None
        events = [(event.was, event.became) for event in cast.owner.events.all()]
        assert events == [("", "died"), ("died", "")]

    def test_the_same_death_is_written_down_once(self, cast):
        record_death(person=cast.owner, on=TUESDAY)
        with pytest.raises(Refused, match="died"):
            record_death(person=cast.owner, on=TUESDAY)


class TestTheEstate:
    def test_t05_the_estate_holds_it_and_its_contact_is_told(self, cast, coordinator):
        heir = factory.make_person("Noor", "Quist", email="noor.quist@example.org")
        rain(cast.site)
        record_death(person=cast.owner, on=TUESDAY)
        sweep()
        answer = coordinator.post(
            f"/people/{cast.owner.pk}/estate/", {"contact": heir.pk, "on": "2026-07-15"}
        )
        assert answer.status_code == 302
        estate = Organisation.objects.get(kind=OrganisationKind.ESTATE)
        assert estate.name == "Estate of Ines Quist"
        assert {one.role for one in estate.contacts.all()} == {
            ContactRole.CARE,
            ContactRole.NOTICES,
        }
        sweep()
        duty = open_duty(cast.site)
        assert duty.owed_by.holder == estate and duty.needs_person_since is None
        (letter,) = letters_to("noor.quist@example.org")
        assert "Hello Noor," in write(letter).text
        assert not letters_to(OWNER)

    def test_the_chain_is_seamless_and_says_why(self, cast):
        heir = factory.make_person("Noor", "Quist", email="noor.quist@example.org")
        record_death(person=cast.owner, on=date(2026, 7, 1))
        estate = name_estate(person=cast.owner, contact=heir, on=date(2026, 7, 10))
        for day, holder in ((date(2026, 7, 9), cast.owner), (date(2026, 7, 10), estate)):
            (row,) = Responsibility.objects.as_of(day).filter(site=cast.site)
            assert row.holder == holder

    def test_nobody_answers_for_the_estate_of_the_living(self, cast):
        with pytest.raises(Refused, match="not written down as having died"):
            name_estate(person=cast.owner, contact=cast.tenant, on=factory.TODAY)

    def test_who_acted_for_the_dead_does_so_no_more(self, cast):
        name_agent(
            principal=cast.owner, agent=cast.tenant, scope="letters", starts_on=date(2026, 1, 1)
        )
        record_death(person=cast.owner, on=TUESDAY)
        rain(cast.site)
        sweep()
        assert not Message.objects.exists()
        assert cast.owner.agents.get().ends_on == TUESDAY
        with pytest.raises(Refused, match="estate"):
            name_agent(
                principal=cast.owner, agent=cast.tenant, scope="letters", starts_on=factory.TODAY
            )


class TestOtherSilence:
    @pytest.mark.parametrize("why", [Silence.ASKED, Silence.DISPUTE, Silence.SAFETY])
    def test_no_reminder_goes_out_and_the_duty_stands_on_the_list(self, cast, why):
        rain(cast.site)
        sweep()
        stop_writing(person=cast.owner, why=why, on=factory.TODAY)
        sweep()
        deliver_due()
        assert statuses(letters_to(OWNER)) == ["suppressed"] and not mail.outbox
        assert open_duty(cast.site).needs_person_why == NeedsPerson.SILENT

    @pytest.mark.parametrize(
        ("why", "status"),
        [
            (Silence.ASKED, Status.QUEUED),
            (Silence.DISPUTE, Status.FAILED),
            (Silence.SAFETY, Status.FAILED),
        ],
    )
    def test_a_notice_goes_only_to_who_asked_for_no_letters(self, cast, why, status):
        stop_writing(person=cast.owner, why=why, on=factory.TODAY)
        assert notice().status == status

    def test_a_notice_that_waits_stays_for_who_asked_for_no_letters(self, cast):
        waiting = notice()
        stop_writing(person=cast.owner, why=Silence.ASKED, on=factory.TODAY)
        waiting.refresh_from_db()
        assert waiting.status == Status.QUEUED

    def test_through_a_lawyer_the_lawyer_gets_the_letters(self, cast):
        lawyer = factory.make_person("Ada", "Brandt", email="ada.brandt@example.org")
        name_agent(principal=cast.owner, agent=lawyer, scope="letters", starts_on=TUESDAY)
        stop_writing(person=cast.owner, why=Silence.DISPUTE, on=TUESDAY)
        rain(cast.site)
        sweep()
        (letter,) = letters_to("ada.brandt@example.org")
        assert "for Ines Quist" in write(letter).text and not letters_to(OWNER)

    def test_a_namesake_at_the_same_address_goes_on_getting_letters(self, cast):
        factory.make_person("Ines", "Quist", email=OWNER)
        record_death(person=cast.owner, on=factory.TODAY)
        assert notice().status == Status.QUEUED

    def test_the_page_writes_it_down_and_the_reason_stands_in_no_letter(self, cast, coordinator):
        rain(cast.site)
        sweep()
        answer = coordinator.post(
            f"/people/{cast.owner.pk}/silent/",
            {"why": "safety", "on": "2026-07-15", "note": "Order of the court"},
        )
        assert answer.status_code == 302
        (letter,) = letters_to(OWNER)
        assert "safety" not in letter.error and "court" not in letter.error
        assert "Order of the court" in coordinator.get(f"/people/{cast.owner.pk}/").content.decode()

    def test_no_job_is_opened_to_find_an_address_for_them(self, cast):
        cast.owner.contact_points.all().delete()
        stop_writing(person=cast.owner, why=Silence.ASKED, on=TUESDAY)
        rain(cast.site)
        sweep()
        assert not ContactCheck.objects.exists()

    def test_nobody_puts_a_duty_to_them(self, cast):
        silent = stop_writing(person=cast.tenant, why=Silence.ASKED, on=TUESDAY)
        rain(cast.site)
        sweep()
        with pytest.raises(Refused, match="Nobody writes to Bram Okello"):
            services.put_to(duty=open_duty(cast.site), person=silent, at=noon())


#: What may happen in any order; the death comes somewhere among them.
STEPS = ("sweep", "deliver", "storm", "die", "paper", "crash", "link", "notice", "evening", "day")


@pytest.mark.django_db
class TestAnyOrder(TestCase):
    """Property: no message leaves for a dead person, whatever order the sweeps run in."""

    @settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow])
    @given(st.lists(st.sampled_from(STEPS), min_size=3, max_size=12))
    def test_t05_no_message_leaves_for_a_dead_person(self, steps):
        cast = make_cast()
        died_after = None
        now, storms = noon(), 0
        for site in (cast.site, cast.other_site):
            factory.make_visit(site, date(2026, 7, 1))
        mail.outbox.clear()
        for number, step in enumerate(
            [*steps, "die", "sweep", "deliver", "day", "sweep", "deliver"]
        ):
            with _at(now):
                if step == "sweep":
                    services.sweep(at=now)
                elif step == "deliver":
                    deliver_due()
                elif step == "storm":
                    storms += 1
                    rain(
                        cast.site,
                        day=now.date() - timedelta(days=1),
                        clock=f"{6 + storms % 12:02}:00",
                    )
                elif step == "crash":
                    Message.objects.filter(status=Status.QUEUED, channel="email").update(
                        status=Status.SENDING, taken_at=now - timedelta(hours=1)
                    )
                elif step == "notice":
                    notice(key=f"n{number}", due_at=now)
                elif step == "link" and (duty := cast.site.duties.filter(state="open").first()):
                    services.send_new_link(duty=duty, person=cast.owner, at=now)
                elif step == "paper":
                    Person.objects.filter(pk=cast.owner.pk).update(channel=Channel.LETTER)
                elif step == "die" and died_after is None:
                    record_death(person=cast.owner, on=now.date())
                    died_after = len(mail.outbox)
                elif step == "evening":
                    now = now.replace(hour=20)
                elif step == "day":
                    now += timedelta(days=1)
                now += timedelta(minutes=1)
        assert died_after == len(mail.outbox)
        mine = Q(to_name="Ines Quist") & Q(status__in=[Status.HELD, Status.QUEUED])
        assert not Message.objects.filter(mine).exists()


def _at(moment: datetime) -> time_machine.travel:
    return time_machine.travel(moment, tick=False)
