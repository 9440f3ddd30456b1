"""Somebody cannot for a time: who covers, what stays owed, what is excused; and sites that rest."""

from datetime import date, timedelta

import pytest

from people.models import Person
from stewardship.agreements.choices import PauseEffect
from stewardship.agreements.services.pausing import end_pause, pause_person, rest_site
from stewardship.care import services
from stewardship.care.choices import DutyState, NeedsPerson, Trigger
from stewardship.care.models import Duty, RainQuestion, Reminder
from stewardship.common.errors import Refused
from stewardship.outbox.models import Message
from stewardship.outbox.writing import write
from tests import factory
from tests.care.book import TUESDAY, letters_to, noon, open_duty, rain, statuses, sweep

pytestmark = pytest.mark.usefixtures("frozen_day")

OWNER = "ines.quist@example.org"
COVER = "bram.okello@example.org"
LATER = date(2026, 9, 1)


def pause(cast, **changes):
    facts = {
        "site": cast.site,
        "person": cast.owner,
        "starts_on": date(2026, 7, 10),
        "ends_on": LATER,
        "cover": cast.tenant,
        "why": "Six months at her daughter’s",
    }
    return pause_person(**(facts | changes))


class TestWithCover:
    def test_t09_the_cover_is_told_and_it_stays_owed(self, cast):
        pause(cast)
        rain(cast.site)
        sweep()
        (letter,) = letters_to(COVER)
        assert "You cover for Ines Quist here." in write(letter).text
        assert not letters_to(OWNER)
        duty = open_duty(cast.site)
        assert (duty.state, duty.owed_by.person) == (DutyState.OPEN, cast.owner)
        assert duty.needs_person_since is None

    def test_t09_the_reason_is_private(self, cast, coordinator, reviewer):
        pause(cast)
        rain(cast.site)
        sweep()
        secret = "daughter"
        (letter,) = letters_to(COVER)
        words = write(letter)
        assert secret not in words.text + words.html
        for address in (
            f"/reports/compliance/{cast.site.code}/",
            "/reports/compliance/?_export=csv",
        ):
            answer = reviewer.get(address)
            body = b"".join(answer.streaming_content) if answer.streaming else answer.content
            assert answer.status_code == 200 and secret not in body.decode()
        assert secret not in coordinator.get(f"/sites/{cast.site.code}/").content.decode()
        assert secret in coordinator.get(f"/people/{cast.owner.pk}/").content.decode()

    def test_t09_the_duty_says_that_it_is_paused_and_who_covers(self, cast, coordinator):
        pause(cast)
        rain(cast.site)
        sweep()
        page = coordinator.get(f"/care/duties/{open_duty(cast.site).pk}/").content.decode()
        assert "covered by Bram Okello" in page and "Ines Quist" in page

    def test_t09_when_it_is_over_letters_go_to_the_owner_again_by_themselves(self, cast):
        pause(cast, ends_on=date(2026, 7, 16))
        rain(cast.site)
        sweep()
        assert not letters_to(OWNER)
        sweep(date(2026, 7, 16))
        assert len(letters_to(OWNER)) == 1

    def test_a_letter_that_waits_for_the_owner_is_taken_back_when_the_pause_begins(
        self, cast, frozen_day
    ):
        frozen_day.move_to(factory.at(factory.TODAY, "20:00"), tick=False)
        rain(cast.site)
        sweep(clock="20:00")
        pause(cast)
        sweep(clock="20:01")
        assert statuses(letters_to(OWNER)) == ["suppressed"]
        assert statuses(letters_to(COVER)) == ["queued"]

    def test_who_was_not_told_because_of_a_pause_is_told_when_it_is_over(self, cast, frozen_day):
        frozen_day.move_to(factory.at(factory.TODAY, "20:00"), tick=False)
        rain(cast.site)
        sweep(clock="20:00")
        held = pause(cast, cover=None)
        sweep(clock="20:01")
        end_pause(pause=held, on=factory.TODAY)
        for _ in range(2):
            sweep(clock="20:02")
        assert statuses(letters_to(OWNER)) == ["suppressed", "queued"]

    def test_whoever_covers_an_old_duty_gets_no_two_letters_at_once(self, cast):
        rain(cast.site)
        sweep()
        pause(cast, starts_on=date(2026, 7, 24))
        for number in (9, 9, 10):
            sweep(factory.TODAY + timedelta(days=number))
        assert len(letters_to(COVER)) == 1
        sweep(factory.TODAY + timedelta(days=11))
        assert len(letters_to(COVER)) == 2

    def test_what_the_cover_answers_is_their_own_answer(self, cast):
        pause(cast)
        rain(cast.site)
        sweep()
        duty = open_duty(cast.site)
        answer = services.record_answer(duty=duty, person=cast.tenant, kind="done", at=noon())
        assert answer.visit.done_by == cast.tenant
        duty.refresh_from_db()
        assert duty.state == DutyState.MET

    def test_a_second_letter_goes_to_the_cover_as_well(self, cast):
        factory.make_hand_on("second_reminder", 3)
        pause(cast)
        rain(cast.site)
        sweep()
        sweep(factory.TODAY + timedelta(days=4))
        assert len(letters_to(COVER)) == 2 and not letters_to(OWNER)


