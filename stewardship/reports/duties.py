"""Figures about duties: what was found wanting, what became of each duty, how long it took."""

from collections import defaultdict
from collections.abc import Collection
from datetime import date

from django.db.models import QuerySet
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from sites.models import Site
from stewardship.agreements.models import Dispute
from stewardship.care.choices import NEEDS_WORK, DutyState, Trigger
from stewardship.care.models import Duty, Finding
from stewardship.reports.figures import Figure, Period, Row

#: What became of a duty by the last day that is told of, in the order in which it is shown.
FATES = {
    "met": gettext_lazy("Met in time"),
    "met_late": gettext_lazy("Met late"),
    "overdue": gettext_lazy("Overdue"),
    "disputed": gettext_lazy("Open, disputed"),
    "open": gettext_lazy("Open, not yet due"),
    "excused": gettext_lazy("Excused"),
    "withdrawn": gettext_lazy("Withdrawn"),
}


def fates_of(duties: Collection[Duty], *, as_of: date) -> dict[int, str]:
    """By duty the key of `FATES` that it had reached at the end of `as_of`."""
    disputed = set(
        Dispute.objects.open(on=as_of)
        .filter(site__in={duty.site_id for duty in duties})
        .values_list("site_id", flat=True)
    )
    return {duty.pk: _fate(duty, as_of, duty.site_id in disputed) for duty in duties}


def _fate(duty: Duty, as_of: date, is_disputed: bool) -> str:
    if duty.closed_on is None or duty.closed_on > as_of:
        if is_disputed:
            return "disputed"
        return "overdue" if duty.due_on < as_of else "open"
    if duty.state == DutyState.MET:
        return "met" if duty.closed_on <= duty.due_on else "met_late"
    return "excused" if duty.state == DutyState.EXCUSED else "withdrawn"


def written(day: date) -> str:
    """A day with its year: a report is read years later."""
    return date_format(day, _("j M Y"))


def finding_figures(
    period: Period, stood: QuerySet[Site], duties: list[Duty], fates: dict[int, str]
) -> list[Figure]:
    """`fates`: of `fates_of`."""
    found: dict[str, list[Finding]] = defaultdict(list)
    for finding in (
        Finding.objects.filter(
            judgement__in=NEEDS_WORK,
            visit__site__in=stood,
            visit__happened_on__range=(period.starts_on, period.as_of),
        )
        .select_related("visit__site")
        .order_by("visit__happened_on", "pk")
    ):
        found[finding.visit.site.code].append(finding)
    rows = [
        Row(
            findings[0].visit.happened_on,
            code,
            "; ".join(f"{written(f.visit.happened_on)} {f}" for f in findings),
        )
        for code, findings in sorted(found.items())
    ]
    follow_ups = [duty for duty in duties if duty.trigger == Trigger.FINDING]
    return [
        Figure("wanting", gettext_lazy("Sites found wanting"), rows=rows),
        Figure(
            "follow_ups",
            gettext_lazy("Follow-ups opened"),
            rows=[_duty_row(duty, fates[duty.pk]) for duty in follow_ups],
        ),
        *_by_fate("follow_ups", follow_ups, fates),
    ]


def duty_figures(duties: list[Duty], fates: dict[int, str]) -> list[Figure]:
    """`fates`: of `fates_of`."""
    met = [
        Row(
            duty.closed_on,
            duty.site.code,
            _("opened %(opened)s, met %(met)s")
            % {"opened": written(duty.opened_on), "met": written(duty.closed_on)},
            # The visit may lie before the day the duty opened: readings came later. Then it took no day.
            max(0, (duty.closed_on - duty.opened_on).days),
        )
        for duty in duties
        if fates[duty.pk] in ("met", "met_late")
    ]
    return [
        Figure(
            "duties",
            gettext_lazy("Duties opened"),
            rows=[_duty_row(duty, fates[duty.pk]) for duty in duties],
        ),
        *_by_fate("duties", duties, fates),
        Figure(
            "days_to_met",
            gettext_lazy("Days until met, median"),
            kind="median",
            unit="days",
            rows=met,
        ),
    ]


def _by_fate(prefix: str, duties: list[Duty], fates: dict[int, str]) -> list[Figure]:
    rows: dict[str, list[Row]] = {key: [] for key in FATES}
    for duty in duties:
        rows[fates[duty.pk]].append(_duty_row(duty, fates[duty.pk]))
    return [Figure(f"{prefix}_{key}", FATES[key], rows=rows[key]) for key in FATES]


def _duty_row(duty: Duty, became: str) -> Row:
    words = str(FATES[became])
    if became not in ("overdue", "disputed", "open"):
        words = f"{words} {written(duty.closed_on)}"
    return Row(
        duty.opened_on,
        duty.site.code,
        _("%(trigger)s, due %(due)s. %(fate)s")
        % {"trigger": duty.get_trigger_display(), "due": written(duty.due_on), "fate": words},
    )
