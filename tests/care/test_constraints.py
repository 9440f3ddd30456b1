"""What the database itself refuses, and what it lets through."""

from datetime import date

import pytest
from django.db import IntegrityError, transaction
from django.utils import timezone

from sites.models import SedimentTrap
from stewardship.care.models import (
    Answer,
    CareRule,
    CleanOut,
    ContactCheck,
    Duty,
    Finding,
    FlowReport,
    HandOnStep,
    LateNewsRule,
    RainQuestion,
    Reminder,
    Visit,
)
from tests import factory
from tests.care.book import TUESDAY, open_duty, rain, sweep

pytestmark = pytest.mark.usefixtures("frozen_day")


def refused(constraint: str, make) -> None:
    """The database says no, by that constraint's name or (on SQLite, for unique ones) by its columns."""
    with pytest.raises(IntegrityError) as error, transaction.atomic():
        make()
    said = str(error.value)
    assert constraint in said or "UNIQUE constraint failed" in said


def duty_facts(cast, **changes) -> dict:
    facts = {
        "site": cast.site,
        "trigger": "after_rain",
        "opened_on": TUESDAY,
        "due_on": date(2026, 7, 19),
    }
    return facts | changes


def test_one_open_duty_after_rain_per_site_closed_ones_do_not_count(cast):
    first = Duty.objects.create(**duty_facts(cast))
    refused("duty_one_open_per_trigger", lambda: Duty.objects.create(**duty_facts(cast)))
    Duty.objects.create(**duty_facts(cast, trigger="calendar"))
    Duty.objects.create(**duty_facts(cast, trigger="finding"))
    Duty.objects.create(**duty_facts(cast, trigger="finding"))
    first.state, first.closed_on = "met", TUESDAY
    first.save()
    Duty.objects.create(**duty_facts(cast))


@pytest.mark.parametrize(
    ("changes", "constraint"),
    [
        ({"state": "met"}, "duty_closed_iff_day"),
        ({"closed_on": TUESDAY}, "duty_closed_iff_day"),
        ({"state": "lost", "closed_on": TUESDAY}, "duty_state_known"),
        ({"trigger": "whim"}, "duty_trigger_known"),
        ({"due_on": date(2026, 7, 13)}, "duty_due_not_before_opened"),
        ({"needs_person_why": "cannot"}, "duty_needs_person_iff_why"),
        ({"needs_person_since": TUESDAY}, "duty_needs_person_iff_why"),
        (
            {"needs_person_since": TUESDAY, "needs_person_why": "whim"},
            "duty_needs_person_iff_why",
        ),
    ],
)
def test_a_duty_that_contradicts_itself_is_refused(cast, changes, constraint):
    refused(constraint, lambda: Duty.objects.create(**duty_facts(cast, **changes)))


def test_a_duty_on_the_list_with_its_reason_is_fine(cast):
    Duty.objects.create(
        **duty_facts(cast, needs_person_since=TUESDAY, needs_person_why="no_answer")
    )


@pytest.mark.parametrize(
    "facts",
    [
        {"trigger": "after_rain", "every_days": 30},
        {"trigger": "calendar", "least_depth_um": 6350},
        {"trigger": "calendar", "every_days": 0},
        {"trigger": "finding"},
    ],
)
def test_a_care_rule_fits_its_trigger(db, facts):
    refused(
        "care_rule_fits_its_trigger",
        lambda: CareRule.objects.create(
            phase="settled", starts_on=TUESDAY, ends_on=factory.TODAY, **facts
        ),
    )


def test_one_rule_is_in_effect_per_trigger_and_phase(db):
    facts = {"trigger": "calendar", "phase": "settled", "every_days": 100, "starts_on": TUESDAY}
    refused("care_rule_open_once", lambda: CareRule.objects.create(**facts))
    CareRule.objects.create(**facts, ends_on=factory.TODAY)


def test_one_setting_of_a_hand_on_step_is_in_effect(db):
    facts = {"action": "coordinator", "after_days": 5, "starts_on": TUESDAY}
    refused("hand_on_step_open_once", lambda: HandOnStep.objects.create(**facts))
    HandOnStep.objects.create(**facts, ends_on=factory.TODAY)
    refused(
        "hand_on_action_known",
        lambda: HandOnStep.objects.create(action="shout", after_days=1, starts_on=TUESDAY),
    )


def test_a_person_is_told_once_per_round(cast):
    rain(cast.site)
    sweep()
    told = Reminder.objects.get()
    same = {"duty": told.duty, "person": told.person, "message": told.message}
    refused("reminder_once_per_round", lambda: Reminder.objects.create(round=1, **same))
    Reminder.objects.create(round=2, **same)


def test_the_same_answer_about_a_day_is_there_once(cast):
    rain(cast.site)
    sweep()
    facts = {"duty": open_duty(cast.site), "person": cast.owner, "about_on": TUESDAY}
    Answer.objects.create(kind="done", **facts)
    refused("answer_once_per_kind_and_day", lambda: Answer.objects.create(kind="done", **facts))
    Answer.objects.create(kind="cannot", **facts)
    Answer.objects.create(kind="done", **(facts | {"about_on": factory.TODAY}))
    refused("answer_kind_known", lambda: Answer.objects.create(kind="maybe", **facts))


