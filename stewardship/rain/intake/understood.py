"""A file of readings as it is understood, in words and as rows, and the one way to read it."""

import io
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from datetime import timezone as fixed_zone
from datetime import tzinfo as TimeZone
from itertools import islice

from django.utils import timezone
from django.utils.translation import gettext as _

from people.models import Program
from stewardship.rain.choices import DepthUnit, FileFormat
from stewardship.rain.intake.blocks import (
    KINDS,
    MISSING,
    NO_DEPTH,
    Block,
    check,
    mark_totals,
    refuse_before,
)
from stewardship.rain.intake.csvfile import Row, cut
from stewardship.rain.intake.filereaders import FileReader, LongReader, WideReader
from stewardship.rain.intake.ghcn import (
    GhcnReader,
)
from stewardship.rain.intake.layout import (
    GHCN_FORMATS,
    WHOLE_DAY,
    Layout,
    Wishes,
)
from stewardship.rain.models import Gauge
from stewardship.rain.times import DAILY_SLACK_S, HOUR_S, local_s, seconds

ONE_COLUMN = "\t"  # cuts nothing in a file of bare times
NAMED_UNKNOWN = 10
BY_YEAR_COLUMNS = ("ID", "DATE", "ELEMENT", "VALUE", "M", "Q", "S", "OBS-TIME")
LEAST_ZEROS = 24  # rows of nothing but zero that make one ask whether missing was written as 0


@dataclass(frozen=True)
class UnderstoodRow:
    """One reading as a row of the file was understood; `problem` is why it will not be taken in, or ""."""

    line: int
    gauge_code: str
    start_s: int
    end_s: int
    kind: str
    depth_um: int | None
    typed: str
    problem: str


