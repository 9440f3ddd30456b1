"""What the rows of one file said so far, so that a file that contradicts itself is found out whatever is stored already."""

from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np

from stewardship.hydrology.units import BoolArray, IntArray

#: Makes one number of an interval's start and length, for looking it up; no reading is longer than 2²² s.
LENGTHS = 1 << 22
_KINDS_ROOM = 8  # makes one number of a depth and a kind


def interval_key(start_s: IntArray, end_s: IntArray) -> IntArray:
    return start_s * LENGTHS + (end_s - start_s)


def value_key(kind: IntArray, depth_um: IntArray) -> IntArray:
    return depth_um * _KINDS_ROOM + kind


@dataclass(frozen=True)
class Contradiction:
    """Rows for one interval that differ: places in the present block, and the lines of earlier blocks."""

    interval: int
    here: list[int]
    before: list[int]
    fresh: bool  # the rows of the earlier blocks agreed among themselves, and were taken in
    other: dict[int, int]  # by line, the first line that says something else


@dataclass
class Seen:
    """Intervals, values and lines of rows, 16 bytes a row: a million rows take 16 MB, whatever they say."""

    chunks: list[tuple[IntArray, IntArray, IntArray]] = field(default_factory=list)

    def add(self, interval: IntArray, value: IntArray, line: IntArray) -> None:
        if interval.size:
            order = np.argsort(interval, kind="stable")
            self.chunks.append(
                (interval[order], value[order].astype(np.int32), line[order].astype(np.int32))
            )

    def contradictions(
        self, interval: IntArray, value: IntArray, line: IntArray
    ) -> Iterator[Contradiction]:
        """The intervals of a block for which its rows, or they and earlier ones, say different things."""
        if not interval.size:
            return
        wanted = np.unique(interval)
        parts = [part for part in (self._of(chunk, wanted) for chunk in self.chunks) if part]
        if not parts and wanted.size == interval.size:
            return  # the usual file: no interval stands twice
        here = np.arange(interval.size)
        all_interval = np.concatenate([*(p[0] for p in parts), interval])
        all_value = np.concatenate([*(p[1] for p in parts), value])
        all_line = np.concatenate([*(p[2] for p in parts), line])
        place = np.concatenate([np.full(all_interval.size - here.size, -1), here])
        order = np.lexsort((all_line, all_interval))
        all_interval, all_value = all_interval[order], all_value[order]
        all_line, place = all_line[order], place[order]
        first = np.flatnonzero(np.append(True, np.diff(all_interval) != 0))
        last = np.append(first[1:], all_interval.size)
        differs = np.minimum.reduceat(all_value, first) != np.maximum.reduceat(all_value, first)
        for a, b in zip(first[differs].tolist(), last[differs].tolist(), strict=True):
            values, lines = all_value[a:b].tolist(), all_line[a:b].tolist()
            odd = next(n for n, one in enumerate(values) if one != values[0])
            earlier = place[a:b] < 0
            yield Contradiction(
                interval=int(all_interval[a]),
                here=place[a:b][~earlier].tolist(),
                before=all_line[a:b][earlier].tolist(),
                fresh=len(set(all_value[a:b][earlier].tolist())) == 1,
                other={
                    number: lines[odd] if one == values[0] else lines[0]
                    for number, one in zip(lines, values, strict=True)
                },
            )

    @staticmethod
    def _of(
        chunk: tuple[IntArray, IntArray, IntArray], wanted: IntArray
    ) -> tuple[IntArray, IntArray, IntArray] | None:
        interval, value, line = chunk
        if interval[-1] < wanted[0] or interval[0] > wanted[-1]:
            return None
        place = np.minimum(np.searchsorted(wanted, interval), wanted.size - 1)
        hit: BoolArray = wanted[place] == interval
        return (interval[hit], value[hit], line[hit]) if hit.any() else None
