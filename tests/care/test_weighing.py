"""Storms become duties at the sites they reached; late and unknown rain becomes a question for a person."""

from datetime import date, timedelta

import pytest

from sites.choices import Phase
from stewardship.care import services
from stewardship.care.choices import DutyState, RainAsk, RainDecision, Trigger
from stewardship.care.models import CareRule, Duty, RainQuestion
from stewardship.care.services import weighing
from stewardship.care.words import reason_text, why_text
from stewardship.common.errors import Refused
from stewardship.rain.models import SiteRain
from tests import factory
from tests.care.book import TUESDAY, decide, open_duty, rain, revise, sweep

pytestmark = pytest.mark.usefixtures("frozen_day")

# The cast's sites were accepted on 1 April 2025: establishing in July 2026, so their rule asks for 0.5 in.


def weigh(on=factory.TODAY):
    return services.weigh_site_rains(on=on)


def test_a_storm_opens_one_duty_where_it_reached_the_rule_and_none_elsewhere(cast):
    storm = rain(cast.site, depth_in=0.5)
    rain(cast.other_site, storm=storm, depth_in=0.49)
    weigh()
    duty = open_duty(cast.site)
    assert (duty.trigger, duty.due_on) == (Trigger.AFTER_RAIN, date(2026, 7, 19))
    assert duty.owed_by.person == cast.owner
    assert list(duty.storms.all()) == [storm]
    assert duty.events.get().became == DutyState.OPEN
    assert not Duty.objects.filter(site=cast.other_site).exists()


def test_the_rule_is_that_of_the_sites_phase_on_the_storms_day(cast):
    # Defaults: 0.25 in settling in, 0.5 in establishing, 1.0 in settled (program defaults).
    young = factory.make_built_site("ASH-3", on=date(2026, 5, 1))
    old = factory.make_built_site("FIR-4", on=date(2023, 5, 1))
    assert young.phase(on=TUESDAY) == Phase.SETTLING_IN
    assert old.phase(on=TUESDAY) == Phase.SETTLED
    storm = rain(young, cast.site, old, depth_in=0.3)
    bigger = rain(young, cast.site, old, day=factory.TODAY, clock="01:00", depth_in=1.0)
    weigh()
    assert set(open_duty(young).storms.all()) == {storm, bigger}
    assert list(open_duty(cast.site).storms.all()) == [bigger]
    assert list(open_duty(old).storms.all()) == [bigger]


def test_a_rule_changed_in_mid_season_does_not_reach_back(cast):
    old = CareRule.objects.get(trigger=Trigger.AFTER_RAIN, phase=Phase.ESTABLISHING)
    old.ends_on = factory.TODAY
    old.save()
    CareRule.objects.create(
        trigger=Trigger.AFTER_RAIN,
        phase=Phase.ESTABLISHING,
        least_depth_um=factory.um(0.1),
        starts_on=factory.TODAY,
    )
    before = rain(cast.site, day=TUESDAY, depth_in=0.2)
    after = rain(cast.other_site, day=factory.TODAY, clock="06:00", depth_in=0.2)
    weigh()
    assert not before.duties.exists()
    assert after.duties.get().site == cast.other_site


def test_the_reason_names_day_depth_gauges_and_weights(cast):
    storm = rain(cast.site)
    SiteRain.objects.filter(storm=storm).update(
        sources=[
            {"gauge": "A", "weight": 0.58, "distance_m": 300, "depth_um": factory.um(0.7)},
            {"gauge": "B", "weight": 0.42, "distance_m": 400, "depth_um": factory.um(0.5)},
        ]
    )
    weigh()
    said = reason_text(open_duty(cast.site).reason, "us")
    assert said == "0.62 in on Tue 14 Jul, from gauges A (58 %) and B (42 %)"


def test_possible_rain_opens_a_duty_that_says_please_look(cast):
    rain(cast.site, sureness="possible")
    weigh()
    said = reason_text(open_duty(cast.site).reason, "us")
    assert said == "possibly 0.62 in on Tue 14 Jul, please look, from gauge G1"


