"""The gauges' record as arrays: wet readings of a span, and which times of it are known."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import chain

import numpy as np
from django.db import connection
from django.db.models import Max, Min
from django.utils.translation import gettext as _

from people.models import Program
from stewardship.common.written import hours_text
from stewardship.hydrology.units import IntArray
from stewardship.rain.choices import ReadingKind
from stewardship.rain.models import Gauge, GaugeOutage, RainRule, Reading
from stewardship.rain.reckoning.grouping import FOREVER_S, DryGaps, WetReadings
from stewardship.rain.times import HOUR_S, LONGEST_READING_S, local_s


@dataclass(frozen=True)
class Outage:
    start_s: int
    end_s: int
    why: str


def dry_gaps(program: Program) -> DryGaps:
    """The program's dry gaps by the day on which each starts to hold; 6 h before the first."""
    default_s = RainRule._meta.get_field("dry_gap_s").default
    rules = RainRule.objects.standing().order_by("starts_on").values_list("starts_on", "dry_gap_s")
    return DryGaps(default_s, [(local_s(day, program.tz), gap_s) for day, gap_s in rules])


def outages_by_gauge() -> dict[int, list[Outage]]:
    """Every outage, by the key of its gauge."""
    found: dict[int, list[Outage]] = {}
    for outage in GaugeOutage.objects.order_by("start_s"):
        found.setdefault(outage.gauge_id, []).append(_as_span(outage))
    return found


def outages_of(gauge: Gauge) -> list[Outage]:
    return [_as_span(outage) for outage in gauge.outages.order_by("start_s")]


def _as_span(outage: GaugeOutage) -> Outage:
    end_s = FOREVER_S if outage.end_s is None else outage.end_s
    return Outage(outage.start_s, end_s, outage.why)


def wet_readings(
    gauges: Sequence[Gauge], outages: dict[int, list[Outage]], start_s: int, end_s: int
) -> WetReadings:
    """Wet readings of all gauges that overlap a span, without those of a gauge that was out; `gauge` counts `gauges`."""
    table = numbers_of(
        "SELECT gauge_id, start_s, end_s, depth_um FROM {table} WHERE depth_um > 0 "
        "AND start_s < %s AND start_s > %s AND end_s > %s ORDER BY start_s",
        [end_s, start_s - LONGEST_READING_S, start_s],
        4,
    )
    place = {gauge.pk: n for n, gauge in enumerate(gauges)}
    number = np.array([place[pk] for pk in table[:, 0].tolist()], dtype=np.int64)
    order = np.argsort(number, kind="stable")
    wet = WetReadings(number, table[:, 1], table[:, 2], table[:, 3]).at(order)
    keep = np.ones(number.size, dtype=bool)
    for pk, times in outages.items():
        for outage in times:
            keep &= ~(
                (wet.gauge == place[pk])
                & (wet.start_s < outage.end_s)
                & (wet.end_s > outage.start_s)
            )
    return wet if keep.all() else wet.at(keep)


