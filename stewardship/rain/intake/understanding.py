"""What a file of readings is and whose readings it holds, found out from its first lines."""

from collections.abc import Sequence
from dataclasses import replace

from django.utils.translation import gettext as _

from people.models import Program
from stewardship.common.errors import Refused
from stewardship.common.written import US
from stewardship.rain.choices import DepthUnit, FileFormat, ReadingKind, Stamps
from stewardship.rain.intake.columns import columns_and_body, listed, time_columns_of
from stewardship.rain.intake.csvfile import NoTable, Row, cut, find_delimiter
from stewardship.rain.intake.ghcn import (
    looks_by_year,
    looks_daily,
    looks_fixed,
    names_station,
    stations_in,
)
from stewardship.rain.intake.guessing import checked_format
from stewardship.rain.intake.layout import (
    WHOLE_DAY,
    Layout,
    Wishes,
    find_layout,
    zone_named,
)
from stewardship.rain.intake.owners import Owners
from stewardship.rain.intake.stamps import day_number, parts
from stewardship.rain.intake.understood import Understanding
from stewardship.rain.models import Gauge, Reading
from stewardship.rain.times import LONGEST_DAY_S

ONE_COLUMN = "\t"  # cuts nothing in a file of bare times
NAMED_UNKNOWN = 10
BY_YEAR_COLUMNS = ("ID", "DATE", "ELEMENT", "VALUE", "M", "Q", "S", "OBS-TIME")
LEAST_ZEROS = 24  # rows of nothing but zero that make one ask whether missing was written as 0


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
        raise NoTable(_("The file is empty."))
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
        skip = 0 if names_station(rows[0][1]) else rows[0][0]
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
    if len(set(stations.values())) < len(stations):
        raise Refused(
            _("Two stations in the file are said to be of one gauge: %s.") % listed(list(stations))
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
    unknown = tuple(name for name in found if name not in stations and owners.of(name) is None)
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
    columns, skip, body = columns_and_body(rows, wishes.time_column, wishes.depth_column)
    owners = Owners(wishes.gauges, Gauge.objects.all())
    if wishes.format in ("", FileFormat.WIDE) and not wishes.depth_column:
        wide = _wide(rows, columns, body, owners, gauge, wishes, program)
        if wide is not None:
            layouts, others = wide
            first = next(iter(layouts.values()))
            return Understanding(
                FileFormat.WIDE, layouts, first.columns, first.skip, delimiter, others
            )
    unknown: tuple[str, ...] = ()
    said: dict[str, Gauge] = {}
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
        said = {name: one for one, name in names.items()}
        seen = dict.fromkeys(cells[column] for cells in body if len(cells) > column)
        unknown = tuple(name for name in seen if name and name.casefold() not in owners.gauge_of)
    first = next(iter(layouts.values()))
    warnings = _warnings(first, body)
    return Understanding(
        first.format, layouts, first.columns, first.skip, delimiter, unknown, warnings, said
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
    if not found or (not wanted and len(found) < 2 and gauge not in (None, *found)):
        if wanted:
            raise Refused(
                _("No column is named after a gauge: %s. Say which is whose, as column=gauge code.")
                % listed(columns)
            )
        return None
    taken = {*times, *found.values()}
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
