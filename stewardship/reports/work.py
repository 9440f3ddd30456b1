"""Figures about work done, rain and messages."""

from collections import defaultdict
from datetime import date, datetime, time, timedelta

from django.db.models import QuerySet, Sum
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from people.models import Program
from sites.models import Site
from stewardship.care.choices import Outcome
from stewardship.care.models import CareRule, CleanOut, Reminder, Visit
from stewardship.common.written import depth_text
from stewardship.outbox.choices import Status
from stewardship.rain.choices import Sureness
from stewardship.rain.models import BasinWater, SiteRain, Storm, instant
from stewardship.reports.figures import Figure, Period, Row, StormLine


def work_figures(period: Period, stood: QuerySet[Site]) -> list[Figure]:
    done, tried = [], []
    for visit in (
        Visit.objects.filter(happened_on__range=(period.starts_on, period.as_of), site__in=stood)
        .select_related("site")
        .order_by("happened_on", "pk")
    ):
        row = Row(
            visit.happened_on,
            visit.site.code,
            visit.get_evidence_display(),
            None if visit.minutes is None else visit.minutes / 60,
        )
        (done if visit.outcome == Outcome.DONE else tried).append(row)
    silt: dict[bool, list[Row]] = {True: [], False: []}
    for clean_out in (
        CleanOut.objects.filter(
            visit__happened_on__range=(period.starts_on, period.as_of), visit__site__in=stood
        )
        .select_related("visit__site")
        .order_by("visit__happened_on", "pk")
    ):
        measured = clean_out.drop_before_m is not None
        what = _("trap measured before") if measured else _("by the bucket")
        silt[measured].append(
            Row(clean_out.visit.happened_on, clean_out.visit.site.code, what, clean_out.litres)
        )
    return [
        Figure("visits", gettext_lazy("Visits done"), rows=done),
        Figure("tried", gettext_lazy("Visits tried in vain"), rows=tried),
        Figure(
            "hours", gettext_lazy("Hours written down"), kind="sum", unit="hours", rows=done + tried
        ),
        Figure(
            "silt_measured",
            gettext_lazy("Silt taken out, trap measured before"),
            kind="sum",
            unit="litres",
            rows=silt[True],
        ),
        Figure(
            "silt_estimated",
            gettext_lazy("Silt taken out, guessed by the bucket"),
            kind="sum",
            unit="litres",
            basis="estimate",
            rows=silt[False],
        ),
    ]


def _span_s(period: Period, program: Program) -> tuple[int, int]:
    """The period as seconds since 1970 UTC, from the first local midnight until the one after the last day."""

    def midnight(day: date) -> int:
        return int(datetime.combine(day, time(), tzinfo=program.tz).timestamp())

    return midnight(period.starts_on), midnight(period.as_of + timedelta(days=1))


def storm_lines(
    period: Period, stood: QuerySet[Site], program: Program, rules: list[CareRule]
) -> list[StormLine]:
    start_s, end_s = _span_s(period, program)
    at_sites: dict[int, list[int | None]] = defaultdict(list)
    for storm_id, depth_um in SiteRain.objects.filter(
        site__in=stood, storm__start_s__gte=start_s, storm__start_s__lt=end_s
    ).values_list("storm_id", "depth_um"):
        at_sites[storm_id].append(depth_um)
    lines = []
    for storm in (
        Storm.objects.standing().filter(start_s__gte=start_s, start_s__lt=end_s).order_by("start_s")
    ):
        day = storm.start_at.astimezone(program.tz).date()
        known = [depth for depth in at_sites[storm.pk] if depth is not None]
        thresholds = [
            rule.least_depth_um
            for rule in rules
            if rule.starts_on <= day and (rule.ends_on is None or rule.ends_on > day)
        ]
        lines.append(
            StormLine(
                day=day,
                hours=(storm.end_s - storm.start_s) / 3600,
                greatest_um=storm.greatest_um,
                site_least_um=min(known, default=None),
                site_greatest_um=max(known, default=None),
                sites_unknown=len(at_sites[storm.pk]) - len(known),
                over_threshold=bool(thresholds) and storm.greatest_um >= min(thresholds),
                revision=storm.revision,
            )
        )
    return lines


def rain_figures(
    period: Period, stood: QuerySet[Site], storms: list[StormLine], program: Program
) -> list[Figure]:
    start_s, end_s = _span_s(period, program)
    soaked = (
        BasinWater.objects.filter(
            site_rain__site__in=stood,
            site_rain__storm__withdrawn_at__isnull=True,
            site_rain__storm__start_s__gte=start_s,
            site_rain__storm__start_s__lt=end_s,
        )
        .exclude(site_rain__sureness=Sureness.UNKNOWN)
        .values("site_rain__site__code", "site_rain__storm__start_s")
        .annotate(m3=Sum("soaked_m3"))
        .order_by("site_rain__storm__start_s", "site_rain__site__code")
    )
    told = (
        Reminder.objects.filter(
            duty__site__in=stood,
            message__status=Status.SENT,
            made_at__gte=instant(start_s),
            made_at__lt=instant(end_s),
        )
        .select_related("duty__site", "message")
        .order_by("made_at", "pk")
    )
    return [
        Figure(
            "storms_over",
            gettext_lazy("Storms that called for care"),
            rows=[
                Row(
                    line.day,
                    "",
                    _("%s at the wettest gauge") % depth_text(line.greatest_um, program.units),
                )
                for line in storms
                if line.over_threshold
            ],
        ),
        Figure(
            "soaked",
            gettext_lazy("Street water soaked in"),
            kind="sum",
            unit="m3",
            basis="estimate",
            rows=[
                Row(
                    instant(row["site_rain__storm__start_s"]).astimezone(program.tz).date(),
                    row["site_rain__site__code"],
                    _("worked out from rain and the basin’s measures"),
                    row["m3"],
                )
                for row in soaked
            ],
        ),
        Figure(
            "reminders",
            gettext_lazy("Reminders sent"),
            rows=[
                Row(
                    reminder.made_at.astimezone(program.tz).date(),
                    reminder.duty.site.code,
                    f"{reminder.message.get_channel_display()}, {reminder.message.language}",
                )
                for reminder in told
            ],
        ),
    ]
