"""How a file of readings is laid out: which columns hold the time and the depth, in what unit, zone and step."""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import tzinfo as TimeZone
from zoneinfo import ZoneInfo, available_timezones

from django.utils.translation import gettext as _

from stewardship.common.errors import Refused
from stewardship.common.units import um_to_in, um_to_mm
from stewardship.common.written import hours_text
from stewardship.rain.choices import DateOrder, DepthUnit, FileFormat, Stamps
from stewardship.rain.intake.columns import (
    columns_and_body,
    depth_column_of,
    rows_of_gauge,
    same_value,
    time_columns_of,
)
from stewardship.rain.intake.csvfile import Row
from stewardship.rain.intake.guessing import (
    COUNT,
    DEPTH,
    checked_format,
    counter_column,
    looks_counted,
    looks_like_single_tips,
    speaks_of_tips,
    tip_column,
    tip_depth_um,
)
from stewardship.rain.intake.stamps import (
    day_number,
    order_matters,
    parts,
    written_offset,
    zone_of_offset,
)
from stewardship.rain.intake.steps import (
    EVEN_LEAST_SHARE,
    EVEN_TIPS_SHARE,
    TIP_STEP_S,
    WHOLE_DAY,
    apart_of,
    is_even,
    step_of,
    usual_step,
)
from stewardship.rain.times import HOUR_S

GHCN_FORMATS = (FileFormat.GHCN_BY_YEAR, FileFormat.GHCN_DAILY, FileFormat.GHCN_FIXED)
HUNDREDTH_INCH_UM = 254

_MM = re.compile(r"(?<![a-z])(mm|millimet(er|re)s?)(?![a-z])")
_INCHES = re.compile(
    r"(?<![a-z])(in|inch|inches)[.)\]\s]*$"
)  # at the end: "rain in last hour" is no unit


@dataclass(frozen=True)
class Wishes:
    """What a person says about a file; empty is left to be found out."""

    time_column: str = ""
    depth_column: str = ""
    unit: str = ""  # "in" or "mm"
    zone: str = ""  # IANA name or offset
    step: str = ""  # "15m", "1h", "1d"; a bare number is minutes
    stamps: str = ""  # "start" or "end"
    where: str = ""  # "column=value"
    dates: str = ""  # "mdy" or "dmy"
    format: str = ""  # a FileFormat
    gauges: str = (
        ""  # whose column, station or name in the file is whose: "north=porch, south=depot"
    )
    tip: str = ""  # depth of one tip: "0.01 in", "0.2 mm"


