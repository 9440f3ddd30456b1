"""Times at which a bucket tipped, put together into readings of even length."""

from collections.abc import Iterator, Sequence

import numpy as np
from django.utils.translation import gettext as _

from stewardship.common.errors import Refused
from stewardship.common.written import moment_text
from stewardship.hydrology.units import BoolArray, IntArray
from stewardship.rain.choices import ReadingKind, Stamps
from stewardship.rain.intake.amounts import read_amount, read_tips, tips_typed
from stewardship.rain.intake.blocks import MEASURED, ZERO, Block, greatest_um
from stewardship.rain.intake.csvfile import Row
from stewardship.rain.intake.guessing import COUNT, DEPTH, NUMBER
from stewardship.rain.intake.layout import Layout
from stewardship.rain.intake.rowreader import BlockReader, Texts
from stewardship.rain.times import LONGEST_READING_S, instant

#: [s] Silence of a gauge that tips may be dry weather or a clogged funnel; no longer one is taken for dry than a reading may be.
LONGEST_SILENCE_S = LONGEST_READING_S
LONGEST_NUMBER = 15  # digits of a tip's number


class TipReader:
    """Reads all tips, then gives readings in order of time: 24 bytes a tip are kept, whatever the file's order.

    Two tips within the same second are two, unless the file numbers its tips. Between the first and the last row silence is dry.
    """

    def __init__(self, layout: Layout, daily_hour: int | None) -> None:
        self.layout = layout
        self.base = BlockReader(layout, daily_hour)
        self.parts: list[tuple[IntArray, IntArray, IntArray]] = []
        self.numbers: list[IntArray] = []

    def read(self, rows: list[Row]) -> Block:
        """Keeps the tips; gives the rows that are refused."""
        kept, why = self.base.own_rows(rows)
        moment_s = self._moments(kept, why)
        if self.layout.tip_role:
            told = [self._depth(row, n, why) for n, row in enumerate(kept)]
            depth = np.array(told, dtype=np.int64)
        else:
            depth = np.full(len(kept), self.layout.tip_um, dtype=np.int64)
        line = np.array([row[0] for row in kept], dtype=np.int64)
        good = np.ones(line.size, dtype=bool)
        good[list(why)] = False
        self.parts.append((moment_s[good], depth[good], line[good]))
        if self.layout.tip_role == NUMBER:
            column = self.layout.depth_column
            texts = [kept[n][1][column].strip() for n in np.flatnonzero(good).tolist()]
            self.numbers.append(np.array([int(text) for text in texts], dtype=np.int64))
        rest = np.flatnonzero(~good)
        place = {int(n): new for new, n in enumerate(rest.tolist())}
        return Block(
            line=line[rest],
            start_s=moment_s[rest],
            end_s=moment_s[rest],
            kind=np.full(rest.size, ZERO),
            depth_um=np.zeros(rest.size, dtype=np.int64),
            typed=[""] * rest.size,
            text=Texts([kept[n] for n in rest.tolist()]),
            why={place[n]: sentence for n, sentence in why.items()},
            skipped=len(rows) - len(kept),
        )

    def _moments(self, kept: list[Row], why: dict[int, str]) -> IntArray:
        stamps = self.base.stamps_of(kept, why)
        start_s, end_s = self.base.intervals(stamps, why)
        return start_s if self.layout.stamps == Stamps.START else end_s

    def _depth(self, row: Row, n: int, why: dict[int, str]) -> int:
        """Depth of the tips that a row tells of; a problem goes into `why`. [µm]"""
        role, column = self.layout.tip_role, self.layout.depth_column
        if n in why:
            return self.layout.tip_um
        text = row[1][column].strip()
        if role == NUMBER:
            if not (text.isascii() and text.isdigit() and len(text) <= LONGEST_NUMBER):
                why[n] = _("“%s” is not the number of a tip.") % text[:40]
            return self.layout.tip_um
        if role == COUNT:
            amount = read_tips(text, tip_um=self.layout.tip_um)
        else:
            amount = read_amount(text, unit=self.layout.unit)
        if amount.problem or amount.kind in (ReadingKind.MISSING, ReadingKind.TRACE):
            why[n] = amount.problem or _("The row does not say how much tipped.")
            return 0
        return amount.depth_um or 0

    def end(self, size: int) -> Iterator[Block]:
        """Readings of the layout's step from the first row to the last, in blocks."""
        moment_s, depth, line = (
            (np.concatenate(column) for column in zip(*self.parts, strict=True))
            if self.parts
            else (np.zeros(0, dtype=np.int64),) * 3
        )
        self.parts = []
        if not depth.any():
            raise Refused(_("There are no tips in the file."))
        if self.numbers:
            once = self._once(line)
            yield from self._twice(moment_s[~once], line[~once], size)
            moment_s, depth, line = moment_s[once], depth[once], line[once]
        order = np.lexsort((line, moment_s))
        step_s = self.layout.step_s
        number = -(-moment_s[order] // step_s)  # a tip on the stroke ends its interval
        first = np.flatnonzero(np.append(True, np.diff(number) != 0))
        wet_number, wet_line = number[first], line[order][first]
        wet_depth = np.add.reduceat(depth[order], first)
        wet_rows = np.diff(np.append(first, number.size))
        at = 0
        while at < wet_number.size:
            # Walk on until the silence in between fills a block.
            reach = wet_number[at:] - wet_number[at]
            until = at + max(1, int(np.searchsorted(reach, size, "right")))
            yield from self._stretch(
                wet_number[at : until + 1],
                wet_depth[at : until + 1],
                wet_line[at : until + 1],
                wet_rows[at : until + 1],
                until - at,
                size,
            )
            at = until

    def _once(self, line: IntArray) -> BoolArray:
        """Which tips have a number that no row above has."""
        number = np.concatenate(self.numbers)
        order = np.lexsort((line, number))
        once = np.ones(line.size, dtype=bool)
        once[order[1:]] = np.diff(number[order]) != 0
        return once

    def _twice(self, moment_s: IntArray, line: IntArray, size: int) -> Iterator[Block]:
        for first in range(0, line.size, size):
            part = slice(first, first + size)
            end_s, rows = moment_s[part], np.ones(line[part].size, dtype=np.int64)
            block = self._block(end_s // self.layout.step_s, rows * 0, line[part], rows)
            sentence = _("A row above has the same tip number.")
            block.why = dict.fromkeys(range(rows.size), sentence)
            yield block

    def _stretch(
        self,
        number: IntArray,
        depth: IntArray,
        line: IntArray,
        rows: IntArray,
        own: int,
        size: int,
    ) -> Iterator[Block]:
        """Readings of some intervals with tips, and of the silence after each until the next."""
        step_s = self.layout.step_s
        silent = np.diff(number) - 1
        silent[silent * step_s > LONGEST_SILENCE_S] = 0
        silent = np.append(silent, 0)[:own]
        length = 1 + silent
        place = np.cumsum(length) - length  # of the intervals with tips
        whole = int(length.sum())
        owner = np.repeat(np.arange(own), length)
        all_number = number[owner] + np.arange(whole) - place[owner]
        all_depth = np.zeros(whole, dtype=np.int64)
        all_depth[place] = depth[:own]
        all_rows = np.zeros(whole, dtype=np.int64)
        all_rows[place] = rows[:own]
        all_line = line[owner]
        for first in range(0, whole, size):
            part = slice(first, first + size)
            yield self._block(all_number[part], all_depth[part], all_line[part], all_rows[part])

    def _block(self, number: IntArray, depth: IntArray, line: IntArray, rows: IntArray) -> Block:
        step_s, tip_um = self.layout.step_s, self.layout.tip_um
        one = self.layout.tip_role != DEPTH
        typed = [
            tips_typed(fell // tip_um, tip_um) if fell and one else "" for fell in depth.tolist()
        ]
        end_s = number * step_s
        block = Block(
            line=line,
            start_s=end_s - step_s,
            end_s=end_s,
            kind=np.where(depth > 0, MEASURED, ZERO),
            depth_um=depth,
            typed=typed,
            text=_Tipped(rows, end_s),
            why={},
        )
        for n in np.flatnonzero(depth > greatest_um(step_s)).tolist():
            block.why[n] = _(
                "%(rows)s tips until %(end)s are more than has ever been measured in that time; "
                "a loose wire or a shaken gauge tips too."
            ) % {"rows": rows[n], "end": moment_text(instant(int(end_s[n])))}
        return block

    def notes(self) -> list[str]:
        return []


class _Tipped(Sequence[str]):
    """What is said of some rows of tips that are refused together."""

    def __init__(self, rows: IntArray, end_s: IntArray) -> None:
        self.rows = rows
        self.end_s = end_s

    def __len__(self) -> int:
        return self.rows.size

    def __getitem__(self, place):
        return _("%(rows)s tips until %(end)s") % {
            "rows": self.rows[place],
            "end": moment_text(instant(int(self.end_s[place]))),
        }