@dataclass(frozen=True)
class Known:
    """Which times of a span one gauge's record speaks of, as spans that do not touch; and when it was out."""

    start_s: IntArray
    end_s: IntArray
    outages: list[Outage]

    def seconds_of(self, start_s: IntArray, end_s: IntArray) -> IntArray:
        """How much of each interval is known. [s]"""
        return self._until(end_s) - self._until(start_s)

    def _until(self, moment_s: IntArray) -> IntArray:
        if not self.start_s.size:
            return np.zeros_like(moment_s)
        length_s = self.end_s - self.start_s
        before_s = np.append(0, np.cumsum(length_s))
        place = np.searchsorted(self.start_s, moment_s, "right")
        last = np.maximum(place - 1, 0)
        inside_s = np.minimum(moment_s - self.start_s[last], length_s[last])
        return np.where(place > 0, before_s[last] + inside_s, 0)

    def seconds_at_work(self, start_s: IntArray, end_s: IntArray) -> IntArray:
        """How much of each interval is known from times when the gauge was not out. [s]"""
        known_s = self.seconds_of(start_s, end_s)
        for outage in self.outages:
            from_s = np.clip(outage.start_s, start_s, end_s)
            until_s = np.clip(outage.end_s, start_s, end_s)
            known_s = known_s - self.seconds_of(from_s, until_s)
        return known_s

    def complete(self, start_s: int, end_s: int) -> bool:
        """Whether the whole of an interval is known, with the gauge at work."""
        return self._known_s(start_s, end_s) == end_s - start_s and not self._outage(start_s, end_s)

    def why_not(self, start_s: int, end_s: int) -> str:
        """In words, why a gauge that is not complete is left out of a storm."""
        outage = self._outage(start_s, end_s)
        if outage is not None:
            return _("out of order: %s") % outage.why
        known_s = self._known_s(start_s, end_s)
        if known_s == 0:
            return _("no readings of this time")
        return _("%s of it without a reading") % hours_text((end_s - start_s - known_s) / HOUR_S)

    def _known_s(self, start_s: int, end_s: int) -> int:
        return int(self.seconds_of(np.array([start_s]), np.array([end_s]))[0])

    def _outage(self, start_s: int, end_s: int) -> Outage | None:
        return next((o for o in self.outages if start_s < o.end_s and end_s > o.start_s), None)


def known_times(gauge: Gauge, outages: list[Outage], start_s: int, end_s: int) -> Known:
    """The times of a span that a gauge's readings speak of.

    A gauge that lists dry times is known where a reading other than a missing one is. Of a gauge that is silent when it is dry,
    everything between its first and its last reading is known, except what a missing reading takes out.
    """
    spans = _spans(gauge, start_s, end_s, missing=False)
    if not gauge.lists_dry:
        ends = (
            Reading.objects.filter(gauge=gauge).known().aggregate(a=Min("start_s"), b=Max("end_s"))
        )
        if ends["a"] is not None:
            missing = _less(_spans(gauge, start_s, end_s, missing=True), spans)
            whole = np.array([[max(ends["a"], start_s), min(ends["b"], end_s)]], dtype=np.int64)
            spans = _less(whole[whole[:, 0] < whole[:, 1]], missing)
    return Known(spans[:, 0], spans[:, 1], outages)


def _spans(gauge: Gauge, start_s: int, end_s: int, *, missing: bool) -> IntArray:
    """Spans covered by readings, touching ones joined; shape (n, 2)."""
    rows = numbers_of(
        "SELECT start_s, end_s FROM {table} WHERE gauge_id = %s AND (kind = %s) = %s "
        "AND start_s < %s AND start_s > %s AND end_s > %s ORDER BY start_s",
        [gauge.pk, ReadingKind.MISSING, missing, end_s, start_s - LONGEST_READING_S, start_s],
        2,
    )
    if not len(rows):
        return rows
    reached_s = np.maximum.accumulate(rows[:, 1])
    first = np.append(0, np.flatnonzero(rows[1:, 0] > reached_s[:-1]) + 1)
    last = np.append(first[1:], len(rows)) - 1
    return np.stack([rows[first, 0], reached_s[last]], axis=1)


def _less(spans: IntArray, taken: IntArray) -> IntArray:
    """What is left of sorted spans without others; shape (n, 2)."""
    left = []
    for start_s, end_s in spans.tolist():
        for from_s, until_s in taken.tolist():
            if from_s < end_s and until_s > start_s:
                if from_s > start_s:
                    left.append((start_s, from_s))
                start_s = until_s
        if start_s < end_s:
            left.append((start_s, end_s))
    return np.array(left, dtype=np.int64).reshape(-1, 2)


def numbers_of(sql: str, values: list, columns: int) -> IntArray:
    """Whole numbers of a query as an array: a hundred thousand rows in a few hundredths of a second, unlike model instances."""
    with connection.cursor() as cursor:
        cursor.execute(sql.format(table=Reading._meta.db_table), values)
        return np.fromiter(chain.from_iterable(cursor), dtype=np.int64).reshape(-1, columns)