def test_unknown_rain_opens_no_duty_but_stands_before_the_coordinator(cast, coordinator):
    storm = rain(cast.site, depth_in=None)
    weigh()
    assert not Duty.objects.exists()
    question = RainQuestion.objects.get()
    assert (question.ask, question.storm) == (RainAsk.UNKNOWN, storm)
    assert "Rain not known here" in coordinator.get("/care/rain/").content.decode()


def test_unknown_rain_that_becomes_known_settles_the_question_by_itself(cast):
    storm = rain(cast.site, depth_in=None)
    weigh()
    revise(storm, cast.site, depth_in=0.2)
    weigh()
    assert RainQuestion.objects.get().decision == RainDecision.OVERTAKEN


def test_only_sites_that_stood_built_on_the_storms_day_get_a_duty(cast):
    new = factory.make_built_site("ASH-3", on=date(2026, 7, 1), built_on=factory.TODAY)
    proposed = factory.make_site("FIR-4")
    rain(new, proposed, depth_in=2.0)
    weigh()
    assert not Duty.objects.exists()
    assert not SiteRain.objects.filter(weighed_at=None).exists()


def test_a_storm_that_ends_after_midnight_counts_on_the_day_it_ended(cast):
    rain(cast.site, day=TUESDAY, clock="23:00")
    weigh()
    (told,) = open_duty(cast.site).reason["rains"]
    assert (told["from"], told["day"]) == ("2026-07-14", "2026-07-15")
    assert "on Tue 14 Jul to Wed 15 Jul" in reason_text(open_duty(cast.site).reason, "us")


def test_a_duty_of_a_site_that_nobody_cares_for_is_listed_not_lost(cast):
    cast.site.responsibilities.update(ends_on=date(2026, 7, 1), ended_why="sold")
    rain(cast.site)
    sweep()
    duty = Duty.objects.without_anybody().get()
    assert duty.site == cast.site
    assert not duty.reminders.exists()


def test_an_unowed_duty_goes_to_whoever_signs_next_and_they_are_told(cast):
    cast.site.responsibilities.update(ends_on=date(2026, 7, 1), ended_why="sold")
    rain(cast.site)
    sweep()
    factory.make_agreement(
        [cast.site], signers=[(cast.tenant, "tenant")], on=factory.TODAY, reference="NEXT"
    )
    sweep()
    duty = open_duty(cast.site)
    assert duty.owed_by.person == cast.tenant
    assert duty.reminders.get().person == cast.tenant


def test_one_bad_row_is_left_waiting_and_does_not_stop_the_rest(cast, monkeypatch):
    storm = rain(cast.site, cast.other_site)
    act = weighing._act

    def stumble(site, row, **kwargs):
        if site == cast.site:
            raise ArithmeticError
        act(site, row, **kwargs)

    monkeypatch.setattr(weighing, "_act", stumble)
    assert weigh() == 1
    assert storm.duties.get().site == cast.other_site
    assert SiteRain.objects.get(weighed_at=None).site == cast.site
    monkeypatch.undo()
    assert weigh() == 1
    assert storm.duties.count() == 2


def test_years_of_imported_rain_ask_nobody_for_anything(cast):
    for months_back in range(1, 25):
        rain(cast.site, day=TUESDAY - timedelta(days=31 * months_back + 1), depth_in=1.5)
    assert weigh() == 24
    assert not Duty.objects.exists()
    assert not RainQuestion.objects.exists()


def test_t18_late_rain_of_the_last_three_days_reaches_a_site_newly(cast):
    storm = rain(cast.site, day=factory.TODAY - timedelta(days=3), depth_in=0.3)
    weigh()
    assert not Duty.objects.exists()
    revise(storm, cast.site, depth_in=0.6)
    weigh()
    assert open_duty(cast.site).due_on >= factory.TODAY + timedelta(days=2)