def test_a_visit_is_done_by_a_person_or_an_agency(cast):
    facts = {"site": cast.site, "happened_on": TUESDAY}
    refused(
        "visit_person_or_agency",
        lambda: Visit.objects.create(done_by=cast.owner, done_by_agency=cast.agency, **facts),
    )
    refused("visit_outcome_known", lambda: Visit.objects.create(outcome="so-so", **facts))
    refused("visit_evidence_known", lambda: Visit.objects.create(evidence="rumour", **facts))
    Visit.objects.create(**facts)


def test_an_item_is_judged_once_per_basin_and_visit(cast):
    visit, basin = factory.make_visit(cast.site, TUESDAY), cast.site.basins.get()
    Finding.objects.create(visit=visit, basin=basin, item="trap", judgement="good")
    Finding.objects.create(visit=visit, item="trap", judgement="good")
    again = {"visit": visit, "item": "trap", "judgement": "act"}
    refused("finding_once", lambda: Finding.objects.create(basin=basin, **again))
    refused("finding_once", lambda: Finding.objects.create(**again))
    refused(
        "finding_measure_not_negative",
        lambda: Finding.objects.create(
            visit=visit, item="inlet", judgement="good", measured_m=-0.1
        ),
    )


def test_a_clean_out_took_something_out_once_per_trap_and_visit(cast):
    visit = factory.make_visit(cast.site, TUESDAY)
    trap = SedimentTrap.objects.get(inlet__basin__site=cast.site)
    refused(
        "clean_out_took_something",
        lambda: CleanOut.objects.create(visit=visit, trap=trap, litres=0),
    )
    CleanOut.objects.create(visit=visit, trap=trap, litres=4)
    refused(
        "clean_out_once_per_visit",
        lambda: CleanOut.objects.create(visit=visit, trap=trap, litres=4),
    )


@pytest.mark.parametrize("with_site", [True, False])
def test_one_verify_contact_job_of_a_kind_is_open(cast, with_site):
    facts = {
        "person": cast.owner,
        "reason": "bounced",
        "site": cast.site if with_site else None,
    }
    first = ContactCheck.objects.create(**facts)
    refused("contact_check_open_once", lambda: ContactCheck.objects.create(**facts))
    first.closed_at = timezone.now()
    first.save()
    ContactCheck.objects.create(**facts)


def test_one_question_about_a_storm_at_a_site_is_open_and_a_decision_has_its_time(cast):
    storm = rain(cast.site)
    facts = {"site": cast.site, "storm": storm, "storm_revision": 1}
    RainQuestion.objects.create(ask="add", **facts)
    refused("rain_question_open_once", lambda: RainQuestion.objects.create(ask="add", **facts))
    other = facts | {"site": cast.other_site}
    refused(
        "rain_question_decided_iff_time",
        lambda: RainQuestion.objects.create(ask="add", decision="act", **other),
    )
    refused(
        "rain_question_needless_names_duty",
        lambda: RainQuestion.objects.create(ask="needless", **other),
    )
    refused("rain_question_known", lambda: RainQuestion.objects.create(ask="why", **other))


def flow(cast, **changes) -> FlowReport:
    facts = {"site": cast.site, "kind": "hail", "ran_on": TUESDAY}
    return FlowReport.objects.create(**(facts | changes))


@pytest.mark.parametrize(
    ("changes", "constraint"),
    [
        ({"kind": "frogs"}, "flow_report_kind_known"),
        ({"state": "lost", "decided_at": "now"}, "flow_report_state_known"),
        ({"decided_at": "now"}, "flow_report_decided_iff_time"),
        ({"state": "set_aside", "why": "A hose"}, "flow_report_decided_iff_time"),
        ({"state": "acted", "decided_at": "now"}, "flow_report_acted_iff_duty"),
        ({"duty": "one"}, "flow_report_acted_iff_duty"),
        ({"state": "set_aside", "decided_at": "now"}, "flow_report_set_aside_says_why"),
    ],
)
def test_a_report_that_water_ran_is_waiting_acted_on_or_set_aside_for_a_reason(
    cast, changes, constraint
):
    if "decided_at" in changes:
        changes["decided_at"] = timezone.now()
    if "duty" in changes:
        changes["duty"] = Duty.objects.create(**duty_facts(cast))
    refused(constraint, lambda: flow(cast, **changes))


def test_reports_in_every_state_are_taken(cast):
    now, duty = timezone.now(), Duty.objects.create(**duty_facts(cast))
    flow(cast)
    flow(cast, kind="other", state="acted", decided_at=now, duty=duty)
    flow(cast, kind="rain", state="set_aside", decided_at=now, why="A hose")
    assert FlowReport.objects.count() == 3


def test_one_report_of_the_same_water_per_teller(cast):
    flow(cast, person=cast.owner)
    flow(cast, person=cast.tenant)
    flow(cast, told_by="the man at 108")
    flow(cast)
    refused("flow_report_once_per_person", lambda: flow(cast, person=cast.owner))
    refused("flow_report_once_per_teller", lambda: flow(cast, told_by="the man at 108"))
    refused("flow_report_once_per_teller", lambda: flow(cast))
    flow(cast, person=cast.owner, ran_on=date(2026, 7, 13))
    flow(cast, person=cast.owner, kind="rain")


def test_one_rule_of_late_news_starts_on_a_day_and_asks_no_longer_than_anybody_is_asked(cast):
    LateNewsRule.objects.create(starts_on=TUESDAY, acts_alone_days=30)
    refused("starts_on", lambda: LateNewsRule.objects.create(starts_on=TUESDAY))
    refused(
        "late_news_rule_within_asking",
        lambda: LateNewsRule.objects.create(starts_on=date(2026, 7, 1), acts_alone_days=31),
    )
