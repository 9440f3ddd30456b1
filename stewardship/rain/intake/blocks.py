"""Readings in blocks: columns of many thousand rows on their way from a file into the database, and what is wrong with a row."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date
from itertools import islice
from typing import NamedTuple

import numpy as np
from django.utils.translation import gettext as _

from stewardship.common.errors import Refused
from stewardship.common.written import day_text, hours_text, moment_text
from stewardship.hydrology.units import BoolArray, FloatArray, IntArray
from stewardship.rain.choices import ReadingKind, Stamps
from stewardship.rain.intake.amounts import TYPED_LENGTH, read_amount, read_tips
from stewardship.rain.intake.csvfile import Row
from stewardship.rain.intake.layout import WHOLE_DAY, Layout, same_value
from stewardship.rain.intake.stamps import (
    EPOCH_DAY,
    NO_CLOCK,
    NO_OFFSET,
    StampReader,
    day_number,
    order_matters,
    parts,
)
from stewardship.rain.times import (
    DAILY_SLACK_S,
    DAY_S,
    HOUR_S,
    LONGEST_DAY_S,
    LONGEST_READING_S,
    instant,
    local_s,
)

KINDS = tuple(ReadingKind.values)
MISSING = KINDS.index(ReadingKind.MISSING)
ZERO = KINDS.index(ReadingKind.ZERO)
MEASURED = KINDS.index(ReadingKind.MEASURED)
MULTI_DAY = KINDS.index(ReadingKind.MULTI_DAY)
NO_DEPTH = -1  # stands for a depth that is not known
#: [mm/h^0.475] and exponent of the envelope of the world's greatest point rainfalls, P = 422 T^0.475 (P in mm, T in hours): WMO,
#: Guide to Hydrological Practices, WMO-No. 168, 5th edition 1994; from memory. What lies above it is a slip of unit or decimal.
GREATEST_MM, GREATEST_POWER = 422.0, 0.475
KEPT_AMOUNTS = 50_000
#: More rows than this, and a larger share, for times that the file has already: it holds more than one gauge.
REPEATS, REPEATED_SHARE = 10, 0.01

#: kind (place in KINDS), depth in µm or NO_DEPTH, number as given, what is wrong with it
_Told = tuple[int, int, str, str]


class NewReading(NamedTuple):
    """One reading to take in: (start, end] in seconds since 1970, its kind, depth in µm (None: missing), number as given."""

    start_s: int
    end_s: int
    kind: str
    depth_um: int | None
    typed: str = ""


@dataclass
class Block:
    """Readings as columns, all of the same length; `why` holds what is wrong with a row, by its place."""

    line: IntArray
    start_s: IntArray
    end_s: IntArray
    kind: IntArray  # place in KINDS
    depth_um: IntArray  # NO_DEPTH where missing
    typed: list[str]
    text: Sequence[str]  # what the row says, for the list of rejected rows
    why: dict[int, str]
    skipped: int = 0  # rows of other gauges

    def __len__(self) -> int:
        return self.line.size

    def keep(self, places: IntArray) -> "Block":
        """The rows at some places, without what was wrong with others."""
        if places.size == len(self):
            return replace(self, why={}, skipped=0)
        return Block(
            self.line[places],
            self.start_s[places],
            self.end_s[places],
            self.kind[places],
            self.depth_um[places],
            [self.typed[n] for n in places.tolist()],
            Picked(self.text, places),
            {},
        )

    def good(self) -> IntArray:
        """Places of rows with which nothing is wrong."""
        good = np.ones(len(self), dtype=bool)
        good[list(self.why)] = False
        return np.flatnonzero(good)


def blocks_of_readings(rows: Iterable[NewReading | tuple], size: int) -> Iterator[Block]:
    """Readings that are understood already, as blocks."""
    rows = iter(rows)
    first = 1
    while block := list(islice(rows, size)):
        starts, ends, kinds, depths, typed = zip(
            *(NewReading(*reading) for reading in block), strict=True
        )
        yield Block(
            line=np.arange(first, first + len(block)),
            start_s=np.array(starts, dtype=np.int64),
            end_s=np.array(ends, dtype=np.int64),
            kind=np.array([KINDS.index(kind) for kind in kinds], dtype=np.int64),
            depth_um=np.array([NO_DEPTH if d is None else d for d in depths], dtype=np.int64),
            typed=[given[:TYPED_LENGTH] for given in typed],
            text=typed,
            why={},
        )
        first += len(block)


class Picked(Sequence[str]):
    """Some of a sequence's texts, in another order; looked up only where somebody asks."""

    def __init__(self, texts: Sequence[str], places: IntArray) -> None:
        self.texts = texts
        self.places = places

    def __len__(self) -> int:
        return self.places.size

    def __getitem__(self, place):
        return self.texts[int(self.places[place])]


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
        kept: list[Row] = []
        why: dict[int, str] = {}
        for row in rows:
            _line, cells, wrong = row
            if not wrong and len(cells) < width:
                wrong = _("The row has fewer columns than the heading.")
            elif where is not None and not wrong and not same_value(cells[where[0]], where[1]):
                continue
            if wrong:
                why[len(kept)] = wrong
            kept.append(row)
        return kept, why

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
            why.setdefault(int(n), _("“%s” is not a time.") % stamps[n].strip()[:40])
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


