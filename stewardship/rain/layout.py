"""How a file of readings is laid out: which columns hold the time and the depth, in what unit, zone and step."""

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import tzinfo as TimeZone
from zoneinfo import ZoneInfo, available_timezones

import numpy as np
from django.utils.translation import gettext as _

from stewardship.common.errors import Refused
from stewardship.common.written import hours_text
from stewardship.rain.choices import DepthUnit, Stamps
from stewardship.rain.columns import (
    depth_column_of,
    find_header,
    rows_of_gauge,
    same_value,
    time_columns_of,
)
from stewardship.rain.csvfile import Row
from stewardship.rain.stamps import (
    StampReader,
    day_number,
    parts,
    written_offset,
    zone_of_offset,
)
from stewardship.rain.times import DAY_S, HOUR_S, LONGEST_DAY_S

EVEN_SHARE = 0.3  # share of the commonest distance between stamps that makes a step
WHOLE_DAY = 0  # stands for a step of one day by the wall clock, 23 to 25 hours

_MM = re.compile(r"(?<![a-z])(mm|millimet(er|re)s?)(?![a-z])")
_INCHES = re.compile(
    r"(?<![a-z])(in|inch|inches)[.)\]\s]*$"
)  # at the end: "rain in last hour" is no unit
_STEP = re.compile(r"(\d+(?:\.\d+)?)\s*(s|sec|m|min|minutes?|h|hours?|d|days?)?$")
_STEP_SECONDS = {"s": 1, "m": 60, "h": HOUR_S, "d": DAY_S}


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


@dataclass(frozen=True)
class Layout:
    """How to read each row. Columns are counted from 0."""

    columns: tuple[str, ...]
    skip: int  # lines above the first row
    time_columns: tuple[int, ...]
    depth_column: int
    unit: str
    zone: TimeZone
    day_first: bool
    step_s: int  # WHOLE_DAY for days by the wall clock
    stamps: str
    where: tuple[int, str] | None

    @property
    def width(self) -> int:
        """Cells that a row needs."""
        where = () if self.where is None else (self.where[0],)
        return max(*self.time_columns, self.depth_column, *where) + 1

    def stamp(self, cells: Sequence[str]) -> str:
        return " ".join(cells[column] for column in self.time_columns)

    def words(self) -> str:
        """How the file was understood, as one sentence."""
        step = _("one day") if self.step_s == WHOLE_DAY else hours_text(self.step_s / HOUR_S)
        said = {
            "time": " + ".join(self.columns[column] for column in self.time_columns),
            "depth": self.columns[self.depth_column],
            "unit": DepthUnit(self.unit).label,
            "step": step,
        }
        if self.stamps == Stamps.START:
            text = _(
                "Times from “%(time)s”, each the start of %(step)s; depths from “%(depth)s” in %(unit)s"
            )
        else:
            text = _(
                "Times from “%(time)s”, each the end of %(step)s; depths from “%(depth)s” in %(unit)s"
            )
        if self.where is None:
            return text % said + "."
        rows = _("only rows where “%(column)s” is “%(value)s”") % {
            "column": self.columns[self.where[0]],
            "value": self.where[1],
        }
        return f"{text % said}; {rows}."