@dataclass(frozen=True)
class Layout:
    """How to read each row. Columns are counted from 0."""

    columns: tuple[str, ...]
    skip: int  # lines above the first row
    time_columns: tuple[int, ...]
    depth_column: int  # NO_COLUMN where each row is one tip
    unit: str
    zone: TimeZone
    day_first: bool
    step_s: int  # WHOLE_DAY for days by the wall clock
    stamps: str
    where: tuple[int, str] | None
    dates_told: bool = False  # some dates seen are such as 3/4/2026
    dates_proven: bool = True  # a person, or a day after the 12th, says which number is the day
    format: str = FileFormat.INTERVAL
    tip_um: int = 0  # depth of one tip, where the file tells of tips; else 0 [µm]
    #: what the depth column of a file of tips holds; "" where each row is one tip
    tip_role: str = ""
    tenths: bool = False  # values are tenths of a millimetre

    @property
    def width(self) -> int:
        """Cells that a row needs."""
        where = () if self.where is None else (self.where[0],)
        return max(*self.time_columns, self.depth_column, *where) + 1

    def stamp(self, cells: Sequence[str]) -> str:
        if len(self.time_columns) == 1:
            return cells[self.time_columns[0]]
        return " ".join(cells[column] for column in self.time_columns)

    def words(self) -> str:
        """How the file was understood, as one sentence."""
        text = self._rows_words()
        dates = f" {self.dates_words()}" if self.dates_told else ""
        if self.where is None:
            return f"{text}.{dates}"
        rows = _("only rows where “%(column)s” is “%(value)s”") % {
            "column": self.columns[self.where[0]],
            "value": self.where[1],
        }
        return f"{text}; {rows}.{dates}"

    def _rows_words(self) -> str:
        step = _("one day") if self.step_s == WHOLE_DAY else hours_text(self.step_s / HOUR_S)
        said = {
            "time": " + ".join(self.columns[column] for column in self.time_columns),
            "depth": self.columns[self.depth_column] if self.depth_column >= 0 else "",
            "unit": DepthUnit(self.unit).label,
            "step": step,
            "tip": self.tip_words(),
        }
        if self.format == FileFormat.COUNTER:
            return (
                _(
                    "Times from “%(time)s”; a running total from “%(depth)s” in %(unit)s, each depth the difference from the row before"
                )
                % said
            )
        if self.format in GHCN_FORMATS:
            return self._ghcn_words()
        if self.format == FileFormat.TIPS:
            return self._tips_words() % said
        if self.tip_um and self.stamps == Stamps.START:
            return (
                _(
                    "Times from “%(time)s”, each the start of %(step)s; tips from “%(depth)s”, each %(tip)s"
                )
                % said
            )
        if self.tip_um:
            return (
                _(
                    "Times from “%(time)s”, each the end of %(step)s; tips from “%(depth)s”, each %(tip)s"
                )
                % said
            )
        if self.stamps == Stamps.START:
            return (
                _(
                    "Times from “%(time)s”, each the start of %(step)s; depths from “%(depth)s” in %(unit)s"
                )
                % said
            )
        return (
            _(
                "Times from “%(time)s”, each the end of %(step)s; depths from “%(depth)s” in %(unit)s"
            )
            % said
        )

    def _tips_words(self) -> str:
        if self.tip_role == DEPTH:
            return _(
                "Each row is a tip at the time in “%(time)s”, its depth in “%(depth)s” in %(unit)s; "
                "tips are put together into readings of %(step)s, and silence between tips is dry"
            )
        if self.tip_role == COUNT:
            return _(
                "Each row tells of “%(depth)s” tips at the time in “%(time)s”, each %(tip)s; "
                "tips are put together into readings of %(step)s, and silence between tips is dry"
            )
        return _(
            "Each row is a tip of %(tip)s at the time in “%(time)s”; "
            "tips are put together into readings of %(step)s, and silence between tips is dry"
        )

    def _ghcn_words(self) -> str:
        if self.tenths:
            return _(
                "GHCN-Daily: rain in tenths of a millimetre for days that end at the observation time, else at the gauge’s hour; "
                "totals of several days stay whole, values that failed a check are refused"
            )
        return _(
            "GHCN-Daily: rain in %(unit)s for days that end at the observation time, else at the gauge’s hour; "
            "totals of several days stay whole, values that failed a check are refused"
        ) % {"unit": DepthUnit(self.unit).label}

    def tip_words(self) -> str:
        """Depth of a tip: "0.01 in", or "0.2 mm" where it is no whole hundredth of an inch."""
        if self.tip_um % HUNDREDTH_INCH_UM == 0:
            return f"{um_to_in(self.tip_um).normalize():f} in"
        return f"{um_to_mm(self.tip_um).normalize():f} mm"

    def dates_words(self) -> str:
        order = DateOrder.DAY_FIRST if self.day_first else DateOrder.MONTH_FIRST
        return _("Dates read as %s.") % order.label


