"""What a gauge's page shows of the last twelve months."""

from dataclasses import dataclass
from datetime import date, timedelta
from zoneinfo import ZoneInfo

import numpy as np
from django.utils.translation import gettext as _

from stewardship.rain.models import Gauge, Reading
from stewardship.rain.reckoning.record import known_times, outages_of
from stewardship.rain.times import LONGEST_DAY_S, last_day, local_s

MONTHS = 12


@dataclass(frozen=True)
class WetDay:
    """Rain by the day on which its reading ended; `days` is how many a total covers."""

    day: date
    depth_um: int
    days: int


@dataclass(frozen=True)
class Month:
    first: date
    depth_um: int
    wet_days: int
    known: str  # how complete, in words


@dataclass(frozen=True)
class GaugeYear:
    first: date
    last: date
    wet: list[WetDay]
    months: list[Month]

    @property
    def depth_um(self) -> int:
        return sum(day.depth_um for day in self.wet)


def gauge_year(gauge: Gauge, *, today: date, now_s: int, zone: ZoneInfo) -> GaugeYear:
    """The gauge's rain by day, and how complete its record is by month, for the twelve months up to today."""
    firsts = _month_starts(today)
    edges_s = [local_s(first, zone) for first in firsts]
    edges_s.append(max(now_s, edges_s[-1]))
    by_day: dict[date, WetDay] = {}
    readings = Reading.objects.filter(gauge=gauge, depth_um__gt=0).between(edges_s[0], edges_s[-1])
    for start_s, end_s, depth_um in readings.order_by("start_s").values_list(
        "start_s", "end_s", "depth_um"
    ):
        day = last_day(end_s, zone)
        days = 1 if end_s - start_s <= LONGEST_DAY_S else round((end_s - start_s) / 86_400)
        before = by_day.get(day, WetDay(day, 0, 1))
        by_day[day] = WetDay(day, before.depth_um + depth_um, max(before.days, days))
    wet = list(by_day.values())
    known = known_times(gauge, outages_of(gauge), edges_s[0], edges_s[-1])
    starts, ends = np.array(edges_s[:-1]), np.array(edges_s[1:])
    known_s = known.seconds_at_work(starts, ends)
    return GaugeYear(
        first=firsts[0],
        last=today,
        wet=wet,
        months=[
            Month(
                first=first,
                depth_um=sum(
                    d.depth_um
                    for d in wet
                    if (d.day.year, d.day.month) == (first.year, first.month)
                ),
                wet_days=sum((d.day.year, d.day.month) == (first.year, first.month) for d in wet),
                known=_known_words(int(seconds), int(whole)),
            )
            for first, seconds, whole in zip(firsts, known_s, ends - starts, strict=True)
        ],
    )


def _month_starts(today: date) -> list[date]:
    first = today.replace(day=1)
    starts = [first]
    while len(starts) < MONTHS:
        first = (first - timedelta(days=1)).replace(day=1)
        starts.append(first)
    return starts[::-1]


def _known_words(known_s: int, whole_s: int) -> str:
    if whole_s <= 0 or known_s >= whole_s:
        return _("all of it")
    if known_s == 0:
        return _("nothing")
    # Never "100 %" while something is missing, never "0 %" while something is known.
    return _("%s %%") % min(max(round(100 * known_s / whole_s), 1), 99)
