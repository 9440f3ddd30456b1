"""What needs the coordinator, in order of urgency. Each entry says why and where to act; the number of queries is fixed."""

from collections.abc import Iterable
from datetime import date, datetime

from django.db.models import Count, Q, QuerySet
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from people.models import Program, User
from stewardship.agreements.standing import sites_with_nobody
from stewardship.care.choices import DutyState, Judgement, NeedsPerson, Trigger
from stewardship.care.models import ContactCheck, Duty
from stewardship.care.words import reason_text
from stewardship.common.written import day_text
from stewardship.front.need import Need, Section, local_day
from stewardship.front.needs_around import (
    agreements,
    disputes,
    files,
    flow_reports,
    gauges,
    letters,
    rain_questions,
)


def what_needs_me(*, program: Program, now: datetime, user: User) -> list[Section]:
    """The sections that have something in them, most urgent first; of files only those that this user brought."""
    today = now.astimezone(program.tz).date()
    nobody = list(sites_with_nobody(on=today).annotate(open_duties=_open_duties()))
    duties = list(_duties_that_need_somebody(today))
    unowned = [duty for duty in duties if duty.owed_by_id is None]
    found = [duty for duty in duties if duty.trigger == Trigger.FINDING or _is_unsafe(duty)]
    standing = [duty for duty in duties if duty not in found and duty.disputed_since is None]
    rest = [duty for duty in standing if duty.owed_by_id is not None]
    listed = [duty for duty in rest if duty.needs_person_since]
    late = [duty for duty in rest if not duty.needs_person_since]
    units = program.units
    sections = [
        Section(
            "nobody",
            gettext_lazy("Nobody is responsible"),
            reverse("sites:list"),
            _nobody(nobody, [duty for duty in unowned if duty not in found], units),
        ),
        Section(
            "found",
            gettext_lazy("Found unsafe or in need of work"),
            reverse("care:duties"),
            [_of_duty(duty, today, units) for duty in sorted(found, key=_by_danger)],
        ),
        Section(
            "listed",
            gettext_lazy("Cannot, not theirs, or no answer"),
            reverse("care:duties"),
            [_of_duty(duty, today, units) for duty in listed],
        ),
        Section(
            "checks",
            gettext_lazy("Find out how to reach them"),
            reverse("care:checks"),
            _checks(),
        ),
        Section(
            "late",
            gettext_lazy("Late"),
            reverse("care:duties"),
            [_of_duty(duty, today, units) for duty in late],
        ),
        Section(
            "disputed",
            gettext_lazy("Disputed: the clocks stand still"),
            reverse("rests"),
            disputes(),
        ),
        Section("letters", gettext_lazy("Letters"), reverse("outbox:list"), letters()),
        Section(
            "agreements",
            gettext_lazy("Agreements"),
            reverse("agreements:list"),
            agreements(today),
        ),
        Section(
            "rain",
            gettext_lazy("Late or unknown rain: you decide"),
            reverse("care:rain_questions"),
            rain_questions(program),
        ),
        Section(
            "ran",
            gettext_lazy("Water ran, they say: you decide"),
            reverse("care:flow_reports"),
            flow_reports(),
        ),
        Section(
            "files",
            gettext_lazy("Files of readings that wait for you"),
            reverse("rain:import"),
            files(user),
        ),
        Section(
            "gauges",
            gettext_lazy("Gauges that are silent or look wrong"),
            reverse("rain:gauges"),
            gauges(program, now, today),
        ),
    ]
    return [section for section in sections if section.needs]


def _open_duties() -> Count:
    return Count("duties", filter=Q(duties__state=DutyState.OPEN), distinct=True)


def _duties_that_need_somebody(today: date) -> QuerySet[Duty]:
    return (
        Duty.objects.open()
        .filter(
            Q(owed_by__isnull=True)
            | Q(trigger=Trigger.FINDING)
            | Q(needs_person_since__isnull=False)
            | Q(due_on__lt=today)
        )
        .select_related("site", "owed_by__person", "owed_by__agency", "owed_by__organisation")
        .with_latest()
        .order_by("due_on", "pk")
    )


def _is_unsafe(duty: Duty) -> bool:
    return (
        duty.needs_person_why == NeedsPerson.UNSAFE
        or duty.reason.get("judgement") == Judgement.UNSAFE
    )


def _by_danger(duty: Duty) -> tuple:
    return (not _is_unsafe(duty), duty.due_on, duty.pk)


def _site_url(code: str) -> str:
    return reverse("site", args=[code])


def _nobody(sites: Iterable, duties: Iterable[Duty], units: str) -> list[Need]:
    needs = [
        Need(
            site.built_on,
            str(site),
            _site_url(site.code),
            ngettext(
                "Built, and nobody does the work there; %s duty is open.",
                "Built, and nobody does the work there; %s duties are open.",
                site.open_duties,
            )
            % site.open_duties
            if site.open_duties
            else _("Built, and nobody does the work there."),
            _("Find somebody"),
            _site_url(site.code),
        )
        for site in sites
    ]
    told = {need.title for need in needs}
    needs += [
        Need(
            duty.opened_on,
            str(duty.site),
            _site_url(duty.site.code),
            _("Due %(day)s, owed by nobody: %(why)s")
            % {"day": day_text(duty.due_on), "why": reason_text(duty.reason, units)},
            _("Open the duty"),
            reverse("care:duty", args=[duty.pk]),
        )
        for duty in duties
        if str(duty.site) not in told
    ]
    return needs


def _of_duty(duty: Duty, today: date, units: str) -> Need:
    why = [reason_text(duty.reason, units)]
    if duty.needs_person_since:
        why.append(
            _("%(why)s, since %(day)s")
            % {"why": duty.get_needs_person_why_display(), "day": day_text(duty.needs_person_since)}
        )
    if duty.owed_by:
        why.append(_("owed by %s") % duty.owed_by.holder)
    if duty.told_at and not duty.answer_kind:
        why.append(_("told, no answer yet"))
    if _is_unsafe(duty):
        state, words = "unsafe", str(Judgement.UNSAFE.label)
    elif duty.disputed_since:
        state, words = "disputed", _("disputed since %s") % day_text(duty.disputed_since)
    elif duty.due_on < today:
        state, words = "overdue", _("late, was due %s") % day_text(duty.due_on)
    else:
        state, words = "open", _("due %s") % day_text(duty.due_on)
    return Need(
        duty.opened_on,
        str(duty.site),
        _site_url(duty.site.code),
        " · ".join(part for part in why if part),
        _("Open the duty"),
        reverse("care:duty", args=[duty.pk]),
        state,
        words,
    )


def _checks() -> list[Need]:
    return [
        Need(
            local_day(check.opened_at),
            str(check.person),
            reverse("person", args=[check.person_id]),
            " · ".join(
                filter(
                    None,
                    [check.get_reason_display(), check.site and str(check.site), check.note],
                )
            ),
            _("Say what you found out"),
            reverse("care:checks"),
        )
        for check in ContactCheck.objects.open().select_related("person", "site")
    ]
