"""A counter's running total, turned into the depths between its rows."""

from collections.abc import Iterator, Sequence

import numpy as np
from django.utils.translation import gettext as _

from stewardship.common.errors import Refused
from stewardship.common.units import um_to_in, um_to_mm
from stewardship.common.written import moment_text
from stewardship.hydrology.units import IntArray
from stewardship.rain.choices import DepthUnit, ReadingKind, Stamps
from stewardship.rain.intake.amounts import MOST_COUNTED_UM, TYPED_LENGTH, read_amount
from stewardship.rain.intake.blocks import (
    MEASURED,
    MISSING,
    NO_DEPTH,
    REPEATED_SHARE,
    REPEATS,
    ZERO,
    Block,
    several_gauges,
)
from stewardship.rain.intake.csvfile import Row
from stewardship.rain.intake.guessing import NEAR_ZERO_SHARE
from stewardship.rain.intake.layout import Layout
from stewardship.rain.intake.rowreader import KEPT_AMOUNTS, BlockReader, Texts
from stewardship.rain.times import DAY_S, instant

#: [µm] A counter that shows nothing for a moment and then at least its old total has stuttered if the total was this high;
#: below, it may as well have begun again and rain have fallen. Common practice, no source.
LEAST_STUTTER_UM = 10_000
#: Counters with a fixed number of digits begin again after so many of their units; only a total so near below counts.
ROUNDS = (100, 1_000, 10_000)
NEAR_ROUND_SHARE = 0.01
NAMED = 3  # falls of the counter that are named with their line; the others are counted