def test_t18_older_late_rain_waits_for_a_person_to_decide(cast, coordinator):
    storm = rain(cast.site, day=factory.TODAY - timedelta(days=4), depth_in=0.3)
    weigh()
    revise(storm, cast.site, depth_in=0.6)
    weigh()
    assert not Duty.objects.exists()
    question = RainQuestion.objects.open().get(ask=RainAsk.ADD)
    decide(coordinator, "act", question)
    assert list(open_duty(cast.site).storms.all()) == [storm]
    question.refresh_from_db()
    assert (question.decision, question.decided_by) == (RainDecision.ACT, cast.coordinator)


def test_t18_whoever_was_told_needlessly_is_listed_and_nothing_is_taken_back_unasked(
    cast, coordinator
):
    storm = rain(cast.site, depth_in=0.6)
    sweep()
    revise(storm, cast.site, depth_in=0.2)
    sweep()
    duty = open_duty(cast.site)
    question = RainQuestion.objects.open().get(ask=RainAsk.NEEDLESS)
    assert question.duty == duty
    decide(coordinator, "act", question)
    duty.refresh_from_db()
    assert duty.state == DutyState.WITHDRAWN
    assert duty.reminders.get().message.status == "suppressed"


def test_t18_a_decision_to_leave_it_is_kept_and_not_asked_again(cast, coordinator):
    storm = rain(cast.site, day=factory.TODAY - timedelta(days=9), depth_in=0.6)
    weigh()
    question = RainQuestion.objects.open().get()
    decide(coordinator, "leave", question)
    SiteRain.objects.filter(storm=storm).update(weighed_at=None)
    weigh()
    assert not RainQuestion.objects.open().exists()
    assert not Duty.objects.exists()


def test_t18_a_question_is_decided_once(cast):
    rain(cast.site, day=factory.TODAY - timedelta(days=9), depth_in=0.6)
    weigh()
    question = RainQuestion.objects.open().get()
    services.decide_rain_question(question=question, act=False, on=factory.TODAY)
    with pytest.raises(Refused, match="decided already"):
        services.decide_rain_question(question=question, act=True, on=factory.TODAY)


def test_t18_a_storm_that_was_no_storm_leaves_its_open_duties_to_a_person(cast):
    storm = rain(cast.site)
    weigh()
    storm.withdrawn_at = factory.at(factory.TODAY)
    storm.save()
    weigh()
    weigh()
    assert RainQuestion.objects.open().get().ask == RainAsk.NEEDLESS
    assert open_duty(cast.site)


def test_t18_late_rain_that_the_readings_no_longer_show_asks_nothing_more(cast):
    storm = rain(cast.site, day=factory.TODAY - timedelta(days=9), depth_in=0.6)
    weigh()
    question = RainQuestion.objects.open().get()
    storm.withdrawn_at = factory.at(factory.TODAY)
    storm.save()
    with pytest.raises(Refused, match="Overtaken by newer readings"):
        services.decide_rain_question(question=question, act=True, on=factory.TODAY)
    weigh()
    question.refresh_from_db()
    assert question.decision == RainDecision.OVERTAKEN
    assert not Duty.objects.exists()


def test_t19_three_storms_in_five_days_are_one_duty_that_names_the_period(cast):
    for day, depth_in in ((10, 0.62), (12, 0.8), (14, 0.55)):
        on = date(2026, 7, day)
        rain(cast.site, day=on, depth_in=depth_in)
        weigh(on=on)
    duty = open_duty(cast.site)
    assert duty.storms.count() == 3
    said = reason_text(duty.reason, "us")
    assert said == "3 storms from Fri 10 Jul to Tue 14 Jul: 0.62 in, 0.80 in and 0.55 in"
    # from the first storm 15 July, but never sooner than two days after the newest
    assert duty.due_on == date(2026, 7, 16)


def test_t19_a_storm_that_joins_a_late_duty_asks_for_a_new_day_but_leaves_it_late(cast):
    rain(cast.site, day=TUESDAY)
    weigh()
    later = TUESDAY + timedelta(days=9)
    rain(cast.site, day=later, depth_in=0.8)
    weigh(on=later)
    duty = open_duty(cast.site)
    assert duty.storms.count() == 2
    assert (duty.due_on, duty.ask_by) == (date(2026, 7, 19), date(2026, 7, 25))
    assert list(Duty.objects.late(on=later)) == [duty]
    assert why_text(duty, "us").endswith("; it was due Sun 19 Jul, and it has rained again since")


