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
from stewardship.rain.choices import DateOrder, DepthUnit, Stamps
from stewardship.rain.intake.columns import (
    depth_column_of,
    find_header,
    rows_of_gauge,
    same_value,
    time_columns_of,
)
from stewardship.rain.intake.csvfile import Row
from stewardship.rain.intake.stamps import (
    NO_CLOCK,
    StampReader,
    day_number,
    order_matters,
    parts,
    written_offset,
    zone_of_offset,
)
from stewardship.rain.times import DAY_S, HOUR_S, LONGEST_DAY_S

EVEN_SHARE = 0.3  # share of the commonest distance between stamps that makes a step
#: [s] Times of a gauge that is read once a day are further apart than this; two readings a day are not.
LEAST_DAY_APART_S = 18 * HOUR_S
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
    dates: str = ""  # "mdy" or "dmy"


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
    dates_told: bool = False  # some dates seen are such as 3/4/2026
    dates_proven: bool = True  # a person, or a day after the 12th, says which number is the day

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
        dates = f" {self.dates_words()}" if self.dates_told else ""
        if self.where is None:
            return f"{text % said}.{dates}"
        rows = _("only rows where “%(column)s” is “%(value)s”") % {
            "column": self.columns[self.where[0]],
            "value": self.where[1],
        }
        return f"{text % said}; {rows}.{dates}"

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

    Raises
    ------
    Refused : no column of times or of depths can be told, a wish does not fit the file, or a gauge read once a day gets more
        than one time a day.
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
    days = list(dict.fromkeys(parts(text)[0] for text in texts))
    dates_told = any(map(order_matters, days))
    day_first, dates_proven = _day_first(wishes.dates, days, month_first)
    return Layout(
        columns=tuple(columns),
        skip=skip,
        time_columns=time_columns,
        depth_column=depth_column,
        unit=_unit(wishes.unit, columns[depth_column], gauge_unit),
        zone=read_zone,
        day_first=day_first,
        step_s=_step(
            wishes.step, texts, read_zone, day_first, gauge_code, daily_hour, usual_step_s
        ),
        stamps=_stamps(wishes.stamps),
        where=where,
        dates_told=dates_told,
        dates_proven=dates_proven or not dates_told,
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


def _step(
    wish: str,
    texts: Sequence[str],
    zone: TimeZone,
    day_first: bool,
    gauge_code: str,
    daily_hour: int | None,
    usual_step_s: int | None,
) -> int:
    if wish:
        return step_named(wish)
    reader = StampReader(zone, day_first=day_first)
    day, clock_s, ahead_s, readable = reader.spelled(texts)
    if readable.any() and np.all(clock_s[readable] == NO_CLOCK):
        return WHOLE_DAY
    found_s, _problems = reader.instants(day, clock_s, ahead_s, readable)
    apart_s = np.abs(np.diff(found_s[readable]))
    apart_s = apart_s[apart_s > 0]
    if daily_hour is not None:
        if apart_s.size and np.median(apart_s) < LEAST_DAY_APART_S:
            raise Refused(
                _(
                    "The times in the file are mostly %(step)s apart, and %(gauge)s is read once a day. "
                    "Is it the right gauge? If so, say how long one reading lasts, e.g. 15m, 1h or 1d."
                )
                % {
                    "step": hours_text(float(np.median(apart_s)) / HOUR_S),
                    "gauge": gauge_code,
                }
            )
        return WHOLE_DAY
    counted = Counter(apart_s.tolist())
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
