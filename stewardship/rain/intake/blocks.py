"""Readings in blocks: columns of many thousand rows on their way from a file into the database, and what is wrong with a row."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date
from itertools import islice
from typing import NamedTuple

import numpy as np
from django.utils.translation import gettext as _

from stewardship.common.written import day_text, hours_text, moment_text
from stewardship.hydrology.units import FloatArray, IntArray
from stewardship.rain.choices import ReadingKind
from stewardship.rain.intake.amounts import TYPED_LENGTH
from stewardship.rain.times import (
    HOUR_S,
    LONGEST_DAY_S,
    LONGEST_READING_S,
    instant,
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
#: More rows than this, and a larger share, for times that the file has already: it holds more than one gauge.
REPEATS, REPEATED_SHARE = 10, 0.01


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
