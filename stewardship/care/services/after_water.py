"""The one open duty of a site after water ran: opened, joined, and said anew from its storms and reports."""

from datetime import date, timedelta
from typing import Any

from django.utils.translation import gettext_lazy

from people.models import Program
from sites.models import Site
from stewardship.care import rules
from stewardship.care.choices import Trigger
from stewardship.care.models import CareRule, Duty, FlowReport
from stewardship.care.services.asked import moved_days
from stewardship.care.services.book import first_day_of, last_day_of, new_duty, note
from stewardship.care.services.waiting import renew_waiting
from stewardship.rain.choices import Sureness
from stewardship.rain.models import DeclaredRain, SiteRain, Storm


def rule_for(site: Site, day: date) -> CareRule | None:
    """The after-rain rule of the site's phase, as it was on that day."""
    phase = site.phase(on=day)
    return CareRule.objects.on(day).filter(trigger=Trigger.AFTER_RAIN, phase=phase).first()


def open_duty_at(site: Site) -> Duty | None:
    return (
        Duty.objects.open()
        .filter(site=site, trigger=Trigger.AFTER_RAIN)
        .select_related("rule")
        .prefetch_related("storms")
        .first()
    )


def open_after_storm(site: Site, storm: Storm, *, rule: CareRule | None, on: date, by=None) -> Duty:
    duty = _new(site, why=gettext_lazy("Opened after rain"), rule=rule, on=on, by=by)
    duty.storms.add(storm)
    restate(duty)
    return duty


def open_after_flow(report: FlowReport, *, why: Any, on: date, by=None) -> Duty:
    """A look at one site only, because of a report. The caller links the report and calls `restate`."""
    return _new(report.site, why=why, rule=rule_for(report.site, report.ran_on), on=on, by=by)


def _new(site: Site, *, why: Any, rule: CareRule | None, on: date, by=None) -> Duty:
    return new_duty(
        why=why,
        by=by,
        site=site,
        trigger=Trigger.AFTER_RAIN,
        rule=rule,
        opened_on=on,
        due_on=on,
    )


def join(duty: Duty, storm: Storm) -> None:
    """The storm becomes, or stays, part of the open duty; storms that no longer stand leave it."""
    new = storm not in duty.storms.all()
    duty.storms.add(storm)
    duty.storms.remove(*duty.storms.filter(withdrawn_at__isnull=False))
    restate(duty, gettext_lazy("Another storm joined") if new else "")


def restate(duty: Duty, why: Any = "") -> None:
    """Reason and due day of the duty from its storms and reports, and with them the letters that still wait."""
    zone = Program.get().tz
    rains = list(
        SiteRain.objects.filter(site_id=duty.site_id, storm__duties=duty)
        .select_related("storm")
        .order_by("storm__start_s")
    )
    flows = list(duty.flow_reports.order_by("ran_on", "pk"))
    reason: dict[str, Any] = {"rains": [_told(rain, zone) for rain in rains]}
    if flows:
        reason["flows"] = _flows(flows)
    days = [last_day_of(rain.storm, zone) for rain in rains]
    # Reported late, it is asked for from the day the duty opened: an old report brings no day nearer.
    days += [max(flow.ran_on, duty.opened_on) for flow in flows]
    if not days:
        return
    within = duty.rule.due_within_days if duty.rule else rules.LEAST_DAYS_AFTER_NEWEST
    due_on = rules.due_day(rains=days, opened_on=duty.opened_on, within_days=within)
    # What was settled has moved the day already; what still stands moves it when it is settled.
    due_on += timedelta(days=moved_days(duty))
    if reason == duty.reason and due_on == duty.due_on:
        return
    duty.reason, duty.due_on = reason, due_on
    duty.save(update_fields=["reason", "due_on"])
    if why:
        note(duty, why)
    renew_waiting(duty)


def _told(rain: SiteRain, zone: Any) -> dict[str, Any]:
    told = {
        "storm": rain.storm_id,
        "revision": rain.storm_revision,
        "from": first_day_of(rain.storm, zone).isoformat(),
        "day": last_day_of(rain.storm, zone).isoformat(),
        "depth_um": rain.depth_um,
        "sureness": rain.sureness,
        "sources": [{"gauge": s["gauge"], "weight": s["weight"]} for s in rain.sources],
    }
    if rain.sureness == Sureness.DECLARED:
        said = DeclaredRain.objects.speaking_for(rain.storm, rain.site)
        if said:
            told["declared"] = {"by": str(said.by or ""), "why": said.reason}
    return told


def _flows(flows: list[FlowReport]) -> list[dict[str, Any]]:
    """Each kind of water of a day once. A coordinator's own words go along; what neighbours wrote stays with their report."""
    said: dict[tuple[str, str], dict[str, Any]] = {}
    for flow in flows:
        one = said.setdefault(
            (flow.kind, flow.ran_on.isoformat()),
            {"kind": flow.kind, "day": flow.ran_on.isoformat(), "note": ""},
        )
        if not flow.person_id and not flow.told_by and not one["note"]:
            one["note"] = flow.note
    return list(said.values())