def test_t19_a_small_storm_does_not_join(cast):
    rain(cast.site, day=date(2026, 7, 13))
    rain(cast.site, day=TUESDAY, depth_in=0.2)
    weigh()
    assert open_duty(cast.site).storms.count() == 1


def test_t19_a_storm_after_the_work_is_done_opens_a_new_duty(cast):
    rain(cast.site, day=date(2026, 7, 10))
    weigh(on=date(2026, 7, 10))
    services.record_visit(site=cast.site, happened_on=date(2026, 7, 12), done_by=cast.owner)
    rain(cast.site, day=TUESDAY)
    weigh()
    assert Duty.objects.filter(site=cast.site).count() == 2
    assert open_duty(cast.site).storms.count() == 1


def test_a_visit_after_the_storm_answers_it_before_its_readings_came_in(cast):
    services.record_visit(site=cast.site, happened_on=factory.TODAY, done_by=cast.owner)
    rain(cast.site, day=TUESDAY)
    weigh()
    assert not Duty.objects.exists()


def test_readings_that_come_in_after_the_work_do_not_ask_for_it_again(cast):
    storm = rain(cast.site)
    weigh()
    services.record_visit(site=cast.site, happened_on=factory.TODAY, done_by=cast.owner)
    revise(storm, cast.site, depth_in=0.9)
    weigh()
    assert not Duty.objects.open().exists()
    assert not RainQuestion.objects.exists()


def test_a_storm_merged_into_another_stays_the_same_duty(cast):
    first = rain(cast.site, clock="08:00")
    weigh()
    whole = rain(cast.site, clock="09:00", depth_in=1.0)
    first.withdrawn_at, first.merged_into = factory.at(factory.TODAY), whole
    first.save()
    weigh()
    duty = open_duty(cast.site)
    assert list(duty.storms.all()) == [whole]
    assert [told["depth_um"] for told in duty.reason["rains"]] == [factory.um(1.0)]


def test_the_calendar_asks_by_phase_from_the_last_look(cast, unseen):
    # 60 days while establishing (program default)
    factory.make_visit(cast.site, factory.TODAY - timedelta(days=59))
    factory.make_visit(cast.other_site, factory.TODAY - timedelta(days=60))
    services.open_calendar_duties(on=factory.TODAY)
    duty = Duty.objects.open().get()
    assert (duty.site, duty.trigger) == (cast.other_site, Trigger.CALENDAR)
    assert reason_text(duty.reason, "us") == (
        "a look is due every 60 days; the last was on Sat 16 May"
    )


def test_the_calendar_waits_where_the_rain_asks_for_a_look_already(cast, unseen):
    rain(cast.site)
    weigh()
    services.open_calendar_duties(on=factory.TODAY)
    assert not Duty.objects.filter(site=cast.site, trigger=Trigger.CALENDAR).exists()


def test_an_excused_round_counts_from_the_day_it_was_excused(cast, unseen):
    services.open_calendar_duties(on=factory.TODAY)
    duty = open_duty(cast.site)
    services.excuse_duty(duty=duty, why="away", on=factory.TODAY)
    services.open_calendar_duties(on=factory.TODAY + timedelta(days=59))
    assert not Duty.objects.open().filter(site=cast.site).exists()
    services.open_calendar_duties(on=factory.TODAY + timedelta(days=60))
    assert open_duty(cast.site)


def test_t29_a_visit_on_which_nothing_could_be_seen_is_no_look(cast, unseen):
    factory.make_visit(
        cast.site, factory.TODAY - timedelta(days=5), findings=[("trap", "not_seen")]
    )
    services.open_calendar_duties(on=factory.TODAY)
    assert open_duty(cast.site).trigger == Trigger.CALENDAR
