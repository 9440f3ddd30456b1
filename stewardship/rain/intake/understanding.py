"""What a file of readings is and whose readings it holds, found out from its first lines; and the one way to read it."""

import io
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from datetime import timezone as fixed_zone
from datetime import tzinfo as TimeZone

from django.utils import timezone
from django.utils.translation import gettext as _

from people.models import Program
from stewardship.common.errors import Refused
from stewardship.common.written import US
from stewardship.rain.choices import DepthUnit, FileFormat, ReadingKind, Stamps
from stewardship.rain.intake.blocks import (
    KINDS,
    MISSING,
    NO_DEPTH,
    Block,
    check,
    mark_totals,
    refuse_before,
)
from stewardship.rain.intake.columns import find_header, listed, time_columns_of
from stewardship.rain.intake.csvfile import Row, cut, find_delimiter
from stewardship.rain.intake.filereaders import FileReader, LongReader, WideReader
from stewardship.rain.intake.ghcn import (
    GhcnReader,
    looks_by_year,
    looks_daily,
    looks_fixed,
    stations_in,
)
from stewardship.rain.intake.guessing import checked_format
from stewardship.rain.intake.layout import (
    GHCN_FORMATS,
    WHOLE_DAY,
    Layout,
    Wishes,
    find_layout,
    zone_named,
)
from stewardship.rain.intake.owners import Owners
from stewardship.rain.intake.stamps import day_number, parts
from stewardship.rain.models import Gauge, Reading
from stewardship.rain.times import DAILY_SLACK_S, HOUR_S, LONGEST_DAY_S, local_s, seconds

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
    stations: dict[str, Gauge] = field(default_factory=dict)

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

    def words_for(self, gauge: Gauge) -> str:
        """How the rows of one gauge were understood."""
        if self.format == FileFormat.WIDE or self.format in GHCN_FORMATS or len(self.layouts) == 1:
            return self.layouts[gauge].words()
        return self.layouts[gauge].words()

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
        return f"{whole} {_('Rows of the gauges %s.') % codes}"

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
            else ", ".join(f"{name}={gauge.code}" for name, gauge in self.stations.items()),
            tip=first.tip_words() if first.tip_um else "",
        )

    def fingerprint(self, gauge: Gauge) -> str:
        """What, besides the file's bytes, decides on a gauge's readings of it."""
        return repr((self.layouts[gauge], self.delimiter))

    def reader(self) -> FileReader:
        if self.format in GHCN_FORMATS:
            stations = {name: (gauge, self.layouts[gauge]) for name, gauge in self.stations.items()}
            return GhcnReader(self.format, stations)
        if self.format == FileFormat.WIDE:
            return WideReader(self.layouts)
        return LongReader(self.layouts)

    def rows(self, lines: Sequence[str], first_line: int) -> list[Row]:
        """Lines as rows."""
        if self.delimiter:
            return cut(list(lines), self.delimiter, first_line)
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
        number = 0
        lines: list[str] = []
        for line in text:
            number += 1
            if number <= self.skip:
                continue
            lines.append(line)
            if len(lines) == size:
                yield number, reader.read(self.rows(lines, number - size + 1))
                lines = []
        if lines:
            yield number, reader.read(self.rows(lines, number - len(lines) + 1))
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


def understand(
    lines: Sequence[str], *, gauge: Gauge | None, wishes: Wishes, program: Program
) -> Understanding:
    """Find out what a file is from its first lines.

    Parameters
    ----------
    lines : the first lines, with their ends.
    gauge : whose readings they are; None: the file says it, by the codes of gauges or as `wishes.gauges` tells.
    wishes : what the person says; wins over what the file seems to say.

    Raises
    ------
    Refused : the file is no table of rain, a wish does not fit it, or it does not say whose readings it holds.
    """
    if not any(line.strip() for line in lines):
        raise Refused(_("The file is empty."))
    form = checked_format(wishes.format)
    if form == FileFormat.GHCN_FIXED or (not form and looks_fixed(lines)):
        rows = [(n, [line.rstrip("\r\n")], "") for n, line in enumerate(lines, 1) if line.strip()]
        if not looks_fixed(lines):
            raise Refused(_("The lines are not those of a .dly file."))
        return _ghcn(rows, FileFormat.GHCN_FIXED, ("line",), 0, "", gauge, wishes, program)
    delimiter = _delimiter(lines, form)
    rows = cut(list(lines), delimiter, 1)
    if form == FileFormat.GHCN_BY_YEAR or (not form and looks_by_year(rows)):
        if not looks_by_year(rows):
            raise Refused(_("The rows are not those of a GHCN-Daily file by year."))
        skip = rows[0][0] if day_number(rows[0][1][1].strip()) is None else 0
        rows = [row for row in rows if row[0] > skip]
        return _ghcn(rows, FileFormat.GHCN_BY_YEAR, BY_YEAR_COLUMNS, skip, delimiter, gauge, wishes, program)  # fmt: skip
    if form == FileFormat.GHCN_DAILY or not form:
        heading = next((row for row in rows[:5] if not row[2] and looks_daily(row[1])), None)
        if heading is not None:
            columns = tuple(cell.strip() for cell in heading[1])
            rows = [row for row in rows if row[0] > heading[0]]
            return _ghcn(rows, FileFormat.GHCN_DAILY, columns, heading[0], delimiter, gauge, wishes, program)  # fmt: skip
        if form:
            raise Refused(
                _("The file has no heading with STATION, DATE, PRCP and PRCP_ATTRIBUTES.")
            )
    return _table(rows, delimiter, gauge, wishes, program)


