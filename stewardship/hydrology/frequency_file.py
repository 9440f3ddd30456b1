"""Tables of rain frequencies as files: the CSV layout in which NOAA Atlas 14 publishes the estimates of one point.

References
----------
.. [1] NOAA Atlas 14, *Precipitation-Frequency Atlas of the United States*, volumes 1-12; the CSV of the Precipitation
   Frequency Data Server for one point.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum
from itertools import pairwise

from stewardship.hydrology.errors import InputError
from stewardship.hydrology.storms import WINDOWS_S
from stewardship.hydrology.units import MM_PER_INCH, SECONDS_PER_HOUR, UM_PER_MM
from stewardship.hydrology.unusual import Frequencies

#: [1] A row whose last printed digit stands for more of its depth, up or down, tells no years apart. Ours, no source.
MOST_ROUNDING = 0.1
_SECONDS = {"min": 60, "hr": SECONDS_PER_HOUR, "day": 24 * SECONDS_PER_HOUR}
#: printed unit: µm in it, and whether it is of a depth per hour
_UNITS = {
    "inches": (MM_PER_INCH * UM_PER_MM, False),
    "millimeters": (UM_PER_MM, False),
    "inches/hour": (MM_PER_INCH * UM_PER_MM, True),
    "millimeters/hour": (UM_PER_MM, True),
}
_TITLE = re.compile(r"point precipitation frequency estimates\s*(?:\((.*)\))?$", re.IGNORECASE)
_BANNER = re.compile(r"precipitation frequency estimates\b\s*(.*)$", re.IGNORECASE)
_HEADING = re.compile(r"by duration for (ARI|AEP)\b", re.IGNORECASE)
_ROW = re.compile(r"(\d{1,4})-(min|hr|day):?$", re.IGNORECASE)
_NUMBER = re.compile(r"\d+(?:\.(\d*))?$|\.(\d+)$")
_AFTER = re.compile(r"date/time|pyruntime", re.IGNORECASE)
_TITLE_LINES = 10  # the title stands this near to the top


class Fault(StrEnum):
    """What is wrong with a file that should hold a table."""

    EMPTY = "empty"
    WEB_PAGE = "web page"
    OUTSIDE = "outside the coverage"
    OTHER = "something else"
    UNIT = "unit"
    PLACE = "no place"
    BOUND = "a bound of the estimates only"
    HEADING = "heading"
    ROW = "no row of the table"
    SHORT = "number of depths"
    NUMBER = "not a depth"
    ORDER = "falling depths"
    MISSING = "missing row"
    ROUGH = "too roughly rounded"


class UnreadableTable(InputError):
    """A file that holds no usable table. `line` counts from 1, 0 where no line is to blame; `what` is what stands there."""

    def __init__(self, fault: Fault, *, line: int = 0, what: str = "") -> None:
        super().__init__(f"No frequency table: {fault} (line {line}, {what!r}).")
        self.fault, self.line, self.what = fault, line, what


@dataclass(frozen=True, slots=True)
class PublishedTable:
    """What a file of point precipitation frequencies says. `unit` as printed; `place` "" where the file names none."""

    source: str
    place: str
    lat: float
    lon: float
    unit: str
    frequencies: Frequencies


def read_published_table(text: str) -> PublishedTable:
    """Read the table of one point in the CSV layout of NOAA Atlas 14 [1]_.

    Parameters
    ----------
    text : str
        The file. Depths or intensities, in inches or millimetres, of either series; of a file with bounds too, only the
        first block is read.

    Returns
    -------
    PublishedTable
        Depths. A row with a zero (the placeholder of what rounds to nothing) or rounded too roughly holds None.

    Raises
    ------
    UnreadableTable
        If it is anything else, or part of it is missing or contradicts itself.
    """
    lines = [line.strip().strip('"') for line in text.removeprefix("\ufeff").splitlines()]
    title_at, unit = _title(text, lines)
    heading_at = next((n for n, line in enumerate(lines) if _HEADING.match(line)), None)
    for n, line in enumerate(lines[:heading_at]):
        banner = _BANNER.match(line.rstrip(", "))
        if banner and banner.group(1):
            raise UnreadableTable(Fault.BOUND, line=n + 1, what=banner.group(1))
    if heading_at is None:
        raise UnreadableTable(Fault.HEADING)
    facts = _facts(lines[title_at + 1 : heading_at])
    source = next((line.rstrip(", ") for line in lines[title_at + 1 : heading_at] if line), "")
    if not source or ":" in source:
        raise UnreadableTable(Fault.OTHER)
    scale_um, hourly = _UNITS[unit]
    kind = facts.get("data type", "")
    if kind and ("intensity" in kind.lower()) != hourly:
        raise UnreadableTable(Fault.UNIT, what=f"{unit}, {kind}")
    years, annual = _years(lines[heading_at], heading_at + 1)
    rows = list(_rows(lines, heading_at + 1, len(years)))
    for duration_s in WINDOWS_S:
        if duration_s not in {row.duration_s for row in rows}:
            raise UnreadableTable(Fault.MISSING, what=_label(duration_s))
    depths = [row.depths_um(scale_um, hourly) for row in rows]
    _refuse_falling(rows, depths)
    if not any(row.usable for row in rows if row.duration_s in WINDOWS_S):
        raise UnreadableTable(Fault.ROUGH)
    place = next((said for key, said in facts.items() if key.startswith("location name")), "")
    return PublishedTable(
        source=source,
        place="" if place.lower() in ("none", "-") else place,
        lat=_degrees(facts.get("latitude", ""), 90),
        lon=_degrees(facts.get("longitude", ""), 180),
        unit=unit,
        frequencies=Frequencies(
            durations_s=tuple(row.duration_s for row in rows),
            years=years,
            depths_um=tuple(
                tuple(round(um) for um in row_um) if row.usable else tuple(None for _year in years)
                for row, row_um in zip(rows, depths, strict=True)
            ),
            annual=annual,
        ),
    )


@dataclass(frozen=True, slots=True)
class _Row:
    """A row as printed, `places` behind the decimal point; usable if it is no placeholder and not rounded too roughly."""

    line: int
    duration_s: int
    values: tuple[float, ...]
    places: int

    @property
    def rounding(self) -> float:
        return 0.5 * 10.0**-self.places

    @property
    def usable(self) -> bool:
        return 0 < self.rounding <= MOST_ROUNDING * min(self.values)

    def depths_um(self, scale_um: float, hourly: bool) -> tuple[float, ...]:
        hours = self.duration_s / SECONDS_PER_HOUR if hourly else 1.0
        return tuple(value * scale_um * hours for value in self.values)


def _title(text: str, lines: list[str]) -> tuple[int, str]:
    """Where the title stands, and the unit that it names."""
    if not any(lines):
        raise UnreadableTable(Fault.EMPTY)
    if "not within a project area" in text or re.match(r"\W*result\s*=\s*'none'", text):
        raise UnreadableTable(Fault.OUTSIDE)
    if re.match(r"\s*<(!doctype|html|head|body|\?xml)", text.removeprefix("\ufeff"), re.IGNORECASE):
        raise UnreadableTable(Fault.WEB_PAGE)
    for n, line in enumerate(lines[:_TITLE_LINES]):
        if title := _TITLE.match(line.rstrip(", ")):
            unit = (title.group(1) or "").strip().lower()
            if unit not in _UNITS:
                raise UnreadableTable(Fault.UNIT, line=n + 1, what=unit)
            return n, unit
    raise UnreadableTable(Fault.OTHER)


def _facts(lines: list[str]) -> dict[str, str]:
    """What the lines above the table say, by what stands before their colon."""
    pairs = (line.rstrip(", ").partition(":") for line in lines)
    return {key.strip().lower(): said.strip() for key, colon, said in pairs if colon}


def _degrees(said: str, most: int) -> float:
    number = re.match(r"-?\d+(\.\d*)?", said)
    if number is None or abs(float(number.group())) > most:
        raise UnreadableTable(Fault.PLACE, what=said)
    return float(number.group())


def _cells(line: str) -> list[str]:
    cells = [cell.strip(' "') for cell in line.split(",")]
    while cells and not cells[-1]:
        cells.pop()
    return cells


def _years(line: str, number: int) -> tuple[tuple[float, ...], bool]:
    """ARIs as they stand, or n of AEPs written as '1/n."""
    first, *cells = _cells(line)
    heading = _HEADING.match(first)
    annual = heading is not None and heading.group(1).upper() == "AEP"
    years = []
    for cell in cells:
        found = re.match(r"'?1/(\d+)$" if annual else r"(\d+(?:\.\d+)?)$", cell)
        if found is None:
            raise UnreadableTable(Fault.HEADING, line=number, what=cell)
        years.append(float(found.group(1)))
    rising = all(low < high for low, high in pairwise(years))
    if len(years) < 2 or not rising or years[0] < (2 if annual else 1):
        raise UnreadableTable(Fault.HEADING, line=number, what=", ".join(cells))
    return tuple(years), annual


