"""Readers of files that hold one gauge or several: which rows or columns are whose."""

from collections import Counter
from collections.abc import Iterator
from dataclasses import replace
from typing import Protocol

from django.utils.translation import gettext as _

from stewardship.rain.choices import FileFormat
from stewardship.rain.intake.blocks import Block
from stewardship.rain.intake.counter import CounterReader
from stewardship.rain.intake.csvfile import Row
from stewardship.rain.intake.layout import Layout
from stewardship.rain.intake.rowreader import BlockReader
from stewardship.rain.intake.tips import TipReader
from stewardship.rain.models import Gauge

NAMED_OTHERS = 10
KEPT_OTHERS = 1_000


class FileReader(Protocol):
    """Reads a file's rows from the top, block by block."""

    def read(self, rows: list[Row]) -> dict[Gauge, Block]:
        """Readings and refused rows of each gauge, as far as these rows tell."""
        ...

    def end(self, size: int) -> Iterator[dict[Gauge, Block]]:
        """What can be told only after the last row, in blocks of at most about `size`."""
        ...

    def notes(self) -> list[str]:
        """Sentences on what was met on the way, to be asked for after the end."""
        ...


def reader_of(layout: Layout, gauge: Gauge) -> BlockReader | CounterReader | TipReader:
    """The reader of one gauge's rows."""
    if layout.format == FileFormat.COUNTER:
        return CounterReader(layout, gauge.observation_hour)
    if layout.format == FileFormat.TIPS:
        return TipReader(layout, gauge.observation_hour)
    return BlockReader(layout, gauge.observation_hour)


class LongReader:
    """One gauge, or several told apart by what stands in one column."""

    def __init__(self, layouts: dict[Gauge, Layout]) -> None:
        self.several = len(layouts) > 1
        self.readers = {
            # Rows of several gauges are sorted here, once; their readers need not look again.
            gauge: reader_of(replace(layout, where=None) if self.several else layout, gauge)
            for gauge, layout in layouts.items()
        }
        self.others: Counter[str] = Counter()
        if self.several:
            wheres = {gauge: layout.where for gauge, layout in layouts.items()}
            self.column = next(where[0] for where in wheres.values() if where is not None)
            self.gauge_of = {
                where[1].casefold(): gauge for gauge, where in wheres.items() if where is not None
            }

    def read(self, rows: list[Row]) -> dict[Gauge, Block]:
        if not self.several:
            return {gauge: reader.read(rows) for gauge, reader in self.readers.items()}
        sorted_rows: dict[Gauge, list[Row]] = {gauge: [] for gauge in self.readers}
        first = next(iter(self.readers))
        skipped = 0
        for row in rows:
            cells = row[1]
            if row[2] or len(cells) <= self.column:
                sorted_rows[first].append(row)  # refused there
                continue
            gauge = self.gauge_of.get(cells[self.column].strip().casefold())
            if gauge is not None:
                sorted_rows[gauge].append(row)
                continue
            skipped += 1
            if len(self.others) < KEPT_OTHERS:
                self.others[cells[self.column].strip()[:40]] += 1
        blocks = {gauge: self.readers[gauge].read(own) for gauge, own in sorted_rows.items()}
        for block in blocks.values():
            block.skipped += skipped
        return blocks

    def end(self, size: int) -> Iterator[dict[Gauge, Block]]:
        for gauge, reader in self.readers.items():
            for block in reader.end(size):
                yield {gauge: block}

    def notes(self) -> list[str]:
        said = [note for reader in self.readers.values() for note in reader.notes()]
        if self.others:
            names = list(self.others)
            more = ", …" if len(names) > NAMED_OTHERS else ""
            said.append(
                _("Rows of no gauge here: %s.") % (", ".join(names[:NAMED_OTHERS]) + more)
            )  # fmt: skip
        return said


class WideReader:
    """One column for each gauge; the time is read once for all that are read at the same hour."""

    def __init__(self, layouts: dict[Gauge, Layout]) -> None:
        width = max(layout.width for layout in layouts.values())
        self.width = width
        self.readers = {
            gauge: BlockReader(layout, gauge.observation_hour) for gauge, layout in layouts.items()
        }

    def read(self, rows: list[Row]) -> dict[Gauge, Block]:
        blocks = {}
        known: dict[tuple[int | None, int], tuple] = {}
        for gauge, reader in self.readers.items():
            key = (gauge.observation_hour, reader.layout.step_s)
            if key not in known:
                kept, shape = reader.own_rows(rows, width=self.width)
                stamps = reader.stamps_of(kept, shape)
                why = dict(shape)
                start_s, end_s = reader.intervals(stamps, why)
                known[key] = (kept, start_s, end_s, why)
            kept, start_s, end_s, why = known[key]
            blocks[gauge] = reader.block(kept, start_s, end_s, dict(why))
        return blocks

    def end(self, size: int) -> Iterator[dict[Gauge, Block]]:
        yield from ()

    def notes(self) -> list[str]:
        return []