class TestWithoutCover:
    def test_t09_owed_and_uncovered_it_stands_on_the_list(self, cast):
        pause(cast, cover=None)
        rain(cast.site)
        sweep()
        assert open_duty(cast.site).needs_person_why == NeedsPerson.PAUSED
        assert not Message.objects.exists()

    def test_t09_it_leaves_the_list_by_itself_when_the_pause_is_over(self, cast):
        held = pause(cast, cover=None)
        rain(cast.site)
        sweep()
        end_pause(pause=held, on=factory.TODAY)
        sweep()
        assert open_duty(cast.site).needs_person_since is None
        assert len(letters_to(OWNER)) == 1

    def test_t09_excused_a_look_after_rain_is_closed_as_excused(self, cast):
        pause(cast, cover=None, effect=PauseEffect.EXCUSED)
        rain(cast.site)
        sweep()
        duty = Duty.objects.get(site=cast.site)
        assert duty.state == DutyState.EXCUSED
        assert "daughter" not in duty.events.last().why
        assert not Reminder.objects.exists()

    def test_excused_a_look_by_calendar_is_excused_once(self, cast):
        pause(cast, cover=None, effect=PauseEffect.EXCUSED)
        for day in range(60, 64):
            sweep(date(2026, 6, 30) + timedelta(days=day))
        rounds = Duty.objects.filter(site=cast.site, trigger=Trigger.CALENDAR)
        assert [duty.state for duty in rounds] == [DutyState.EXCUSED]

    def test_of_two_who_owe_it_the_other_is_asked_and_nothing_is_excused(self, cast):
        factory.make_agreement(
            [cast.site], signers=[(cast.tenant, "owner")], on=date(2025, 4, 1), reference="SECOND"
        )
        pause(cast, cover=None, effect=PauseEffect.EXCUSED)
        rain(cast.site)
        sweep()
        assert open_duty(cast.site).state == DutyState.OPEN
        assert len(letters_to(COVER)) == 1 and not letters_to(OWNER)

    def test_what_was_found_wanting_is_not_excused(self, cast):
        pause(cast, cover=None, effect=PauseEffect.EXCUSED)
        services.record_visit(
            site=cast.site,
            happened_on=TUESDAY,
            findings=[services.Found("inlet", "act")],
        )
        sweep()
        duty = open_duty(cast.site)
        assert duty.needs_person_why == NeedsPerson.PAUSED


class TestRefusals:
    @pytest.mark.parametrize(
        ("changes", "words"),
        [
            ({"ends_on": date(2026, 7, 10)}, "last day is before the first"),
            ({"effect": PauseEffect.EXCUSED}, "If somebody covers"),
        ],
    )
    def test_days_and_effects_that_cannot_be(self, cast, changes, words):
        with pytest.raises(Refused, match=words):
            pause(cast, **changes)

    def test_nobody_covers_for_themselves(self, cast):
        with pytest.raises(Refused, match="Somebody else"):
            pause(cast, cover=cast.owner)

    def test_somebody_who_does_not_do_the_work_there_needs_no_pause(self, cast):
        with pytest.raises(Refused, match="does not do the work"):
            pause(cast, person=cast.other_owner)

    def test_two_pauses_of_one_person_at_one_time(self, cast):
        pause(cast)
        with pytest.raises(Refused, match="paused at that time"):
            pause(cast, starts_on=date(2026, 8, 1), ends_on=None)
        # one that follows is none at the same time
        pause(cast, starts_on=LATER, ends_on=None)

    def test_a_pause_ends_once(self, cast):
        held = end_pause(pause=pause(cast), on=factory.TODAY)
        with pytest.raises(Refused, match="ended already"):
            end_pause(pause=held, on=factory.TODAY)


