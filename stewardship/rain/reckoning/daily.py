"""Gauges' rain by days on one clock, to be held against each other."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime

import numpy as np

from people.models import Program
from stewardship.hydrology.spread import haversine_m
from stewardship.hydrology.units import BoolArray, FloatArray, IntArray
from stewardship.rain.choices import GaugeKind, ReadingKind
from stewardship.rain.models import Gauge
from stewardship.rain.quality.amounts import WetReadings
from stewardship.rain.quality.days import COMPLETE_SHARE, NEIGHBOUR_M
from stewardship.rain.reckoning.record import known_times, numbers_of, outages_of
from stewardship.rain.times import DAY_S, HOUR_S, LONGEST_DAY_S, LONGEST_READING_S

#: [s] A longer reading is a daily one: it counts for the day whose end is nearest to its own, however late the reader came.
LONG_READING_S = 12 * HOUR_S


@dataclass(frozen=True)
class DayTable:
    """Rain of gauges by days of 24 hours, which end at the hour at which daily readers look, by the clock of the winter.

    Rows are gauges, columns days. A total of several days, or a time without a reading or with the gauge out, leaves its days
    incomplete.
    """

    edges_s: IntArray  # (days + 1,)
    depth_um: FloatArray
    complete: BoolArray
    alive: BoolArray  # rain or a trace was seen

    def span_s(self, first: int, last: int) -> tuple[int, int]:
        """From when until when some days last, ends included. [s]"""
        return int(self.edges_s[first]), int(self.edges_s[last + 1])


def day_table(
    gauges: Sequence[Gauge], *, start_s: int, end_s: int, program: Program, hour: int
) -> DayTable:
    """The days of a span that are over, for some gauges; `hour` is that of the daily readers."""
    january = datetime(2001, 1, 15, tzinfo=program.tz).utcoffset()
    assert january is not None
    shift_s = hour * HOUR_S - int(january.total_seconds())
    first, last = (start_s - shift_s) // DAY_S, (end_s - shift_s) // DAY_S
    edges_s = np.arange(first, max(last, first) + 1, dtype=np.int64) * DAY_S + shift_s
    rows = [_row(gauge, edges_s) for gauge in gauges]
    shape = (len(gauges), edges_s.size - 1)
    return DayTable(
        edges_s,
        *(
            np.array([row[n] for row in rows], dtype=kind).reshape(shape)
            for n, kind in enumerate((np.float64, np.bool_, np.bool_))
        ),
    )


def _row(gauge: Gauge, edges_s: IntArray) -> tuple[FloatArray, BoolArray, BoolArray]:
    days = edges_s.size - 1
    depth_um, alive = np.zeros(days), np.zeros(days, dtype=bool)
    if not days:
        return depth_um, alive.copy(), alive
    span = int(edges_s[0]), int(edges_s[-1])
    known_s = known_times(gauge, outages_of(gauge), *span).seconds_at_work(
        edges_s[:-1], edges_s[1:]
    )
    complete = known_s >= COMPLETE_SHARE * DAY_S
    seen = numbers_of(
        "SELECT start_s, end_s, depth_um FROM {table} WHERE gauge_id = %s AND (depth_um > 0 OR kind = %s) "
        "AND start_s < %s AND start_s > %s AND end_s > %s ORDER BY start_s",
        [gauge.pk, ReadingKind.TRACE, span[1], span[0] - LONGEST_READING_S, span[0]],
        3,
    )
    length_s = seen[:, 1] - seen[:, 0]
    several = length_s > LONGEST_DAY_S
    nearest = np.where(length_s > LONG_READING_S, seen[:, 1] + DAY_S // 2, seen[:, 1] - 1 + DAY_S)
    day = (nearest - edges_s[0]) // DAY_S - 1
    inside = ~several & (day >= 0) & (day < days)
    np.add.at(depth_um, day[inside], seen[inside, 2])
    alive[day[inside]] = True
    for start_s, end_s in seen[several, :2].tolist():
        over = (edges_s[:-1] < end_s) & (edges_s[1:] > start_s)
        complete &= ~over
        alive |= over
    return depth_um, complete, alive


def wet_readings_of(gauge: Gauge, start_s: int, end_s: int) -> WetReadings:
    """A gauge's wet readings in a span; totals of several days are left out."""
    rows = numbers_of(
        "SELECT start_s, end_s, depth_um FROM {table} WHERE gauge_id = %s AND depth_um > 0 "
        "AND start_s >= %s AND start_s < %s AND end_s <= start_s + %s ORDER BY start_s",
        [gauge.pk, start_s, end_s, LONGEST_DAY_S],
        3,
    )
    return WetReadings(rows[:, 0], rows[:, 1], rows[:, 2])


def neighbours_of(gauge: Gauge, gauges: Sequence[Gauge], *, on: date) -> list[tuple[Gauge, float]]:
    """Other gauges within NEIGHBOUR_M of where a gauge stands on a day, nearest first, with their distance. [m]"""
    others = [other for other in gauges if other.pk != gauge.pk]
    if not others:
        return []
    here, places = gauge.place(on=on), [other.place(on=on) for other in others]
    distance_m = haversine_m(
        here.lat, here.lon, [place.lat for place in places], [place.lon for place in places]
    )
    near = [
        (other, float(far))
        for other, far in zip(others, distance_m, strict=True)
        if far <= NEIGHBOUR_M
    ]
    return sorted(near, key=lambda pair: (pair[1], pair[0].code))


def reading_hour(gauge: Gauge, neighbours: Sequence[Gauge]) -> int:
    """The hour at which days are cut: the gauge's own, or that of its nearest daily neighbour, else midnight."""
    daily = (one for one in [gauge, *neighbours] if one.kind == GaugeKind.DAILY)
    return next((one.observation_hour for one in daily), 0) or 0
