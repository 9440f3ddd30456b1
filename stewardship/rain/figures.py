"""What a gauge's page shows of a year: rain by day and month, and what is known of each day."""

from collections.abc import Container, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from zoneinfo import ZoneInfo

import numpy as np
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from stewardship.common.written import day_text, depth_text
from stewardship.hydrology.units import IntArray
from stewardship.rain.choices import GaugeKind, ReadingKind
from stewardship.rain.models import Gauge, Reading
from stewardship.rain.quality.days import DayState, day_states
from stewardship.rain.reckoning.grouping import FOREVER_S
from stewardship.rain.reckoning.record import Known, known_times, outages_of
from stewardship.rain.times import LONGEST_DAY_S, last_day, local_day, local_s

MONTHS = 12
#: Days of which nobody knows how much fell.
UNKNOWN = {DayState.MISSING, DayState.OUT}
#: What stands in a cell of the calendar; its words stand beside it for who cannot see it.
MARKS = {
    "wet": "●",
    "trace": "T",
    "dry": "·",
    "total": "+",
    "part": "½",
    "missing": "–",
    "out": "×",
    "before": "",
    "after": "",
    "ahead": "",
}


@dataclass(frozen=True)
class WetDay:
    """Rain by the day on which its reading ended; `days` is how many a total covers."""

    day: date
    depth_um: int
    days: int


@dataclass(frozen=True)
class Cell:
    """A day of the calendar."""

    day: date
    state: DayState
    kind: str  # the state; of known days dry, trace, wet, or total (inside a total of several days)
    words: str

    @property
    def mark(self) -> str:
        return MARKS[self.kind]


@dataclass(frozen=True)
class Month:
    first: date
    depth_um: int
    wet_days: int
    known: str  # how complete, in words
    days: list[Cell]

    @property
    def left_over(self) -> int:
        """Columns of a calendar 31 days wide that this month has not."""
        return 31 - len(self.days)


@dataclass(frozen=True)
class GaugeYear:
    first: date
    last: date
    wet: list[WetDay]
    months: list[Month]
    share: float | None  # known, of the time that it stood; None: it did not stand

    @property
    def depth_um(self) -> int:
        return sum(day.depth_um for day in self.wet)

    @property
    def known_words(self) -> str:
        return "" if self.share is None else _share_words(self.share)

    @property
    def gaps(self) -> list[tuple[date, date]]:
        """First and last days of the stretches of which nothing is known."""
        found: list[tuple[date, date]] = []
        for cell in (cell for month in self.months for cell in month.days):
            if cell.state not in UNKNOWN:
                continue
            if found and found[-1][1] == cell.day - timedelta(days=1):
                found[-1] = (found[-1][0], cell.day)
            else:
                found.append((cell.day, cell.day))
        return found


def years_of(gauge: Gauge, *, today: date, zone: ZoneInfo) -> list[int]:
    """Years of the gauge's record, latest first."""
    readings = gauge.readings.order_by("start_s")
    first, last = readings.first(), readings.last()
    if first is None or last is None:
        return []
    latest = min(last_day(last.end_s, zone).year, today.year)
    return list(range(latest, local_day(first.start_s, zone).year - 1, -1))


def gauge_year(
    gauge: Gauge, *, today: date, now_s: int, zone: ZoneInfo, units: str, year: int | None = None
) -> GaugeYear:
    """The gauge's rain by day, and how complete its record is: of a calendar year, or of the twelve months up to today.

    The day of a daily gauge lasts from one morning's hour to the next one's and is called after the morning on which it ends.
    """
    firsts = [date(year, month, 1) for month in range(1, 13)] if year else _month_starts(today)
    firsts = [first for first in firsts if first <= today]
    last = min(_month_end(firsts[-1]), today)
    wet = _wet_days(gauge, local_s(firsts[0], zone), local_s(last + timedelta(days=1), zone), zone)
    days = [
        firsts[0] + timedelta(days=n) for n in range((_month_end(firsts[-1]) - firsts[0]).days + 1)
    ]
    edges_s = _edges(gauge, days, zone)
    # The last morning's day ends before the month does.
    end_s = max(int(edges_s[-1]), local_s(days[-1] + timedelta(days=1), zone))
    known = known_times(gauge, outages_of(gauge), int(edges_s[0]), end_s)
    cells = _cells(gauge, days, edges_s, known, wet, now_s, zone, units)
    stands_s = _stands(gauge, zone)
    months = []
    for first in firsts:
        own = [cell for cell in cells if cell.day.replace(day=1) == first]
        rain = [one for one in wet if one.day.replace(day=1) == first]
        until_s = min(local_s(_month_end(first) + timedelta(days=1), zone), now_s)
        months.append(
            Month(
                first=first,
                depth_um=sum(one.depth_um for one in rain),
                wet_days=len(rain),
                known=_known_words(known, local_s(first, zone), until_s, stands_s),
                days=own,
            )
        )
    whole = _known_share(known, local_s(firsts[0], zone), min(end_s, now_s), stands_s)
    return GaugeYear(first=firsts[0], last=last, wet=wet, months=months, share=whole)


