"""The pure rules: what is due, when, what joins and what a person has to decide."""

from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from stewardship.care import rules
from stewardship.care.rules import HandOn, Standing, Step, Verdict
from stewardship.common.units import in_to_mm, in_to_um

ZONE = ZoneInfo("America/Denver")
TUE = date(2026, 7, 14)


@pytest.mark.parametrize(
    ("depth_in", "sureness", "verdict"),
    [
        (0.25, "measured", Verdict.DUE),  # the trigger depth itself counts
        (0.25, "estimated", Verdict.DUE),
        (0.24, "measured", Verdict.LESS),
        (0.25, "possible", Verdict.POSSIBLE),
        (0.24, "possible", Verdict.LESS),
        (None, "unknown", Verdict.UNKNOWN),
    ],
)
def test_rain_is_held_against_the_quarter_inch_of_the_construction_permit(
    depth_in, sureness, verdict
):
    # 0.25 in within 24 h: US EPA Construction General Permit 2022, Part 4.2.
    verdict_now = rules.weigh(
        depth_um=None if depth_in is None else in_to_um(depth_in),
        sureness=sureness,
        least_depth_um=in_to_um(0.25),
        storm_greatest_um=in_to_um(0.8),
    )
    assert verdict_now is verdict


def test_unknown_rain_asks_nobody_where_the_storm_was_small_everywhere():
    verdict = rules.weigh(
        depth_um=None, sureness="unknown", least_depth_um=6350, storm_greatest_um=6349
    )
    assert verdict is Verdict.LESS


@pytest.mark.parametrize(
    ("verdict", "standing", "step"),
    [
        (Verdict.DUE, Standing(0), Step.OPEN),
        (Verdict.POSSIBLE, Standing(3), Step.OPEN),
        (Verdict.DUE, Standing(4), Step.ASK_ADD),
        (Verdict.DUE, Standing(30), Step.ASK_ADD),
        (Verdict.DUE, Standing(31), Step.LEAVE),
        (Verdict.LESS, Standing(0), Step.LEAVE),
        (Verdict.DUE, Standing(1, looked_since=True), Step.LEAVE),
        (Verdict.DUE, Standing(1, open_duty=True, storms_in_it=1), Step.JOIN),
        (Verdict.DUE, Standing(5, open_duty=True, storms_in_it=1), Step.LEAVE),
        (Verdict.UNKNOWN, Standing(1), Step.ASK_UNKNOWN),
        (Verdict.UNKNOWN, Standing(1, open_duty=True, storms_in_it=1), Step.LEAVE),
        (Verdict.UNKNOWN, Standing(31), Step.LEAVE),
        (Verdict.DUE, Standing(1, closed_as="met"), Step.ASK_ADD),
        (Verdict.DUE, Standing(1, closed_as="withdrawn"), Step.ASK_ADD),
        (Verdict.DUE, Standing(1, closed_as="excused"), Step.LEAVE),
        (
            Verdict.DUE,
            Standing(9, open_duty=True, storms_in_it=1, in_open_duty=True),
            Step.REFRESH,
        ),
        (
            Verdict.LESS,
            Standing(1, open_duty=True, storms_in_it=1, in_open_duty=True),
            Step.ASK_NEEDLESS,
        ),
        (
            Verdict.LESS,
            Standing(1, open_duty=True, storms_in_it=2, in_open_duty=True),
            Step.DROP,
        ),
        (
            Verdict.UNKNOWN,
            Standing(1, open_duty=True, storms_in_it=1, in_open_duty=True),
            Step.LEAVE,
        ),
    ],
)
def test_what_a_verdict_means_for_a_site(verdict, standing, step):
    assert rules.decide(verdict, standing) is step


def test_the_due_day_counts_from_the_first_storm_but_leaves_two_days_after_the_newest():
    def due(*later, opened=TUE):
        rains = [TUE, *(date(2026, 7, day) for day in later)]
        return rules.due_day(rains=rains, opened_on=opened, within_days=5)

    assert due() == date(2026, 7, 19)
    assert due(16) == date(2026, 7, 19)
    assert due(18) == date(2026, 7, 20)
    assert due(opened=date(2026, 7, 30)) == date(2026, 8, 1)