def find_layout(
    rows: Sequence[Row],
    wishes: Wishes,
    *,
    gauge_code: str,
    gauge_unit: str,
    daily_hour: int | None,
    zone: ZoneInfo,
    month_first: bool,
    usual_step_s: int | None,
    resolution_um: int = 254,
) -> Layout:
    """Find out how a file is laid out from its first rows.

    Parameters
    ----------
    rows : the first rows of the file, as cut.
    wishes : what the person says about it; wins over what the file seems to say.
    gauge_code, gauge_unit : whose rows are wanted, and the unit where neither person nor file names one.
    daily_hour : hour of a daily reader; None for other gauges.
    zone : the program's, for stamps without an offset.
    month_first : whether 3/4/2026 is the fourth of March where nothing in the file says otherwise.
    usual_step_s : step of the gauge's last reading, for a file with a single row; None if it has none. [s]
    resolution_um : depth of one tip where neither person nor file says. [µm]

    Raises
    ------
    Refused : no column of times or of depths can be told, a wish does not fit the file, or a gauge read once a day gets more
        than one time a day.
    """
    columns, skip, body = columns_and_body(rows, wishes.time_column, wishes.depth_column)
    time_columns = time_columns_of(columns, body, wishes.time_column)
    how = checked_format(wishes.format)
    role = ""
    if how == FileFormat.TIPS or (not how and not wishes.depth_column and speaks_of_tips(columns)):
        how = FileFormat.TIPS
        depth_column, role = tip_column(columns, body, wishes.depth_column, time_columns)
    else:
        counter = None if wishes.depth_column else counter_column(columns, time_columns)
        how, depth_column = _depths(how, counter, columns, body, wishes.depth_column, time_columns)
    where = rows_of_gauge(columns, body, wishes.where, gauge_code, {*time_columns, depth_column})
    if where is not None:
        own = [c for c in body if len(c) > where[0] and same_value(c[where[0]], where[1])]
        body = own or body
    texts = [
        " ".join(cells[n] for n in time_columns) for cells in body if len(cells) > max(time_columns)
    ]
    read_zone = zone_named(wishes.zone) if wishes.zone else zone
    days = list(dict.fromkeys(parts(text)[0] for text in texts))
    dates_told = any(map(order_matters, days))
    day_first, dates_proven = _day_first(wishes.dates, days, month_first)
    unit = _unit(wishes.unit, columns[depth_column] if depth_column >= 0 else "", gauge_unit)
    apart_s = apart_of(texts, read_zone, day_first)
    if not how:
        cells = [cells[depth_column] for cells in body if len(cells) > depth_column]
        how = FileFormat.COUNTER if looks_counted(cells, unit) else FileFormat.INTERVAL
        single = looks_like_single_tips(cells, unit, resolution_um)
        if single and not wishes.step and not is_even(apart_s, EVEN_LEAST_SHARE):
            how, role = FileFormat.TIPS, DEPTH
    tip_um = 0
    if how == FileFormat.TIPS:
        even = not wishes.format and role in (COUNT, DEPTH) and is_even(apart_s, EVEN_TIPS_SHARE)
        if even:
            how = FileFormat.INTERVAL  # tips put together into intervals already
        if not (even and role == DEPTH):
            tip_um = tip_depth_um(wishes.tip, resolution_um, unit)
    elif how == FileFormat.INTERVAL and wishes.tip:
        tip_um = tip_depth_um(wishes.tip, resolution_um, unit)
    if how == FileFormat.INTERVAL:
        step_s = step_of(
            wishes.step, texts, read_zone, day_first, gauge_code, daily_hour, usual_step_s
        )
    elif how == FileFormat.COUNTER:
        step_s = usual_step(wishes.step, texts, apart_s)
    else:
        step_s = TIP_STEP_S
    return Layout(
        columns=tuple(columns),
        skip=skip,
        time_columns=time_columns,
        depth_column=depth_column,
        unit=unit,
        zone=read_zone,
        day_first=day_first,
        step_s=step_s,
        stamps=_stamps(wishes.stamps),
        where=where,
        dates_told=dates_told,
        dates_proven=dates_proven or not dates_told,
        format=how,
        tip_um=tip_um,
        tip_role=role,
    )


def _depths(
    how: str,
    counter: int | None,
    columns: Sequence[str],
    body: Sequence[list[str]],
    wish: str,
    taken: tuple[int, ...],
) -> tuple[str, int]:
    """What the rows are as far as headings tell, and the column of depths or of the running total."""
    if how == FileFormat.COUNTER and counter is not None:
        return how, counter
    try:
        return how, depth_column_of(columns, body, wish, taken)
    except Refused:
        if how or counter is None:
            raise
        return FileFormat.COUNTER, counter


def zone_named(text: str) -> TimeZone:
    """The zone of an IANA name or a written offset."""
    ahead_s = written_offset(text)
    if ahead_s is not None:
        return zone_of_offset(ahead_s)
    if text not in available_timezones():
        raise Refused(_("“%s” is not a time zone, e.g. America/Denver or -07:00.") % text)
    return ZoneInfo(text)


def _unit(wish: str, name: str, gauge_unit: str) -> str:
    if wish:
        if wish not in DepthUnit.values:
            raise Refused(_("“%s” is not a unit that is known here; it is in or mm.") % wish)
        return wish
    if _MM.search(name.lower()):
        return DepthUnit.MM
    return DepthUnit.INCH if _INCHES.search(name.lower()) else gauge_unit


def _stamps(wish: str) -> str:
    if wish and wish not in Stamps.values:
        raise Refused(_("“%s” is neither start nor end.") % wish)
    return wish or Stamps.END  # loggers stamp the end of an interval; common practice, no source


def _day_first(wish: str, days: Sequence[str], month_first: bool) -> tuple[bool, bool]:
    """Whether 3/4/2026 is the third of April here, and whether that is certain."""
    if wish:
        if wish not in DateOrder.values:
            raise Refused(_("“%s” is neither mdy nor dmy.") % wish)
        return wish == DateOrder.DAY_FIRST, True
    unread = [
        sum(day_number(text, day_first=day_first) is None for text in days)
        for day_first in (False, True)
    ]
    if unread[0] == unread[1]:
        return not month_first, False
    return unread[1] < unread[0], True
