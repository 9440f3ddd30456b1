"""Reports that water ran though no storm says so: taken in, acted on for that one site, or set aside."""

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date, datetime, time
from typing import Any

from django.db import transaction
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from people.models import Person, Program
from sites.models import Site
from stewardship.care import rules
from stewardship.care.choices import DutyState, ReportState
from stewardship.care.models import Duty, FlowReport, LateNewsRule, Visit
from stewardship.care.services.after_water import open_after_flow, open_duty_at, restate
from stewardship.care.services.asked import resting
from stewardship.care.services.book import lock_site, lock_sites
from stewardship.common.errors import Refused


def report_flow(
    *,
    site: Site,
    kind: str,
    ran_on: date,
    at: datetime,
    ran_at: time | None = None,
    note: str = "",
    person: Person | None = None,
    told_by: str = "",
    by=None,
) -> FlowReport:
    """Take a report in. The same person's report of the same water is the one that is there.

    It joins a look that is due at the site anyway. Otherwise it waits for a coordinator, unless the program lets a resident's
    word act by itself (`LateNewsRule`) and nobody has looked since.

    Raises
    ------
    Refused
        A day that has not come yet.
    """
    today = at.astimezone(Program.get().tz).date()
    if ran_on > today:
        raise Refused(_("That day has not come yet."))
    with transaction.atomic():
        site = lock_site(site.pk)
        teller: dict[str, Any] = {"person": person} if person else {"told_by": told_by.strip()}
        same = FlowReport.objects.about(site, ran_on).filter(kind=kind, **teller)
        before = (same if person else same.filter(person=None)).first()
        if before:
            return before
        report = FlowReport.objects.create(
            site=site,
            kind=kind,
            ran_on=ran_on,
            ran_at=ran_at,
            note=note.strip(),
            at=at,
            by=by,
            **teller,
        )
        duty = open_duty_at(site)
        if duty:
            _join(report, duty, at=at, by=by)
        elif person and _acts_alone(report, on=today):
            _act(report, at=at, on=today, by=None, why="")
    return report


def act_on_flow(*, report: FlowReport, at: datetime, by, why: str = "") -> Duty:
    """Ask for a look at that one site. Other reports of the same site and day are answered with it.

    Raises
    ------
    Refused
        It is decided already, no basin stands there, or a look was made or asked for since.
    """
    on = at.astimezone(Program.get().tz).date()
    with transaction.atomic():
        report = _locked(report)
        duty = open_duty_at(report.site)
        if duty is None:
            refusal = _why_not(report, on=on)
            if refusal:
                raise Refused(refusal)
        return _act(report, at=at, on=on, by=by, why=why)


def set_aside_flow(*, report: FlowReport, why: str, at: datetime, by) -> FlowReport:
    """Nothing is asked of anybody; the report stays in the record with the reason.

    Raises
    ------
    Refused
        It is decided already, or no reason is given.
    """
    if not why.strip():
        raise Refused(_("Say why in a few words."))
    with transaction.atomic():
        report = _locked(report)
        report.state, report.why = ReportState.SET_ASIDE, why.strip()
        report.decided_at, report.decided_by = at, by
        report.save(update_fields=["state", "why", "decided_at", "decided_by"])
    return report


@dataclass
class Recorded:
    """What became of one cause written down for several sites; `refused` with the sentence for each site."""

    done: list[FlowReport] = field(default_factory=list)
    refused: list[tuple[Site, str]] = field(default_factory=list)


def record_flow(
    *,
    sites: Iterable[Site],
    act: bool,
    kind: str,
    ran_on: date,
    at: datetime,
    by,
    ran_at: time | None = None,
    note: str = "",
    told_by: str = "",
    why: str = "",
) -> Recorded:
    """A coordinator writes down what ran at several sites, and may ask for a look at once. A site that cannot be asked about is
    named, keeps its report, and stops no other."""
    recorded, sites = Recorded(), list(sites)
    with transaction.atomic():
        lock_sites(site.pk for site in sites)
        for site in sites:
            report = report_flow(
                site=site,
                kind=kind,
                ran_on=ran_on,
                at=at,
                ran_at=ran_at,
                note=note,
                told_by=told_by,
                by=by,
            )
            try:
                if act and report.state == ReportState.WAITING:
                    act_on_flow(report=report, at=at, by=by, why=why)
                    report.refresh_from_db()
            except Refused as no:
                recorded.refused.append((site, str(no)))
            else:
                recorded.done.append(report)
    return recorded


def _locked(report: FlowReport) -> FlowReport:
    lock_site(report.site_id)
    report = (
        FlowReport.objects.select_for_update(of=("self",)).select_related("site").get(pk=report.pk)
    )
    if report.state != ReportState.WAITING:
        raise Refused(_("This has been decided already."))
    return report


def _act(report: FlowReport, *, at: datetime, on: date, by, why: str) -> Duty:
    duty = open_duty_at(report.site) or open_after_flow(
        report, why=gettext_lazy("Opened because water ran"), on=on, by=by
    )
    alike = FlowReport.objects.waiting().about(report.site, report.ran_on)
    alike.update(state=ReportState.ACTED, duty=duty, decided_at=at, decided_by=by, why=why.strip())
    report.refresh_from_db()
    restate(duty)
    return duty


def _join(report: FlowReport, duty: Duty, *, at: datetime, by) -> None:
    report.state, report.duty, report.decided_at, report.decided_by = (
        ReportState.ACTED,
        duty,
        at,
        by,
    )
    report.save(update_fields=["state", "duty", "decided_at", "decided_by"])
    restate(duty, gettext_lazy("A report that water ran joined"))


def _acts_alone(report: FlowReport, *, on: date) -> bool:
    rule = LateNewsRule.objects.in_force(on=on)
    recent = (on - report.ran_on).days <= rule.acts_alone_days
    return rule.reports_act and recent and not _why_not(report, on=on)


def _why_not(report: FlowReport, *, on: date) -> str:
    """Why no look is asked for; "" if one may be."""
    site, day = report.site, report.ran_on
    if not Site.objects.built(on=on).filter(pk=site.pk).exists():
        return _("No basin is in use there.")
    if any(resting(on=one).filter(site=site).exists() for one in {day, on}):
        return _("The site rests; nothing is asked of anybody there.")
    if (on - day).days > rules.ASKS_DAYS:
        return _("That is more than %s days ago; a look by calendar has come since.") % (
            rules.ASKS_DAYS
        )
    told = FlowReport.objects.about(site, day).filter(state=ReportState.ACTED).first()
    if told:
        return _("A look was asked for because of that day already: it is %s.") % (
            str(DutyState(told.duty.state).label).lower()
        )
    looked = Visit.objects.looks(until=on).filter(site=site, happened_on__gt=day).first()
    if looked:
        return _("Somebody has looked since.")
    return ""