def find_layout(
    rows: Sequence[Row],
    wishes: Wishes,
    *,
    gauge_code: str,
    gauge_unit: str,
    daily_hour: int | None,
    zone: ZoneInfo,
    usual_step_s: int | None,
) -> Layout:
    """Find out how a file is laid out from its first rows.

    Parameters
    ----------
    rows : the first rows of the file, as cut.
    wishes : what the person says about it; wins over what the file seems to say.
    gauge_code, gauge_unit : whose rows are wanted, and the unit where neither person nor file names one.
    daily_hour : hour of a daily reader; None for other gauges.
    zone : the program's, for stamps without an offset.
    usual_step_s : step of the gauge's last reading, for a file with a single row; None if it has none. [s]

    Raises
    ------
    Refused : no column of times or of depths can be told, or a wish does not fit the file.
    """
    table = [(line, [cell.strip() for cell in cells]) for line, cells, wrong in rows if not wrong]
    header, columns = find_header(table, wishes.time_column, wishes.depth_column)
    skip = 0 if header is None else table[header][0]
    body = [cells for line, cells in table if line > skip]
    if not body:
        raise Refused(_("The file has a heading but no readings."))
    time_columns = time_columns_of(columns, body, wishes.time_column)
    depth_column = depth_column_of(columns, body, wishes.depth_column, time_columns)
    where = rows_of_gauge(columns, body, wishes.where, gauge_code, {*time_columns, depth_column})
    if where is not None:
        own = [c for c in body if len(c) > where[0] and same_value(c[where[0]], where[1])]
        body = own or body
    texts = [
        " ".join(cells[n] for n in time_columns) for cells in body if len(cells) > max(time_columns)
    ]
    read_zone = zone_named(wishes.zone) if wishes.zone else zone
    day_first = _day_first(texts)
    return Layout(
        columns=tuple(columns),
        skip=skip,
        time_columns=time_columns,
        depth_column=depth_column,
        unit=_unit(wishes.unit, columns[depth_column], gauge_unit),
        zone=read_zone,
        day_first=day_first,
        step_s=_step(wishes.step, texts, read_zone, day_first, daily_hour, usual_step_s),
        stamps=_stamps(wishes.stamps),
        where=where,
    )


def zone_named(text: str) -> TimeZone:
    """The zone of an IANA name or a written offset."""
    ahead_s = written_offset(text)
    if ahead_s is not None:
        return zone_of_offset(ahead_s)
    if text not in available_timezones():
        raise Refused(_("“%s” is not a time zone, e.g. America/Denver or -07:00.") % text)
    return ZoneInfo(text)


def step_named(text: str) -> int:
    """Seconds of a step such as "15m", "1h", "1d"; WHOLE_DAY for a day; a bare number is minutes."""
    found = _STEP.match(text.strip().lower())
    step_s = float(found[1]) * _STEP_SECONDS[(found[2] or "m")[0]] if found else 0
    if step_s <= 0 or step_s != int(step_s) or step_s > DAY_S:
        raise Refused(_("“%s” is not a step of at most a day, e.g. 15m, 1h or 1d.") % text)
    return WHOLE_DAY if step_s == DAY_S else int(step_s)


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


def _day_first(texts: Sequence[str]) -> bool:
    """Whether 3/4/2026 is the third of April here: the reading of the dates that leaves the smaller gaps."""
    days = list(dict.fromkeys(parts(text)[0] for text in texts))
    spans = []
    for day_first in (False, True):
        numbers = [day_number(text, day_first=day_first) for text in days]
        known = sorted(number for number in numbers if number is not None)
        gap = max((b - a for a, b in zip(known[:-1], known[1:], strict=True)), default=0)
        spans.append((len(numbers) - len(known), gap))
    return spans[1] < spans[0]


def _step(
    wish: str,
    texts: Sequence[str],
    zone: TimeZone,
    day_first: bool,
    daily_hour: int | None,
    usual_step_s: int | None,
) -> int:
    if wish:
        return step_named(wish)
    if daily_hour is not None:
        return WHOLE_DAY
    reader = StampReader(zone, day_first=day_first)
    day, clock_s, ahead_s, readable = reader.spelled(texts)
    if readable.any() and np.all(clock_s[readable] < 0):
        return WHOLE_DAY
    found_s, _problems = reader.instants(day, clock_s, ahead_s, readable)
    apart_s = np.abs(np.diff(found_s[readable]))
    counted = Counter(apart_s[apart_s > 0].tolist())
    if not counted:
        if usual_step_s is not None:
            return usual_step_s
        raise Refused(
            _("One reading alone does not say how long it lasted. Give the step, e.g. 15m or 1h.")
        )
    step_s, times = counted.most_common(1)[0]
    if times < EVEN_SHARE * counted.total() or step_s > LONGEST_DAY_S:
        raise Refused(
            _("The times in the file are not evenly apart. Give the step, e.g. 15m or 1h.")
        )
    return int(step_s)
