"""Which wet readings of which gauges belong to one storm. Pure: numpy arrays in, numpy arrays out.

Readings of an hour or less say when it rained; storms are made of them, gauge by gauge and then over all gauges, by the dry gap.
Totals over more than an hour, such as daily readings, say that it rained but not when: a total belongs to the storm that fell
within its time. Where several did, it cannot be told how much each of them brought, so they count as one. Totals
with no storm in their time make storms of their own, coarse ones, by the same dry gap.
"""

from bisect import bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, fields

import numpy as np

from stewardship.hydrology.storms import COARSE_READING_S, WINDOWS_S, find_storms, join_spans
from stewardship.hydrology.units import BoolArray, FloatArray, IntArray

FOREVER_S = 1 << 60


@dataclass(frozen=True)
class Era:
    """A time in which one dry gap holds for storms that begin in it."""

    from_s: int
    until_s: int
    dry_gap_s: int


class DryGaps:
    """The dry gaps that end storms, by the time at which a storm begins."""

    def __init__(self, default_s: int, changes: Sequence[tuple[int, int]]) -> None:
        """`changes`: (from, gap) in order of time, both in seconds; before the first the default holds."""
        starts = [-FOREVER_S, *(from_s for from_s, _gap_s in changes)]
        gaps = [default_s, *(gap_s for _from_s, gap_s in changes)]
        ends = [*starts[1:], FOREVER_S]
        self.eras = [Era(*era) for era in zip(starts, ends, gaps, strict=True)]
        self.longest_s = max(gaps)
        self._starts = starts

    def at(self, moment_s: int) -> Era:
        return self.eras[bisect_right(self._starts, moment_s) - 1]


@dataclass(frozen=True)
class WetReadings:
    """Wet readings of several gauges; arrays of one shape, sorted by gauge and start. `gauge` counts the caller's gauges."""

    gauge: IntArray
    start_s: IntArray
    end_s: IntArray
    depth_um: IntArray

    def at(self, places: IntArray | BoolArray) -> "WetReadings":
        return WetReadings(
            self.gauge[places], self.start_s[places], self.end_s[places], self.depth_um[places]
        )

    @property
    def length_s(self) -> IntArray:
        return self.end_s - self.start_s

    def by_gauge(self) -> Iterator[tuple[int, slice]]:
        """Each gauge and where its readings stand."""
        return _runs(self.gauge)


@dataclass
class Parts:
    """Each gauge's part of the storms. `storm` counts the storms; a gauge may have several parts in one."""

    storm: IntArray
    gauge: IntArray
    start_s: IntArray
    end_s: IntArray
    depth_um: IntArray
    longest_s: IntArray  # of its wet readings
    peak_um: FloatArray  # (parts, windows), NaN where not available
    first: IntArray  # place of its first reading among those it was found in

    def __len__(self) -> int:
        return self.storm.size


@dataclass(frozen=True)
class Storms:
    """Storms over all gauges in order of time, their parts, and the wet readings they are made of.

    `readings` are sorted by storm, gauge and start; `storm_of` says which storm each belongs to.
    """

    start_s: IntArray
    end_s: IntArray
    coarse: BoolArray  # made of totals alone
    parts: Parts
    readings: WetReadings
    storm_of: IntArray

    def __len__(self) -> int:
        return self.start_s.size


def _runs(values: IntArray) -> Iterator[tuple[int, slice]]:
    """Runs of one value in an array where equal values stand together."""
    if values.size:
        first = np.append(0, np.flatnonzero(np.diff(values)) + 1)
        for begin, end in zip(first, np.append(first[1:], values.size), strict=True):
            yield int(values[begin]), slice(int(begin), int(end))


def group_storms(wet: WetReadings, gaps: DryGaps) -> Storms:
    """Find the storms in wet readings.

    Parameters
    ----------
    wet : readings with a depth above zero, sorted by gauge and start; readings of one gauge do not overlap.
    gaps : dry gaps in force.

    Returns
    -------
    Storms : none if nothing is wet.
    """
    is_total = wet.length_s > COARSE_READING_S
    fine, totals = wet.at(~is_total), wet.at(is_total)
    spells = _spells(fine, gaps)
    group = _join(spells.start_s, spells.end_s, gaps)
    hull_start_s, hull_end_s = _hulls(group, spells.start_s, spells.end_s)
    joined, total_group, loose = _place_totals(totals, hull_start_s, hull_end_s, gaps)
    group = joined[group]

    # Fine storms span what is fine in them; loose totals span themselves.
    ids = np.concatenate([group, total_group[loose]])
    starts = np.concatenate([spells.start_s, totals.start_s[loose]])
    ends = np.concatenate([spells.end_s, totals.end_s[loose]])
    number, start_s, end_s = _number(ids, starts, ends)
    coarse = np.ones(start_s.size, dtype=bool)
    coarse[number[group]] = False

    spells.storm = number[group]
    total_storm = number[total_group]
    parts = [spells, *_total_parts(totals, total_storm, gaps)]
    storm_of_fine = spells.storm[
        np.searchsorted(spells.first, np.arange(fine.gauge.size), "right") - 1
    ]
    storm_of = np.concatenate([storm_of_fine, total_storm])
    both = WetReadings(
        *(
            np.concatenate([getattr(fine, name), getattr(totals, name)])
            for name in ("gauge", "start_s", "end_s", "depth_um")
        )
    )
    order = np.lexsort((both.start_s, both.gauge, storm_of))
    return Storms(start_s, end_s, coarse, _merged(parts), both.at(order), storm_of[order])