class TestPages:
    def test_t09_a_coordinator_writes_it_down_and_ends_it(self, cast, coordinator):
        rain(cast.site)
        sweep()
        address = f"/people/{cast.owner.pk}/pause/"
        typed = {
            "site": cast.site.pk,
            "starts_on": "2026-07-15",
            "ends_on": "2026-09-01",
            "effect": "owed",
            "cover": cast.tenant.pk,
            "why": "moved away for the summer",
        }
        refused = coordinator.post(address, typed | {"ends_on": "2026-07-01"})
        assert refused.status_code == 422 and "moved away" in refused.content.decode()
        assert coordinator.post(address, typed).status_code == 302
        assert "covered by Bram Okello" in coordinator.get("/rests/").content.decode()
        assert "covered by Bram Okello" in coordinator.get("/sites/OAK-1/").content.decode()
        (held,) = cast.site.pauses.all()
        coordinator.post(f"/rests/pauses/{held.pk}/end/")
        held.refresh_from_db()
        assert held.ends_on == factory.TODAY

    def test_somebody_without_a_site_has_nothing_to_pause(self, cast, coordinator):
        page = coordinator.get(f"/people/{cast.reader.person.pk}/pause/").content.decode()
        assert "does the work at no site" in page


class TestASiteThatRests:
    def test_t13_nothing_is_due_there_and_what_was_due_is_withdrawn(self, cast):
        rain(cast.site)
        sweep()
        rest_site(site=cast.site, starts_on=factory.TODAY, why="The street is dug up")
        sweep()
        duty = Duty.objects.get(site=cast.site)
        assert duty.state == DutyState.WITHDRAWN
        assert "The street is dug up" in duty.events.last().why
        assert statuses(letters_to(OWNER)) == ["suppressed"]

    def test_t13_rain_on_a_site_that_rests_asks_nothing_then_or_later(self, cast):
        held = rest_site(site=cast.site, starts_on=date(2026, 7, 1), why="The street is dug up")
        rain(cast.site)
        sweep()
        end_pause(pause=held, on=factory.TODAY)
        sweep()
        assert not Duty.objects.filter(site=cast.site).exists()
        assert not RainQuestion.objects.exists()

    def test_no_look_by_calendar_either(self, cast):
        rest_site(site=cast.site, starts_on=date(2026, 7, 1), why="The street is dug up")
        sweep(LATER)
        assert not Duty.objects.filter(site=cast.site).exists()
        assert Duty.objects.filter(site=cast.other_site).exists()

    def test_what_was_seen_unsafe_stays(self, cast):
        services.record_visit(
            site=cast.site, happened_on=TUESDAY, findings=[services.Found("edge", "unsafe")]
        )
        rest_site(site=cast.site, starts_on=factory.TODAY, why="The street is dug up")
        sweep()
        assert open_duty(cast.site).needs_person_why == NeedsPerson.UNSAFE

    def test_reports_that_water_ran_there_wait_and_the_refusal_says_why(self, cast):
        rest_site(site=cast.site, starts_on=date(2026, 7, 1), why="The street is dug up")
        report = services.report_flow(
            site=cast.site, kind="rain", ran_on=TUESDAY, at=noon(), told_by="a neighbour"
        )
        with pytest.raises(Refused, match="The site rests"):
            services.act_on_flow(report=report, at=noon(), by=cast.coordinator)

    def test_it_rests_once_at_a_time_and_for_a_reason(self, cast):
        with pytest.raises(Refused, match="Say why"):
            rest_site(site=cast.site, starts_on=factory.TODAY, why=" ")
        rest_site(site=cast.site, starts_on=factory.TODAY, why="dug up")
        with pytest.raises(Refused, match="paused at that time"):
            rest_site(site=cast.site, starts_on=LATER, why="again")


def test_a_cover_whom_nobody_writes_to_covers_nothing(cast):
    pause(cast)
    Person.objects.filter(pk=cast.tenant.pk).update(silent_since=factory.TODAY, silent_why="asked")
    rain(cast.site)
    sweep()
    assert open_duty(cast.site).needs_person_why == NeedsPerson.PAUSED