def _wet_days(gauge: Gauge, start_s: int, end_s: int, zone: ZoneInfo) -> list[WetDay]:
    by_day: dict[date, WetDay] = {}
    readings = Reading.objects.filter(gauge=gauge, depth_um__gt=0).between(start_s, end_s)
    for from_s, until_s, depth_um in readings.order_by("start_s").values_list(
        "start_s", "end_s", "depth_um"
    ):
        day = last_day(until_s, zone)
        days = 1 if until_s - from_s <= LONGEST_DAY_S else round((until_s - from_s) / 86_400)
        before = by_day.get(day, WetDay(day, 0, 1))
        by_day[day] = WetDay(day, before.depth_um + depth_um, max(before.days, days))
    return [by_day[day] for day in sorted(by_day)]


def _edges(gauge: Gauge, days: Sequence[date], zone: ZoneInfo) -> IntArray:
    if gauge.kind == GaugeKind.DAILY:
        mornings = [days[0] - timedelta(days=1), *days]
        edges = [local_s(day, zone, gauge.observation_hour or 0) for day in mornings]
    else:
        edges = [local_s(day, zone) for day in [*days, days[-1] + timedelta(days=1)]]
    return np.array(edges, dtype=np.int64)


def _stands(gauge: Gauge, zone: ZoneInfo) -> tuple[int, int]:
    ended_s = FOREVER_S
    if gauge.ended_on is not None:
        ended_s = local_s(gauge.ended_on + timedelta(days=1), zone)
    return local_s(gauge.started_on, zone), ended_s


def _cells(
    gauge: Gauge,
    days: Sequence[date],
    edges_s: IntArray,
    known: Known,
    wet: Sequence[WetDay],
    now_s: int,
    zone: ZoneInfo,
    units: str,
) -> list[Cell]:
    known_s = known.seconds_at_work(edges_s[:-1], edges_s[1:])
    out_s = np.zeros_like(known_s)
    for outage in known.outages:
        out_s += np.clip(outage.end_s, edges_s[:-1], edges_s[1:]) - np.clip(
            outage.start_s, edges_s[:-1], edges_s[1:]
        )
    states = day_states(
        edges_s=edges_s, known_s=known_s, out_s=out_s, stands_s=_stands(gauge, zone), now_s=now_s
    )
    depth_um = {one.day: one.depth_um for one in wet}
    inside = {
        one.day - timedelta(days=n): one.day for one in wet for n in range(1, one.days)
    }  # days within a total, and the day on which it was read
    traces = {
        last_day(end_s, zone)
        for end_s in Reading.objects.filter(gauge=gauge, kind=ReadingKind.TRACE)
        .between(int(edges_s[0]), int(edges_s[-1]))
        .values_list("end_s", flat=True)
    }
    cells = []
    for day, state, share in zip(days, states, known_s / np.diff(edges_s), strict=True):
        fallen = _fallen(day, depth_um, inside, traces)
        told = depth_text(depth_um[day], units) or "" if fallen == "wet" else _FALLEN[fallen]
        if fallen == "total":
            told = _("in the total of %s") % day_text(inside[day])
        kind, words = str(state), told if state == DayState.KNOWN else str(_STATES[state])
        if state == DayState.KNOWN:
            kind = fallen
        elif state == DayState.PART:
            words = _("%(share)s known, %(fallen)s") % {
                "share": _share_words(share),
                "fallen": told,
            }
        cells.append(Cell(day, state, kind, str(words)))
    return cells


_FALLEN = {"dry": gettext_lazy("dry"), "trace": gettext_lazy("a trace"), "total": ""}
_STATES = {
    DayState.KNOWN: "",
    DayState.PART: "",
    DayState.MISSING: gettext_lazy("no reading"),
    DayState.OUT: gettext_lazy("out of order"),
    DayState.BEFORE: gettext_lazy("before it stood"),
    DayState.AFTER: gettext_lazy("stood no more"),
    DayState.AHEAD: gettext_lazy("to come"),
}


def _fallen(
    day: date, depth_um: dict[date, int], inside: Container[date], traces: set[date]
) -> str:
    if depth_um.get(day):
        return "wet"
    if day in inside:
        return "total"
    return "trace" if day in traces else "dry"


def _month_starts(today: date) -> list[date]:
    first = today.replace(day=1)
    starts = [first]
    while len(starts) < MONTHS:
        first = (first - timedelta(days=1)).replace(day=1)
        starts.append(first)
    return starts[::-1]


def _month_end(first: date) -> date:
    return (first + timedelta(days=31)).replace(day=1) - timedelta(days=1)


def _known_share(known: Known, start_s: int, end_s: int, stands_s: tuple[int, int]) -> float | None:
    from_s, until_s = max(start_s, stands_s[0]), min(end_s, stands_s[1])
    if until_s <= from_s:
        return None
    return int(known.seconds_at_work(np.array([from_s]), np.array([until_s]))[0]) / (
        until_s - from_s
    )


def _known_words(known: Known, start_s: int, end_s: int, stands_s: tuple[int, int]) -> str:
    share = _known_share(known, start_s, end_s, stands_s)
    return _("did not stand") if share is None else _share_words(share)


def _share_words(share: float) -> str:
    if share >= 1:
        return _("all of it")
    if share == 0:
        return _("nothing")
    # Never "100 %" while something is missing, never "0 %" while something is known.
    return _("%s %%") % min(max(round(100 * share), 1), 99)
