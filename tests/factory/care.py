"""Care rules, duties, visits."""

from collections.abc import Iterable
from datetime import date, timedelta

from sites.models import SedimentTrap, Site
from stewardship.agreements.choices import (
    ResponsibilityRole,
)
from stewardship.agreements.models import (
    Responsibility,
)
from stewardship.care.choices import DutyState, Evidence, Judgement, Outcome, Trigger
from stewardship.care.models import CareRule, CleanOut, Duty, Finding, HandOnStep, Visit
from stewardship.rain.models import (
    Storm,
)
from tests.factory.times import at, um


def make_care_rule(
    *,
    trigger: str = Trigger.AFTER_RAIN,
    phase: str = "settling_in",
    least_in: float = 0.25,
    every_days: int = 30,
    due_within_days: int = 5,
    starts_on: date = date(2023, 1, 1),
    **fields,
) -> CareRule:
    """In the place of the rule that a new installation starts with."""
    after_rain = trigger == Trigger.AFTER_RAIN
    CareRule.objects.filter(trigger=trigger, phase=phase, ends_on=None, duties=None).delete()
    return CareRule.objects.create(
        trigger=trigger,
        phase=phase,
        least_depth_um=um(least_in) if after_rain else None,
        every_days=None if after_rain else every_days,
        due_within_days=due_within_days,
        starts_on=starts_on,
        **fields,
    )


def make_hand_on(action: str, after_days: int, starts_on: date = date(2023, 1, 1)) -> HandOnStep:
    HandOnStep.objects.filter(action=action, ends_on=None).delete()
    return HandOnStep.objects.create(action=action, after_days=after_days, starts_on=starts_on)


def make_duty(
    site: Site,
    *,
    opened_on: date = date(2026, 7, 14),
    due_on: date | None = None,
    trigger: str = Trigger.AFTER_RAIN,
    storms: Iterable[Storm] = (),
    state: str = DutyState.OPEN,
    closed_on: date | None = None,
    **fields,
) -> Duty:
    """A duty, owed by whoever does the work at the site on the day it opened (nobody, if nobody does)."""
    if "owed_by" not in fields:
        fields["owed_by"] = (
            Responsibility.objects.as_of(opened_on)
            .filter(site=site, role=ResponsibilityRole.DOES)
            .first()
        )
    fields.setdefault(
        "reason",
        {"rains": [{"day": opened_on.isoformat(), "depth_um": um(0.62), "sources": []}]},
    )
    duty = Duty.objects.create(
        site=site,
        trigger=trigger,
        opened_on=opened_on,
        due_on=due_on or opened_on + timedelta(days=5),
        state=state,
        closed_on=closed_on,
        **fields,
    )
    duty.storms.set(storms)
    return duty


def make_visit(
    site: Site,
    happened_on: date,
    *,
    findings: Iterable[tuple[str, str]] = (),
    litres: float | None = None,
    evidence: str = Evidence.REPORTED,
    outcome: str = Outcome.DONE,
    **fields,
) -> Visit:
    """A visit with findings [(item, judgement)] and, with `litres`, silt out of the first trap."""
    fields.setdefault("entered_at", at(happened_on, "18:00"))
    visit = Visit.objects.create(
        site=site, happened_on=happened_on, evidence=evidence, outcome=outcome, **fields
    )
    for item, judgement in findings:
        Finding.objects.create(visit=visit, item=item, judgement=Judgement(judgement))
    if litres:
        trap = SedimentTrap.objects.filter(inlet__basin__site=site).order_by("pk").first()
        CleanOut.objects.create(visit=visit, trap=trap, litres=litres)
    return visit