def several_gauges() -> str:
    return _(
        "The file gives the same times more than once, as if it held several gauges. "
        "Say which rows are of this one, as column=value."
    )


def greatest_um(length_s: IntArray | int) -> FloatArray:
    """The most that can fall in a time, rounded up generously. [µm]"""
    return GREATEST_MM * 1000 * (np.maximum(length_s, 1) / HOUR_S) ** GREATEST_POWER


def too_much(depth_um: int, length_s: int, typed: str) -> str:
    return _(
        "%(depth)s within %(span)s is more than has ever been measured; look at the unit and the decimal point."
    ) % {
        "depth": typed or f"{depth_um / 1000:g} mm",
        "span": hours_text(length_s / HOUR_S),
    }


def check(block: Block, *, now_s: int) -> None:
    """Write into `why` what no reading may be: in the future, longer than a month, more than can fall, or without sense."""
    length_s = block.end_s - block.start_s
    depthless = block.depth_um == NO_DEPTH
    tests = (
        (length_s <= 0, _backward),
        (length_s > LONGEST_READING_S, _too_long),
        (block.end_s > now_s, _future),
        (block.depth_um > greatest_um(length_s), _too_much),
        ((block.depth_um < 0) & (block.kind != MISSING), _below_zero),
        (depthless != (block.kind == MISSING), _kind_unfit),
        (~np.isin(block.kind, [MISSING, MEASURED, MULTI_DAY]) & (block.depth_um > 0), _kind_unfit),
    )
    for wrong, sentence in tests:
        for n in np.flatnonzero(wrong):
            if int(n) not in block.why:
                block.why[int(n)] = sentence(block, int(n))


def refuse_before(block: Block, *, since: date, since_s: int) -> None:
    """Write into `why` what is said of a time before the gauge stood there."""
    for n in np.flatnonzero(block.end_s <= since_s):
        block.why.setdefault(int(n), not_before(since))


def refuse_after(block: Block, *, last: date, end_s: int) -> None:
    """Write into `why` what is said of a time after the gauge's last day, which ends at `end_s`."""
    for n in np.flatnonzero(block.start_s >= end_s):
        block.why.setdefault(int(n), not_after(last))


def not_after(last: date) -> str:
    return _("The gauge stands there no more; its last day was %s.") % day_text(last)


def not_before(since: date) -> str:
    return _("The gauge stands there since %s.") % day_text(since)


def _backward(_block: Block, _n: int) -> str:
    return _("The reading ends before or when it starts.")


def _too_long(_block: Block, _n: int) -> str:
    return _("The reading spans more than 31 days.")


def _future(block: Block, n: int) -> str:
    return _("The reading ends %s, which is in the future.") % moment_text(
        instant(int(block.end_s[n]))
    )


def _too_much(block: Block, n: int) -> str:
    return too_much(int(block.depth_um[n]), int(block.end_s[n] - block.start_s[n]), block.typed[n])


def _below_zero(_block: Block, _n: int) -> str:
    return _("The depth is below zero; rain is not.")


def _kind_unfit(_block: Block, _n: int) -> str:
    return _("The depth does not fit the kind of the reading.")


def mark_totals(block: Block) -> None:
    """A measured depth over more than a day is a total of several days."""
    several = (block.kind == MEASURED) & (block.end_s - block.start_s > LONGEST_DAY_S)
    block.kind[several] = MULTI_DAY