def _delimiter(lines: Sequence[str], form: str) -> str:
    try:
        return find_delimiter(list(lines))
    except Refused:
        bare = [line.strip() for line in lines[:500] if line.strip()]
        times = sum(day_number(parts(line.strip('"'))[0]) is not None for line in bare)
        if form in ("", FileFormat.TIPS) and times and times >= len(bare) - 5:
            return ONE_COLUMN
        raise


def _ghcn(
    rows: list[Row],
    form: str,
    columns: tuple[str, ...],
    skip: int,
    delimiter: str,
    gauge: Gauge | None,
    wishes: Wishes,
    program: Program,
) -> Understanding:
    if not rows:
        raise Refused(_("The file has a heading but no readings."))
    found = stations_in(rows, form, columns)
    owners = Owners(wishes.gauges, Gauge.objects.all())
    stations = {name: one for name in found if (one := owners.of(name)) is not None}
    if gauge is not None:
        stations = _station_of(gauge, found, stations, wishes.where)
    if not stations:
        raise Refused(
            _("No station in the file is a gauge here: %s. Say whose it is, as station=gauge code.")
            % listed(found)
        )
    tenths = True
    unit = wishes.unit or DepthUnit.MM
    if form == FileFormat.GHCN_DAILY and _has_points(rows, columns):
        if not wishes.unit:
            raise Refused(
                _(
                    "The depths have decimal points, so they are not the archive’s tenths of a millimetre. Say the unit."
                )  # fmt: skip
            )
        tenths = False
    if tenths:
        unit = DepthUnit.MM
    layouts = {
        one: Layout(
            columns=columns,
            skip=skip,
            time_columns=(min(1, len(columns) - 1),),
            depth_column=_rain_column(columns),
            unit=unit,
            zone=zone_named(wishes.zone) if wishes.zone else program.tz,
            day_first=False,
            step_s=WHOLE_DAY,
            stamps=Stamps.END,
            where=(0, name),
            format=form,
            tenths=tenths,
        )
        for name, one in stations.items()
    }
    unknown = tuple(name for name in found if name not in stations)
    return Understanding(form, layouts, columns, skip, delimiter, unknown, (), stations)


def _rain_column(columns: tuple[str, ...]) -> int:
    names = [name.upper() for name in columns]
    return next((names.index(n) for n in ("VALUE", "PRCP", "MDPR") if n in names), 0)


def _has_points(rows: list[Row], columns: tuple[str, ...]) -> bool:
    names = [name.upper() for name in columns]
    places = [names.index(name) for name in ("PRCP", "MDPR") if name in names]
    return any("." in cells[n] for _line, cells, _wrong in rows for n in places if len(cells) > n)


def _station_of(
    gauge: Gauge, found: list[str], stations: dict[str, Gauge], where: str
) -> dict[str, Gauge]:
    """The station of the one gauge that is wanted: as said, by its code, or the only one."""
    if where:
        name = where.rpartition("=")[2].strip()
        return {name: gauge}
    own = {name: one for name, one in stations.items() if one == gauge}
    if own:
        return own
    if len(found) == 1:
        return {found[0]: gauge}
    raise Refused(
        _("The file holds several stations: %s. Say which is this gauge’s, as station=its name.")
        % listed(found)
    )