@dataclass(frozen=True)
class Understanding:
    """A file of readings as it is understood."""

    format: str
    layouts: dict[Gauge, Layout]
    columns: tuple[str, ...]
    skip: int  # lines above the first row
    delimiter: str  # "" for lines of fixed width
    unknown: tuple[str, ...] = ()  # columns, names or stations of no gauge here
    warnings: tuple[str, ...] = ()
    #: what the file calls each gauge, where a column or the rows name several
    names: dict[str, Gauge] = field(default_factory=dict)

    def words(self) -> str:
        """How the file was understood, in one or two sentences."""
        said = [self._layout_words(), *self.warnings]
        if self.unknown:
            more = ", …" if len(self.unknown) > NAMED_UNKNOWN else ""
            said.append(
                _("Of no gauge here, and not taken: %s.")
                % (", ".join(self.unknown[:NAMED_UNKNOWN]) + more)
            )
        return " ".join(said)

    def _layout_words(self) -> str:
        first = next(iter(self.layouts.values()))
        if len(self.layouts) == 1:
            return first.words()
        if self.format == FileFormat.WIDE:
            pairs = [
                f"{one.columns[one.depth_column]} → {gauge.code} ({DepthUnit(one.unit).label})"
                for gauge, one in self.layouts.items()
            ]
            return _("Times from “%(time)s”; one column for each gauge: %(columns)s.") % {
                "time": " + ".join(first.columns[n] for n in first.time_columns),
                "columns": ", ".join(pairs),
            }
        codes = ", ".join(gauge.code for gauge in self.layouts)
        whole = replace(first, where=None).words()
        rows = _("Rows of the gauges %s.") % codes
        return f"{whole} {rows}"

    @property
    def guesses(self) -> Wishes:
        """What was found, as wishes: given again, they are understood the same."""
        first = next(iter(self.layouts.values()))
        several = len(self.layouts) > 1
        wide = self.format == FileFormat.WIDE
        named = first.depth_column >= 0 and not wide and self.format not in GHCN_FORMATS
        return Wishes(
            time_column="+".join(first.columns[n] for n in first.time_columns),
            depth_column=first.columns[first.depth_column] if named else "",
            unit="" if several else first.unit,
            zone=zone_text(first.zone),
            step="" if several else step_text(first.step_s),
            stamps=first.stamps,
            where=""
            if several or first.where is None
            else f"{first.columns[first.where[0]]}={first.where[1]}",
            dates=("dmy" if first.day_first else "mdy") if first.dates_told else "",
            format=self.format,
            gauges=", ".join(
                f"{one.columns[one.depth_column]}={gauge.code}"
                for gauge, one in self.layouts.items()
            )
            if wide
            else ", ".join(f"{name}={gauge.code}" for name, gauge in self.names.items()),
            tip=first.tip_words() if first.tip_um else "",
        )

    def fingerprint(self, gauge: Gauge) -> str:
        """What, besides the file's bytes, decides on a gauge's readings of it."""
        return repr((self.layouts[gauge], self.delimiter))

    def reader(self) -> FileReader:
        if self.format in GHCN_FORMATS:
            stations = {name: (gauge, self.layouts[gauge]) for name, gauge in self.names.items()}
            return GhcnReader(self.format, stations)
        if self.format == FileFormat.WIDE:
            return WideReader(self.layouts)
        return LongReader(self.layouts)

    def rows(self, lines: list[str], first_line: int) -> list[Row]:
        """Lines as rows."""
        if self.delimiter:
            return cut(lines, self.delimiter, first_line)
        return [
            (n, [line.rstrip("\r\n")], "")
            for n, line in enumerate(lines, start=first_line)
            if line.strip()
        ]

    def blocks(
        self, text: io.TextIOBase, size: int, reader: FileReader | None = None
    ) -> Iterator[tuple[int, dict[Gauge, Block]]]:
        """A whole file in blocks of about `size` rows: lines read so far, and what they say of each gauge."""
        reader = reader or self.reader()
        for _skipped in islice(text, self.skip):
            pass
        number = self.skip
        while lines := list(islice(text, size)):
            rows = self.rows(lines, number + 1)
            number += len(lines)
            yield number, reader.read(rows)
        for blocks in reader.end(size):
            yield number, blocks

    def rows_read(self, lines: Sequence[str]) -> list[UnderstoodRow]:
        """The readings of a file's first lines as they would be taken in, in order of line; what the database says is not asked."""
        program = Program.get()
        now_s = seconds(timezone.now())
        text = io.StringIO("".join(lines), newline="")
        found: list[UnderstoodRow] = []
        for _number, blocks in self.blocks(text, max(len(lines), 1)):
            for gauge, block in blocks.items():
                early_s = 0 if gauge.observation_hour is None else DAILY_SLACK_S
                mark_totals(block)
                check(block, now_s=now_s + early_s)
                refuse_before(
                    block, since=gauge.started_on, since_s=local_s(gauge.started_on, program.tz)
                )
                found += _understood(gauge, block)
        return sorted(found, key=lambda row: (row.line, row.start_s, row.gauge_code))


def _understood(gauge: Gauge, block: Block) -> Iterator[UnderstoodRow]:
    for n in range(len(block)):
        depth_um = int(block.depth_um[n])
        yield UnderstoodRow(
            line=int(block.line[n]),
            gauge_code=gauge.code,
            start_s=int(block.start_s[n]),
            end_s=int(block.end_s[n]),
            kind=KINDS[int(block.kind[n])],
            depth_um=None if depth_um == NO_DEPTH or block.kind[n] == MISSING else depth_um,
            typed=block.typed[n],
            problem=block.why.get(n, ""),
        )


def zone_text(zone: TimeZone) -> str:
    """A zone as `zone_named` reads it."""
    if isinstance(zone, fixed_zone):
        ahead = zone.utcoffset(None)
        minutes = int(ahead.total_seconds()) // 60 if ahead else 0
        return f"{'-' if minutes < 0 else '+'}{abs(minutes) // 60:02}:{abs(minutes) % 60:02}"
    return str(zone)


def step_text(step_s: int) -> str:
    """A step as `step_named` reads it."""
    if step_s == WHOLE_DAY:
        return "1d"
    if step_s % HOUR_S == 0:
        return f"{step_s // HOUR_S}h"
    return f"{step_s // 60}m" if step_s % 60 == 0 else f"{step_s}s"