def test_rain_that_comes_back_again_and_again_takes_no_lateness_away():
    rains = [TUE + timedelta(days=n) for n in range(0, 60, 4)]
    due_on = rules.due_day(rains=rains, opened_on=TUE, within_days=5)
    assert due_on == date(
        2026, 7, 20
    )  # the storm of the 18th came in time, the one of the 22nd did not
    assert rules.ask_day(due_on=due_on, newest_rain=date(2026, 7, 18)) == due_on
    assert rules.ask_day(due_on=due_on, newest_rain=date(2026, 7, 22)) == date(2026, 7, 24)
    assert rules.ask_day(due_on=due_on, newest_rain=None) == due_on


def test_a_calendar_round_is_due_on_its_day_and_every_day_after():
    def due(on):
        return rules.calendar_due(last_look=TUE, every_days=30, on=on)

    assert not due(TUE + timedelta(days=29))
    assert due(TUE + timedelta(days=30))
    assert due(TUE + timedelta(days=300))


def test_a_look_on_the_storms_last_day_counts_only_if_written_down_after_the_rain():
    storm_end = datetime(2026, 7, 14, 17, tzinfo=ZONE)

    def after(day, hour, entered_day=14):
        return rules.looked_after(
            happened_on=date(2026, 7, day),
            entered_at=datetime(2026, 7, entered_day, hour, tzinfo=ZONE),
            storm_end=storm_end,
            zone=ZONE,
        )

    assert after(14, 18)
    assert not after(14, 9)
    assert after(15, 9, entered_day=15)
    assert not after(13, 9, entered_day=20)


def test_hand_on_steps_come_in_order_once_each_and_a_late_sweep_takes_them_all():
    steps = [HandOn("coordinator", 8), HandOn("second_reminder", 4), HandOn("agency", 6)]

    def following(age_days, taken=(), agency_ground=True):
        return rules.next_steps(
            steps, age_days=age_days, taken=set(taken), agency_ground=agency_ground
        )

    assert following(3) == []
    assert following(4) == ["second_reminder"]
    assert following(20) == ["second_reminder", "agency", "coordinator"]
    assert following(20, taken=["second_reminder", "agency"]) == ["coordinator"]
    assert following(20, agency_ground=False) == ["second_reminder", "coordinator"]


@pytest.mark.parametrize(
    ("clock", "leaves"),
    [
        ((14, 8, 59), (14, 9, 0)),
        ((14, 9, 0), (14, 9, 0)),
        ((14, 18, 59), (14, 18, 59)),
        ((14, 19, 0), (15, 9, 0)),
        ((14, 23, 30), (15, 9, 0)),
        ((14, 0, 10), (14, 9, 0)),
    ],
)
def test_reminders_leave_within_the_hours_for_them(clock, leaves):
    # 9 to 19 o'clock local time: common practice, no source.
    day, hour, minute = clock
    at = datetime(2026, 7, day, hour, minute, tzinfo=ZONE)
    moment = rules.allowed_moment(at, zone=ZONE, from_hour=9, until_hour=19)
    day, hour, minute = leaves
    assert moment == datetime(2026, 7, day, hour, minute, tzinfo=ZONE)


def test_the_morning_after_the_clocks_go_forward_is_nine_by_the_clock():
    # 8 March 2026, second Sunday: Mountain time springs from 2:00 to 3:00 (15 U.S.C. 260a).
    at = datetime(2026, 3, 7, 22, tzinfo=ZONE)
    moment = rules.allowed_moment(at, zone=ZONE, from_hour=9, until_hour=19)
    assert moment.astimezone(ZONE).hour == 9
    assert moment.timestamp() - at.timestamp() == 10 * 3600


@pytest.mark.parametrize(
    ("drop_in", "judgement"),
    [(3.5, "good"), (3, "good"), (2.9, "watch"), (2, "watch"), (1.9, "act"), (0, "act")],
)
def test_a_trap_is_judged_by_the_drop_to_its_silt(drop_in, judgement):
    # 3 in or more good, 2 to 3 in watch, under 2 in act: common practice, no source.
    assert rules.judge_trap(float(in_to_mm(drop_in)) / 1000) == judgement