def _spells(wet: WetReadings, gaps: DryGaps) -> Parts:
    """Each gauge's own storms; the storms over all gauges are still to be numbered."""
    parts = []
    for gauge, run in wet.by_gauge():
        begin = run.start
        while begin < run.stop:
            rest = slice(begin, run.stop)
            era = gaps.at(int(wet.start_s[begin]))
            found = find_storms(
                wet.start_s[rest], wet.end_s[rest], wet.depth_um[rest], dry_gap_s=era.dry_gap_s
            )
            kept = int(np.searchsorted(found.start_s, era.until_s))
            longest_s = np.maximum.reduceat(wet.length_s[rest], found.first_index)
            parts.append(
                Parts(
                    storm=np.zeros(kept, dtype=np.int64),
                    gauge=np.full(kept, gauge),
                    start_s=found.start_s[:kept],
                    end_s=found.end_s[:kept],
                    depth_um=found.depth_um[:kept],
                    longest_s=longest_s[:kept],
                    peak_um=np.stack([found.peak_um[w][:kept] for w in WINDOWS_S], axis=1),
                    first=begin + found.first_index[:kept],
                )
            )
            begin += int(found.last_index[kept - 1]) + 1
    return _merged(parts)


def _merged(parts: Sequence[Parts]) -> Parts:
    if not parts:
        none = np.empty(0, dtype=np.int64)
        return Parts(none, none, none, none, none, none, np.empty((0, len(WINDOWS_S))), none)
    return Parts(*(np.concatenate([getattr(p, f.name) for p in parts]) for f in fields(Parts)))


def _join(start_s: IntArray, end_s: IntArray, gaps: DryGaps) -> IntArray:
    """Number of the storm over all gauges that each span belongs to; a storm's first start picks the dry gap."""
    group = np.zeros(start_s.size, dtype=np.int64)
    order = np.argsort(start_s, kind="stable")
    count = 0
    while order.size:
        era = gaps.at(int(start_s[order[0]]))
        joined = join_spans(start_s[order], end_s[order], dry_gap_s=era.dry_gap_s)
        heads = np.searchsorted(joined, np.arange(joined[-1] + 1))
        kept = int(np.searchsorted(start_s[order][heads], era.until_s))
        stop = int(heads[kept]) if kept < heads.size else order.size
        group[order[:stop]] = count + joined[:stop]
        count += kept
        order = order[stop:]
    return group


def _hulls(group: IntArray, start_s: IntArray, end_s: IntArray) -> tuple[IntArray, IntArray]:
    """First start and last end of each group."""
    count = int(group.max()) + 1 if group.size else 0
    first_s, last_s = np.full(count, FOREVER_S), np.full(count, -FOREVER_S)
    np.minimum.at(first_s, group, start_s)
    np.maximum.at(last_s, group, end_s)
    return first_s, last_s


def _place_totals(
    totals: WetReadings, start_s: IntArray, end_s: IntArray, gaps: DryGaps
) -> tuple[IntArray, IntArray, BoolArray]:
    """Place totals among fine storms, which are given sorted and apart.

    Returns the number of each fine storm after those that share a total have become one, the number of each total's storm, and
    which totals have no fine storm in their time (their numbers follow on).
    """
    low = np.searchsorted(end_s, totals.start_s, "right")
    high = np.searchsorted(start_s, totals.end_s, "left")
    loose = high <= low
    tied = np.zeros(start_s.size + 1, dtype=np.int64)
    np.add.at(tied, low[~loose] + 1, 1)
    np.add.at(tied, high[~loose], -1)
    apart = np.cumsum(tied)[:-1] == 0
    number = np.cumsum(apart) - 1
    group = np.zeros(totals.gauge.size, dtype=np.int64)
    group[~loose] = number[low[~loose]]
    count = int(number[-1]) + 1 if number.size else 0
    group[loose] = count + _join(totals.start_s[loose], totals.end_s[loose], gaps)
    return number, group, loose


def _number(
    group: IntArray, start_s: IntArray, end_s: IntArray
) -> tuple[IntArray, IntArray, IntArray]:
    """Number storms by time. Groups whose spans overlap after all are one storm.

    Returns the storm's number by group, and first start and last end of each storm.
    """
    first_s, last_s = _hulls(group, start_s, end_s)
    order = np.argsort(first_s, kind="stable")
    reached_s = np.maximum.accumulate(last_s[order])
    apart = np.append(True, first_s[order][1:] >= reached_s[:-1])[: order.size]
    number = np.empty_like(order)
    number[order] = np.cumsum(apart) - 1
    return number, *_hulls(number, first_s, last_s)


def _total_parts(totals: WetReadings, storm: IntArray, gaps: DryGaps) -> Iterator[Parts]:
    """Each gauge's totals in each storm as parts; totals a dry gap apart are parts of their own."""
    order = np.lexsort((totals.start_s, totals.gauge, storm))
    for number, run in _runs(storm[order]):
        part = _spells(totals.at(order[run]), gaps)
        part.storm[:] = number
        yield part