def _rows(lines: list[str], start: int, columns: int) -> Iterator[_Row]:
    """The rows of the block below the heading, up to its end."""
    before_s = 0
    for n, line in enumerate(lines[start:], start + 1):
        cells = _cells(line)
        if not cells or _AFTER.match(cells[0]) or _BANNER.match(cells[0]):
            return
        label = _ROW.match(cells[0])
        if label is None:
            raise UnreadableTable(Fault.ROW, line=n, what=cells[0].rstrip(":"))
        duration_s = int(label.group(1)) * _SECONDS[label.group(2).lower()]
        if duration_s <= before_s:
            raise UnreadableTable(Fault.ROW, line=n, what=cells[0].rstrip(":"))
        before_s = duration_s
        if len(cells) - 1 != columns:
            raise UnreadableTable(Fault.SHORT, line=n, what=cells[0].rstrip(":"))
        places = 0
        for cell in cells[1:]:
            number = _NUMBER.match(cell)
            if number is None:
                raise UnreadableTable(Fault.NUMBER, line=n, what=cell)
            places = max(places, len(number.group(1) or number.group(2) or ""))
        yield _Row(n, duration_s, tuple(float(cell) for cell in cells[1:]), places)


def _refuse_falling(rows: list[_Row], depths_um: list[tuple[float, ...]]) -> None:
    """Rarer rain is deeper, and a longer time holds no less; rounding may make neighbours equal, or hide a little."""
    before: tuple[_Row, tuple[float, ...]] | None = None
    for row, row_um in zip(rows, depths_um, strict=True):
        if any(low > high for low, high in pairwise(row_um)):
            raise UnreadableTable(Fault.ORDER, line=row.line)
        if not row.usable:
            continue
        if row_um[0] == row_um[-1]:
            raise UnreadableTable(Fault.ORDER, line=row.line)
        if before is not None:
            shorter, shorter_um = before
            for value, um, was, was_um in zip(
                row.values, row_um, shorter.values, shorter_um, strict=True
            ):
                slack = um * row.rounding / value + was_um * shorter.rounding / was
                if um + slack < was_um:
                    raise UnreadableTable(Fault.ORDER, line=row.line)
        before = row, row_um


def _label(duration_s: int) -> str:
    for unit, seconds in (("hr", SECONDS_PER_HOUR), ("min", 60)):
        # an hour is printed as 60-min
        if duration_s % seconds == 0 and duration_s // seconds > 1:
            return f"{duration_s // seconds}-{unit}"
    return f"{duration_s} s"