class CounterReader:
    """Reads all rows, then gives the depths between them in order of time: 20 bytes a row are kept, whatever the file's order.

    A fall to near zero is a counter that began again: what it shows then has fallen since. A fall to something else says
    nothing about rain and is refused. A gap in the rows is one reading as long as the gap: a counter knows how much fell, not when.
    """

    def __init__(self, layout: Layout, daily_hour: int | None) -> None:
        self.layout = layout
        self.base = BlockReader(layout, daily_hour)
        self.totals: dict[str, tuple[int, str]] = {}
        self.parts: list[tuple[IntArray, IntArray, IntArray]] = []
        self.falls: list[str] = []

    def read(self, rows: list[Row]) -> Block:
        """Keeps the rows' totals; gives those that are refused or missing."""
        kept, why = self.base.own_rows(rows)
        start_s, end_s = self.base.intervals(self.base.stamps_of(kept, why), why)
        column = self.layout.depth_column
        told = [
            (0, "") if n in why else self.totals.get(row[1][column]) or self._told(row[1][column])
            for n, row in enumerate(kept)
        ]
        for n, (_total, problem) in enumerate(told):
            if problem:
                why.setdefault(n, problem)
        total = np.array([one[0] for one in told], dtype=np.int64)
        line = np.array([row[0] for row in kept], dtype=np.int64)
        moment_s = start_s if self.layout.stamps == Stamps.START else end_s
        good = np.ones(total.size, dtype=bool)
        good[list(why)] = False
        counted = good & (total != NO_DEPTH)
        self.parts.append((moment_s[counted], total[counted], line[counted].astype(np.int32)))
        rest = np.flatnonzero(~counted)
        left = [kept[n] for n in rest.tolist()]
        place = {int(n): new for new, n in enumerate(rest.tolist())}
        span_s = self.layout.step_s or DAY_S
        return Block(
            line=line[rest],
            start_s=moment_s[rest] - span_s,
            end_s=moment_s[rest],
            kind=np.full(rest.size, MISSING),
            depth_um=np.full(rest.size, NO_DEPTH),
            typed=["" if n in why else row[1][column].strip()[:TYPED_LENGTH] for n, row in zip(rest.tolist(), left, strict=True)],
            text=Texts(left),
            why={place[n]: sentence for n, sentence in why.items()},
            skipped=len(rows) - len(kept),
        )  # fmt: skip

    def _told(self, text: str) -> tuple[int, str]:
        if len(self.totals) >= KEPT_AMOUNTS:
            self.totals.clear()
        amount = read_amount(text, unit=self.layout.unit, most_um=MOST_COUNTED_UM)
        total = NO_DEPTH if amount.depth_um is None else amount.depth_um
        problem = amount.problem
        if amount.kind == ReadingKind.TRACE:
            problem = _("“%s” is not a running total.") % text.strip()[:40]
        told = self.totals[text] = (total, problem)
        return told

    def end(self, size: int) -> Iterator[Block]:
        """The depths between the rows, in blocks."""
        if not self.parts:
            return
        moment_s, total, line = (np.concatenate(column) for column in zip(*self.parts, strict=True))
        self.parts = []
        if not moment_s.size:
            return
        order = np.argsort(moment_s, kind="stable")
        moment_s, total, line = moment_s[order], total[order], line[order].astype(np.int64)
        twice = np.append(False, np.diff(moment_s) == 0)
        if int(twice.sum()) > max(REPEATS, REPEATED_SHARE * twice.size):
            raise Refused(several_gauges())
        why: list[tuple[int, str]] = []
        for n in np.flatnonzero(twice).tolist():
            why.append((n, _("Line %s has the same time.") % line[n - 1]))
        falls = self._falls(moment_s, total, line, twice, why)
        chain = np.flatnonzero(~twice)
        depth = np.diff(total[chain])
        keep = np.ones(depth.size, dtype=bool)
        where = {int(n): place - 1 for place, n in enumerate(chain.tolist()) if n in falls}
        for n, place in where.items():
            fallen = falls[n]
            if fallen is None:
                keep[place] = False
            else:
                depth[place] = fallen
        yield from self._refused(moment_s, total, line, why, size)
        start, end = chain[:-1][keep], chain[1:][keep]
        depth = depth[keep]
        for first in range(0, start.size, size):
            part = slice(first, first + size)
            yield self._block(
                line[end[part]], moment_s[start[part]], moment_s[end[part]], depth[part], total[end[part]], {}
            )  # fmt: skip

    def _falls(
        self,
        moment_s: IntArray,
        total: IntArray,
        line: IntArray,
        dropped: np.ndarray,
        why: list[tuple[int, str]],
    ) -> dict[int, int | None]:
        """By place of a row that shows less than the one before: what fell meanwhile, None if that cannot be told.

        Rows during which the counter only stuttered are marked as dropped.
        """
        found: dict[int, int | None] = {}
        chain = np.flatnonzero(~dropped)
        value = total[chain]
        for at in (np.flatnonzero(np.diff(value) < 0) + 1).tolist():
            before, now, n = int(value[at - 1]), int(value[at]), int(chain[at])
            later = np.flatnonzero(value[at : at + 1000] != now)
            after = int(value[at + later[0]]) if later.size else now
            near_zero = now <= before * NEAR_ZERO_SHARE
            if after >= before and (not near_zero or before >= LEAST_STUTTER_UM):
                for row in chain[at : at + int(later[0])].tolist():
                    dropped[row] = True
                    why.append((row, self._sentence(_("The running total falls from %(before)s to %(now)s for a moment and comes back."), before, now)))  # fmt: skip
                continue
            if not near_zero:
                found[n] = None
                why.append((n, self._sentence(_("The running total falls from %(before)s to %(now)s, neither to zero nor by rain; what fell before it is not known."), before, now)))  # fmt: skip
                continue
            whole = self._round_above(before)
            found[n] = (
                now if whole is None or now > whole * NEAR_ROUND_SHARE else whole - before + now
            )
            self.falls.append(
                _("line %(line)s (%(before)s → %(now)s)")
                % {"line": line[n], "before": self.written(before), "now": self.written(now)}
            )
        return found

    def _round_above(self, total: int) -> int | None:
        """The round number that a counter is about to begin again at, if it is that near. [µm]"""
        unit_um = 25_400 if self.layout.unit == DepthUnit.INCH else 1_000
        for units in ROUNDS:
            whole = units * unit_um
            if whole * (1 - NEAR_ROUND_SHARE) <= total < whole:
                return whole
        return None

    def _sentence(self, text: str, before: int, now: int) -> str:
        return text % {"before": self.written(before), "now": self.written(now)}

    def written(self, total: int) -> str:
        if self.layout.unit == DepthUnit.INCH:
            return f"{um_to_in(total).normalize():f} in"
        return f"{um_to_mm(total).normalize():f} mm"

    def _refused(
        self,
        moment_s: IntArray,
        total: IntArray,
        line: IntArray,
        why: list[tuple[int, str]],
        size: int,
    ) -> Iterator[Block]:
        for first in range(0, len(why), size):
            part = why[first : first + size]
            rows = np.array([n for n, _sentence in part], dtype=np.int64)
            yield self._block(
                line[rows], moment_s[rows], moment_s[rows], np.zeros(rows.size, dtype=np.int64), total[rows],
                {place: sentence for place, (_n, sentence) in enumerate(part)},
            )  # fmt: skip

    def _block(
        self,
        line: IntArray,
        start_s: IntArray,
        end_s: IntArray,
        depth_um: IntArray,
        total: IntArray,
        why: dict[int, str],
    ) -> Block:
        return Block(
            line=line,
            start_s=start_s,
            end_s=end_s,
            kind=np.where(depth_um > 0, MEASURED, ZERO),
            depth_um=depth_um,
            typed=[""] * line.size,  # what was written is a total, not this depth
            text=_Counted(self, end_s, total),
            why=why,
        )

    def notes(self) -> list[str]:
        if not self.falls:
            return []
        more = len(self.falls) - NAMED
        named = ", ".join(self.falls[:NAMED])
        if more > 0:
            named = _("%(named)s and %(more)s more") % {"named": named, "more": more}
        return [_("The counter began again: %s.") % named]


class _Counted(Sequence[str]):
    """Rows of a counter as text, put together only where somebody asks."""

    def __init__(self, reader: CounterReader, moment_s: IntArray, total: IntArray) -> None:
        self.reader = reader
        self.moment_s = moment_s
        self.total = total

    def __len__(self) -> int:
        return self.total.size

    def __getitem__(self, place):
        moment = moment_text(instant(int(self.moment_s[place])))
        return f"{moment}, {self.reader.written(int(self.total[place]))}"
