"""However often, in whatever order and however interrupted sweeps run: no second duty, no second letter."""

from datetime import date, datetime, timedelta

import pytest
import time_machine
from django.core.management import call_command
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from hypothesis.extra.django import TestCase

from stewardship.care import services
from stewardship.care.choices import Trigger
from stewardship.care.models import ContactCheck, Duty, Reminder
from stewardship.care.services import sweeping
from stewardship.care.tasks import sweep_duties
from stewardship.outbox.choices import Status
from stewardship.outbox.delivery import deliver_due
from stewardship.outbox.models import Message
from stewardship.rain.models import SiteRain
from tests import factory
from tests.care.book import TUESDAY, letters_to, rain, revise, sweep
from tests.cast import make_cast

STEPS = ("weigh", "calendar", "follow", "bounced", "tell", "hand_on", "deliver", "sweep")


def step(name: str, at: datetime) -> None:
    on = at.astimezone(factory.ZONE).date()
    {
        "weigh": lambda: services.weigh_site_rains(on=on),
        "calendar": lambda: services.open_calendar_duties(on=on),
        "follow": lambda: services.follow_responsibility(on=on),
        "bounced": lambda: services.note_bounced(on=on),
        "tell": lambda: services.send_first_reminders(at=at),
        "hand_on": lambda: services.walk_hand_on(on=on, at=at),
        "deliver": deliver_due,
        "sweep": lambda: services.sweep(at=at),
    }[name]()


class SweepsInAnyOrder(TestCase):
    """Rain on Tuesday at two sites of one owner and at a third; then any steps, on any days, with any answers between."""

    @settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow])
    @given(
        st.lists(
            st.tuples(
                st.sampled_from([*STEPS, "again", "done", "cannot", "more_rain"]),
                st.integers(min_value=0, max_value=2),
            ),
            min_size=1,
            max_size=25,
        )
    )
    def test_no_second_duty_and_no_second_letter(self, moves):
        cast = make_cast()
        second = factory.make_built_site("ASH-3", owner=cast.owner)
        sites = (cast.site, second, cast.other_site)
        for site in sites:
            factory.make_visit(site, date(2026, 7, 1))
        storm = rain(*sites)
        at = factory.at(factory.TODAY)
        letters_before: dict[int, str] = {}
        for name, days in moves:
            at += timedelta(days=days, minutes=1)
            with time_machine.travel(at, tick=False):
                if name == "again":
                    SiteRain.objects.update(weighed_at=None)
                elif name == "more_rain":
                    revise(storm, cast.site, depth_in=0.62)
                elif name in ("done", "cannot"):
                    self.answer(cast, name, at)
                else:
                    step(name, at)
            self.nothing_is_doubled()
            self.what_was_sent_stays_sent(letters_before)

    def answer(self, cast, kind: str, at: datetime) -> None:
        duty = Duty.objects.open().filter(site=cast.site).first()
        if duty:
            services.record_answer(duty=duty, person=cast.owner, kind=kind, at=at)

    def nothing_is_doubled(self) -> None:
        for duty in Duty.objects.filter(trigger=Trigger.AFTER_RAIN):
            again = Duty.objects.filter(site=duty.site, storms__in=duty.storms.all())
            assert again.distinct().count() == 1
        rounds = Reminder.objects.values_list("duty", "person", "round")
        assert len(rounds) == len(set(rounds))
        for reminder in Reminder.objects.select_related("message"):
            same = Message.objects.filter(
                to_address=reminder.message.to_address,
                reminders__duty=reminder.duty,
                reminders__round=reminder.round,
            ).distinct()
            assert same.count() == 1
        assert not ContactCheck.objects.exists()

    def what_was_sent_stays_sent(self, before: dict[int, str]) -> None:
        for pk, status in Message.objects.values_list("pk", "status"):
            if before.get(pk) == Status.SENT:
                assert status == Status.SENT
            before[pk] = status


@pytest.mark.usefixtures("frozen_day")
def test_a_part_that_fails_does_not_stop_the_others(cast, monkeypatch):
    def stumble(**kwargs):
        raise ArithmeticError

    rain(cast.site)
    services.weigh_site_rains(on=factory.TODAY)
    monkeypatch.setattr(sweeping, "open_calendar_duties", stumble)
    done = sweep()
    assert "rounds" not in done
    assert done["letters"] == 1


@pytest.mark.usefixtures("frozen_day")
def test_the_background_task_does_the_whole_pass(cast):
    rain(cast.site)
    sweep_duties()
    sweep_duties()
    assert len(letters_to("ines.quist@example.org")) == 1


@pytest.mark.usefixtures("frozen_day")
def test_the_command_goes_from_readings_to_letters_and_says_what_it_did(cast, capsys):
    gauge = factory.make_gauge()
    factory.make_readings(
        gauge,
        factory.at(TUESDAY, "06:00"),
        timedelta(minutes=15),
        [0, 0.2, 0.3, 0.2, *[0] * 60],
    )
    call_command("run_sweeps")
    said = capsys.readouterr().out
    assert "1 storms new, changed or gone" in said
    assert "2 site rains weighed" in said
    assert "2 letters made" in said
    assert "1 sent" in said
    assert {duty.site for duty in Duty.objects.all()} == {cast.site, cast.other_site}
    call_command("run_sweeps")
    assert Message.objects.count() == 2