def _table(
    rows: list[Row], delimiter: str, gauge: Gauge | None, wishes: Wishes, program: Program
) -> Understanding:
    table = [(line, [cell.strip() for cell in cells]) for line, cells, wrong in rows if not wrong]
    header, columns = find_header(table, wishes.time_column, wishes.depth_column)
    skip = 0 if header is None else table[header][0]
    body = [cells for line, cells in table if line > skip]
    if not body:
        raise Refused(_("The file has a heading but no readings."))
    owners = Owners(wishes.gauges, Gauge.objects.all())
    if wishes.format in ("", FileFormat.WIDE) and not wishes.depth_column:
        wide = _wide(rows, columns, body, owners, gauge, wishes, program)
        if wide is not None:
            layouts, unknown = wide
            first = next(iter(layouts.values()))
            return Understanding(
                FileFormat.WIDE, layouts, first.columns, first.skip, delimiter, unknown
            )
    unknown: tuple[str, ...] = ()
    if gauge is not None:
        layouts = {gauge: layout_for(rows, gauge, wishes, program)}
    else:
        times = time_columns_of(columns, body, wishes.time_column)
        named = owners.column_of_names(len(columns), body, times)
        if named is None:
            raise Refused(
                _(
                    "The file does not say whose readings it holds. Choose the gauge, or say which name in the file is whose."
                )  # fmt: skip
            )
        column, names = named
        layouts = {
            one: layout_for(
                rows, one, replace(wishes, where=f"{columns[column]}={name}", gauges=""), program
            )
            for one, name in names.items()
        }
        seen = dict.fromkeys(cells[column] for cells in body if len(cells) > column)
        unknown = tuple(name for name in seen if name and name not in names.values())
    first = next(iter(layouts.values()))
    warnings = _warnings(first, body)
    return Understanding(
        first.format, layouts, first.columns, first.skip, delimiter, unknown, warnings
    )


def _wide(
    rows: list[Row],
    columns: Sequence[str],
    body: Sequence[list[str]],
    owners: Owners,
    gauge: Gauge | None,
    wishes: Wishes,
    program: Program,
) -> tuple[dict[Gauge, Layout], tuple[str, ...]] | None:
    """The column of each gauge, and the columns of none; None where the file is not laid out so."""
    wanted = wishes.format == FileFormat.WIDE
    try:
        times = time_columns_of(columns, body, wishes.time_column)
    except Refused:
        if wanted:
            raise
        return None
    found = owners.of_columns(columns, times)
    if not found or (not wanted and len(found) < 2 and gauge is not None):
        if wanted:
            raise Refused(
                _("No column is named after a gauge: %s. Say which is whose, as column=gauge code.")
                % listed(columns)
            )
        return None
    if gauge is not None:
        if gauge not in found:
            raise Refused(
                _("The file has columns for %(codes)s, none for %(gauge)s. Name the depth column.")
                % {"codes": ", ".join(one.code for one in found), "gauge": gauge.code}
            )
        found = {gauge: found[gauge]}
    layouts = {
        one: layout_for(
            rows,
            one,
            replace(wishes, depth_column=columns[n], format=FileFormat.INTERVAL, where=""),
            program,
        )
        for one, n in found.items()
    }
    taken = {*times, *found.values()}
    unknown = tuple(name or "?" for n, name in enumerate(columns) if n not in taken)
    return layouts, unknown


def layout_for(rows: list[Row], gauge: Gauge, wishes: Wishes, program: Program) -> Layout:
    """How the rows of one gauge are laid out."""
    last = (
        Reading.objects.filter(gauge=gauge, kind=ReadingKind.MEASURED).order_by("-start_s").first()
    )
    usual_s = None if last is None else last.end_s - last.start_s
    return find_layout(
        rows,
        wishes,
        gauge_code=gauge.code,
        gauge_unit=gauge.unit,
        daily_hour=gauge.observation_hour,
        zone=program.tz,
        month_first=program.units == US,
        usual_step_s=usual_s if usual_s is None or usual_s < LONGEST_DAY_S - 7200 else WHOLE_DAY,
        resolution_um=gauge.resolution_um,
    )


def _warnings(layout: Layout, body: Sequence[list[str]]) -> tuple[str, ...]:
    """What a person should look at before taking a file in."""
    if layout.format != FileFormat.INTERVAL:
        return ()
    cells = [cells[layout.depth_column] for cells in body if len(cells) > layout.depth_column]
    if len(cells) >= LEAST_ZEROS and all(cell.strip("0.,+") == "" and cell for cell in cells):
        return (
            _("Every depth seen is 0: was it dry all the time, or is a missing value written as 0?"),
        )  # fmt: skip
    return ()
