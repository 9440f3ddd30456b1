"""Rows of a time and a depth each, turned into readings block by block."""

from collections.abc import Iterator, Sequence
from datetime import date

import numpy as np
from django.utils.translation import gettext as _

from stewardship.common.errors import Refused
from stewardship.hydrology.units import BoolArray, IntArray
from stewardship.rain.choices import Stamps
from stewardship.rain.intake.amounts import read_amount, read_tips
from stewardship.rain.intake.blocks import KINDS, MISSING, NO_DEPTH, Block
from stewardship.rain.intake.csvfile import Row
from stewardship.rain.intake.layout import Layout, same_value
from stewardship.rain.intake.stamps import (
    EPOCH_DAY,
    NO_CLOCK,
    NO_OFFSET,
    StampReader,
    day_number,
    order_matters,
    parts,
)
from stewardship.rain.intake.steps import WHOLE_DAY
from stewardship.rain.times import DAILY_SLACK_S, DAY_S, HOUR_S, instant, local_s

KEPT_AMOUNTS = 50_000

#: kind (place in KINDS), depth in µm or NO_DEPTH, number as given, what is wrong with it
_Told = tuple[int, int, str, str]


class BlockReader:
    """Turns rows of a file, block by block from the top, into readings."""

    def __init__(self, layout: Layout, daily_hour: int | None) -> None:
        self.layout = layout
        self.daily_hour = daily_hour
        self.stamps = StampReader(layout.zone, day_first=layout.day_first)
        self.amounts: dict[str, _Told] = {}
        self.mornings: dict[int, int] = {}

    def read(self, rows: list[Row]) -> Block:
        kept, why = self.own_rows(rows)
        stamps = self.stamps_of(kept, why)
        start_s, end_s = self.intervals(stamps, why)
        return self.block(kept, start_s, end_s, why, skipped=len(rows) - len(kept))

    def block(
        self,
        kept: list[Row],
        start_s: IntArray,
        end_s: IntArray,
        why: dict[int, str],
        *,
        skipped: int = 0,
    ) -> Block:
        """Rows whose intervals are known, with the depths of this layout's column."""
        column = self.layout.depth_column
        if why:
            depths = ["" if n in why else row[1][column] for n, row in enumerate(kept)]
        else:
            depths = [row[1][column] for row in kept]
        told = [self.amounts.get(text) or self._told(text) for text in depths]
        kind, depth_um, typed, problems = zip(*told, strict=True) if told else ((), (), (), ())
        if any(problems):
            for n, problem in enumerate(problems):
                if problem:
                    why.setdefault(n, problem)
        return Block(
            line=np.array([row[0] for row in kept], dtype=np.int64),
            start_s=start_s,
            end_s=end_s,
            kind=np.array(kind, dtype=np.int64),
            depth_um=np.array(depth_um, dtype=np.int64),
            typed=list(typed),
            text=Texts(kept),
            why=why,
            skipped=skipped,
        )

    def stamps_of(self, kept: list[Row], why: dict[int, str]) -> list[str]:
        stamp_of = self.layout.stamp
        if why:
            return ["" if n in why else stamp_of(row[1]) for n, row in enumerate(kept)]
        return [stamp_of(row[1]) for row in kept]

    def end(self, size: int) -> Iterator[Block]:
        """Nothing: each row says all by itself."""
        yield from ()

    def notes(self) -> list[str]:
        return []

    def own_rows(self, rows: list[Row], *, width: int = 0) -> tuple[list[Row], dict[int, str]]:
        """Rows of this gauge, and what is wrong with the shape of some; `width`: cells needed, if more than the layout's."""
        width, where = width or self.layout.width, self.layout.where
        usual = len(self.layout.columns)
        kept: list[Row] = []
        why: dict[int, str] = {}
        for row in rows:
            _line, cells, wrong = row
            if not wrong and len(cells) < width:
                wrong = _("The row has fewer columns than the heading.")
            elif not wrong and len(cells) > usual and self._split_by_comma(cells):
                wrong = _(
                    "The row has more columns than the heading: a decimal comma needs semicolons or quotation marks."
                )
            elif where is not None and not wrong and not same_value(cells[where[0]], where[1]):
                continue
            if wrong:
                why[len(kept)] = wrong
            kept.append(row)
        return kept, why

    def _split_by_comma(self, cells: list[str]) -> bool:
        """Whether the depth and the cell after it are both bare digits, in a row that has a cell too many."""
        column = self.layout.depth_column
        pair = [cell.strip() for cell in cells[column : column + 2]]
        return column >= 0 and len(pair) == 2 and all(c.isascii() and c.isdigit() for c in pair)

    def _told(self, text: str) -> _Told:
        if len(self.amounts) >= KEPT_AMOUNTS:
            self.amounts.clear()
        layout = self.layout
        amount = (
            read_tips(text, tip_um=layout.tip_um)
            if layout.tip_um
            else read_amount(text, unit=layout.unit)
        )
        kind = MISSING if amount.problem else KINDS.index(amount.kind)
        depth_um = NO_DEPTH if amount.depth_um is None else amount.depth_um
        told = self.amounts[text] = (kind, depth_um, amount.typed, amount.problem)
        return told

    def intervals(self, stamps: list[str], why: dict[int, str]) -> tuple[IntArray, IntArray]:
        day, clock_s, ahead_s, readable = self.stamps.spelled(stamps)
        for n in np.flatnonzero(~readable):
            why.setdefault(int(n), self._no_time(stamps[n].strip()))
            self._refuse_other_order(stamps[n])
        if self.layout.step_s == WHOLE_DAY:
            return self._days(day, clock_s, ahead_s, readable, why)
        found_s, problems = self.stamps.instants(day, clock_s, ahead_s, readable)
        for n, problem in problems.items():
            why.setdefault(n, problem)
        step_s = self.layout.step_s
        if self.layout.stamps == Stamps.START:
            return found_s, found_s + step_s
        return found_s - step_s, found_s

    def _no_time(self, stamp: str) -> str:
        if not stamp:
            return _("The row has no time.")
        if same_value(stamp, self.layout.stamp(self.layout.columns)):
            return _("The heading is here once more.")
        return _("“%s” is not a time.") % stamp[:40]

    def _refuse_other_order(self, stamp: str) -> None:
        """A day after the 12th far down in the file shows that all dates above it were read the wrong way round."""
        layout = self.layout
        written = parts(stamp)[0]
        if (
            not layout.dates_proven
            and order_matters(written)
            and day_number(written, day_first=not layout.day_first) is not None
        ):
            raise Refused(
                _("“%s” does not fit the dates above it. Say how dates are written.") % written
            )

    def _days(
        self,
        day: IntArray,
        clock_s: IntArray,
        ahead_s: IntArray,
        readable: BoolArray,
        why: dict[int, str],
    ) -> tuple[IntArray, IntArray]:
        """Days by the wall clock, from the observation hour of one to that of the next; midnight if there is no such hour."""
        zoned = (ahead_s != NO_OFFSET) & readable
        if zoned.any():
            for n in np.flatnonzero(zoned):
                local = instant(int(day[n] * DAY_S + max(clock_s[n], 0) - ahead_s[n])).astimezone(
                    self.layout.zone
                )
                day[n] = local.date().toordinal() - EPOCH_DAY
                clock_s[n] = local.hour * 3600 + local.minute * 60 + local.second
        hour = self.daily_hour or 0
        off = readable & (clock_s != NO_CLOCK) & (np.abs(clock_s - hour * HOUR_S) > DAILY_SLACK_S)
        for n in np.flatnonzero(off):
            why.setdefault(
                int(n),
                _("A daily reading at %(clock)s does not fit the gauge’s hour, %(hour)s:00.")
                % {"clock": f"{clock_s[n] // 3600}:{clock_s[n] // 60 % 60:02}", "hour": hour},
            )
        first = day if self.layout.stamps == Stamps.START else day - 1
        return (
            np.array([self._morning(number, hour) for number in first.tolist()], dtype=np.int64),
            np.array(
                [self._morning(number + 1, hour) for number in first.tolist()], dtype=np.int64
            ),
        )

    def _morning(self, number: int, hour: int) -> int:
        if number not in self.mornings:
            day = date.fromordinal(max(number, 0) + EPOCH_DAY)
            self.mornings[number] = local_s(day, self.layout.zone, hour)
        return self.mornings[number]


class Texts(Sequence[str]):
    """The rows as text, put together only where somebody asks."""

    def __init__(self, rows: list[Row]) -> None:
        self.rows = rows

    def __len__(self) -> int:
        return len(self.rows)

    def __getitem__(self, place):
        return ", ".join(cell.strip() for cell in self.rows[place][1])[:300]
