"""Daily rain in the open GHCN-Daily forms: by year, one row a day, and fixed width with one line a month.

Source of the forms, units and flags: NOAA/NCEI, readme of GHCN-Daily (readme.txt and readme-by_year.txt). PRCP, MDPR: tenths of a
millimetre; DAPR: days that MDPR is the total of; -9999: missing.
"""

import re
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from datetime import date, datetime, time, timedelta
from typing import NamedTuple

import numpy as np
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from stewardship.common.written import number_text
from stewardship.rain.choices import FileFormat, ReadingKind
from stewardship.rain.intake.amounts import read_amount
from stewardship.rain.intake.blocks import KINDS, MISSING, NO_DEPTH, Block
from stewardship.rain.intake.csvfile import Row
from stewardship.rain.intake.layout import Layout
from stewardship.rain.intake.stamps import EPOCH_DAY, day_number
from stewardship.rain.models import Gauge
from stewardship.rain.times import DAILY_SLACK_S, HOUR_S, seconds

RAIN, TOTAL, DAYS = "PRCP", "MDPR", "DAPR"
NO_VALUE = "-9999"
NAMED_ELEMENTS = 5
#: Quality flags and what failed, as in the readme.
FAILED = {
    "D": gettext_lazy("duplicate"),
    "G": gettext_lazy("gap"),
    "I": gettext_lazy("internal consistency"),
    "K": gettext_lazy("streak or frequent value"),
    "L": gettext_lazy("length of a multi-day period"),
    "M": gettext_lazy("too large"),
    "N": gettext_lazy("naught"),
    "O": gettext_lazy("outlier of the climate"),
    "R": gettext_lazy("lagged range"),
    "S": gettext_lazy("spatial consistency"),
    "T": gettext_lazy("temporal consistency"),
    "W": gettext_lazy("too warm for snow"),
    "X": gettext_lazy("bounds"),
    "Z": gettext_lazy("found wrong later"),
}
#: How a line of the fixed form begins: station, year and month, element.
FIXED = re.compile(r"([A-Z]{2}[A-Z0-9_-]{9})((?:1[7-9]|20|21)\d{2})(\d{2})([A-Z]{4}|[A-Z]{2}\d{2})")
_STATION = re.compile(r"[A-Z]{2}[A-Z0-9_-]{9}$")
_ELEMENT = re.compile(r"([A-Z]{4}|[A-Z]{2}\d{2})$")
_FIXED_START, _FIXED_CELL = 21, 8  # characters


class _Cell(NamedTuple):
    line: int
    text: str
    station: str
    day: int | None  # since 1970-01-01
    element: str
    value: str
    measured: str  # measurement flag
    failed: str  # quality flag
    clock: str  # HHMM or ""
    date: str


class _Found(NamedTuple):
    line: int
    text: str
    start_s: int
    end_s: int
    kind: int
    depth_um: int
    typed: str
    why: str


def looks_by_year(rows: Sequence[Row]) -> bool:
    """Whether most rows are station, yyyymmdd, element, value, flags."""
    filled = [cells for _line, cells, wrong in rows[:200] if not wrong]
    hits = sum(map(_is_by_year, filled))
    return hits > 0 and hits >= 0.8 * (len(filled) - 1)


def _is_by_year(cells: list[str]) -> bool:
    return (
        len(cells) in (7, 8)
        and _STATION.match(cells[0].strip()) is not None
        and len(cells[1].strip()) == 8
        and day_number(cells[1].strip()) is not None
        and _ELEMENT.match(cells[2].strip()) is not None
    )


def names_station(cells: Sequence[str]) -> bool:
    """Whether a row by year begins with a station, as a heading does not."""
    return FIXED.match(cells[0]) is not None or _STATION.match(cells[0].strip()) is not None


def looks_daily(cells: Sequence[str]) -> bool:
    """Whether a heading is that of one row a day with a column of values and one of flags for each element."""
    names = {cell.strip().upper() for cell in cells}
    return {"STATION", "DATE"} <= names and any(
        {element, f"{element}_ATTRIBUTES"} <= names for element in (RAIN, TOTAL)
    )


def looks_fixed(lines: Sequence[str]) -> bool:
    filled = [line for line in lines[:200] if line.strip()]
    return bool(filled) and sum(FIXED.match(line) is not None for line in filled) >= 0.8 * len(
        filled
    )


def stations_in(rows: Sequence[Row], form: str, columns: Sequence[str]) -> list[str]:
    """The stations that some rows name, in their order."""
    if form == FileFormat.GHCN_FIXED:
        found = [cells[0][:11] for _line, cells, _wrong in rows if FIXED.match(cells[0])]
    else:
        at = 0 if form == FileFormat.GHCN_BY_YEAR else _places(columns)["STATION"]
        found = [cells[at].strip() for _line, cells, wrong in rows if not wrong and len(cells) > at]
        found = [name for name in found if _STATION.match(name)] or found
    return list(dict.fromkeys(name for name in found if name))


def _places(columns: Sequence[str]) -> dict[str, int]:
    return {name.strip().upper(): n for n, name in enumerate(columns)}


class GhcnReader:
    """Turns rows of a GHCN-Daily file into readings of the gauges whose stations it names.

    The day is the 24 hours that end at the observation time written, else at the gauge's hour. A value with a quality flag is
    refused and listed. MDPR with its DAPR is one total of several days; nothing is said of the days before it.
    """

    def __init__(self, form: str, layouts: dict[str, tuple[Gauge, Layout]]) -> None:
        self.form = form
        self.gauges = layouts
        self.ignored: Counter[str] = Counter()
        #: half of a total: by gauge and day the cell of MDPR or DAPR that came first
        self.halves: dict[tuple[int, int], _Cell] = {}
        #: day and end of each gauge's last observation
        self.last: dict[int, tuple[int, int]] = {}
        self.ends: dict[tuple[int, int, str], int] = {}
        first = next(iter(layouts.values()))[1]
        self.places = _places(first.columns)

    def read(self, rows: list[Row]) -> dict[Gauge, Block]:
        found: dict[str, list[_Found]] = {station: [] for station in self.gauges}
        skipped = 0
        for row in rows:
            line, cells, wrong = row
            if not wrong and len(cells) < self._width():
                wrong = _("The row has fewer columns than the heading.")
            if wrong:
                text = ", ".join(cells)[:300]
                next(iter(found.values())).append(
                    _Found(line, text, 0, 0, MISSING, NO_DEPTH, "", wrong)
                )
                continue
            own = False
            for cell in self._cells(line, cells):
                gauge_layout = self.gauges.get(cell.station)
                if gauge_layout is None:
                    break
                own = True
                found[cell.station] += self._take(cell, *gauge_layout)
            skipped += not own
        return self._blocks(found, skipped)

    def end(self, size: int) -> Iterator[dict[Gauge, Block]]:
        """Totals whose number of days never came."""
        found: dict[str, list[_Found]] = {station: [] for station in self.gauges}
        for cell in self.halves.values():
            if cell.element == TOTAL:
                found[cell.station].append(
                    self._refuse(
                        cell, _("A total of several days without the number of days (DAPR).")
                    )  # fmt: skip
                )
        self.halves = {}
        yield self._blocks(found, 0)

    def notes(self) -> list[str]:
        if not self.ignored:
            return []
        names = [name for name, _count in self.ignored.most_common(NAMED_ELEMENTS)]
        more = ", …" if len(self.ignored) > NAMED_ELEMENTS else ""
        return [
            _("%(count)s values of other elements were passed over (%(names)s).")
            % {
                "count": number_text(self.ignored.total()),
                "names": ", ".join(names) + more,
            }
        ]

    def _width(self) -> int:
        if self.form == FileFormat.GHCN_BY_YEAR:
            return 4
        return 1 if self.form == FileFormat.GHCN_FIXED else self._daily_width()

    def _daily_width(self) -> int:
        return max(self.places["STATION"], self.places["DATE"]) + 1

    def _cells(self, line: int, cells: list[str]) -> Iterable[_Cell]:
        if self.form == FileFormat.GHCN_BY_YEAR:
            return self._by_year(line, cells)
        if self.form == FileFormat.GHCN_FIXED:
            return self._fixed(line, cells[0])
        return self._daily(line, cells)

    def _by_year(self, line: int, cells: list[str]) -> Iterator[_Cell]:
        station = cells[0].strip()
        if station not in self.gauges:
            return
        part = [cell.strip() for cell in cells] + [""] * 4
        yield _Cell(
            line, ", ".join(cells), station, day_number(part[1]), part[2], part[3], part[4], part[5], part[7], part[1]
        )  # fmt: skip

    def _daily(self, line: int, cells: list[str]) -> Iterator[_Cell]:
        station = cells[self.places["STATION"]].strip()
        if station not in self.gauges:
            return
        day = cells[self.places["DATE"]].strip()
        text = ", ".join(cell.strip() for cell in cells)
        empty = True
        for element in (RAIN, TOTAL, DAYS):
            at, flags_at = self.places.get(element), self.places.get(f"{element}_ATTRIBUTES")
            value = cells[at].strip() if at is not None and at < len(cells) else ""
            if not value:
                continue
            empty = False
            flags = cells[flags_at] if flags_at is not None and flags_at < len(cells) else ""
            flag = [part.strip() for part in flags.split(",")] + [""] * 4
            yield _Cell(
                line, text, station, day_number(day), element, value, flag[0], flag[1], flag[3], day
            )
        if empty:
            yield _Cell(line, text, station, day_number(day), RAIN, NO_VALUE, "", "", "", day)  # fmt: skip

    def _fixed(self, line: int, text: str) -> Iterator[_Cell]:
        found = FIXED.match(text)
        station = text[:11].strip()
        if station not in self.gauges:
            return
        if found is None:
            yield _Cell(line, text, station, None, RAIN, "", "", "", "", text[11:17])
            return
        year, month, element = found[2], found[3], found[4]
        for n in range(31):
            at = _FIXED_START + n * _FIXED_CELL
            part = text[at : at + _FIXED_CELL].ljust(_FIXED_CELL)
            day = f"{year}{month}{n + 1:02}"
            number = day_number(day)
            value = part[:5].strip()
            if number is None and value in ("", NO_VALUE):
                continue  # the 31st of June
            yield _Cell(line, f"{station} {day} {element} {part.strip()}", station, number, element, value or NO_VALUE, part[5].strip(), part[6].strip(), "", day)  # fmt: skip

    def _take(self, cell: _Cell, gauge: Gauge, layout: Layout) -> Iterator[_Found]:
        if cell.element not in (RAIN, TOTAL, DAYS):
            self.ignored[cell.element] += 1
            return
        if cell.element != RAIN and cell.value == NO_VALUE:
            return
        if cell.day is None:
            yield self._refuse(cell, _("“%s” is not a time.") % cell.date[:40])
            return
        if cell.element == RAIN:
            yield self._day(cell, gauge, layout)
            return
        key = (gauge.pk, cell.day)
        other = self.halves.get(key)
        if other is None or other.element == cell.element:
            if other is not None and other.element == TOTAL:
                yield self._refuse(other, _("The total of these days is there twice."))
            self.halves[key] = cell
            return
        del self.halves[key]
        total, days = (cell, other) if cell.element == TOTAL else (other, cell)
        yield self._several_days(total, days, gauge, layout)

    def _day(self, cell: _Cell, gauge: Gauge, layout: Layout) -> _Found:
        end_s, start_s = self._span(cell, 1, gauge, layout)
        if cell.failed:
            return self._refuse(cell, _failed(cell.failed))
        if cell.measured == "A":
            return self._refuse(cell, _("A total of several days that does not say of how many."))
        kind, depth_um, typed, why = self._value(cell, layout)
        if cell.measured == "T" and not why and kind != MISSING:
            if depth_um:
                why = _("A trace with a depth.")
            kind, typed = KINDS.index(ReadingKind.TRACE), "T"
        elif cell.measured == "P" and not depth_um:
            kind, depth_um, typed = MISSING, NO_DEPTH, "P"  # missing presumed zero: missing
        return _Found(cell.line, cell.text, start_s, end_s, kind, depth_um, typed, why)

    def _several_days(self, total: _Cell, days: _Cell, gauge: Gauge, layout: Layout) -> _Found:
        failed = total.failed or days.failed
        if failed:
            return self._refuse(total, _failed(failed))
        if not (days.value.isascii() and days.value.isdigit() and 0 < int(days.value[:4]) <= 366):
            return self._refuse(total, _("“%s” is not a number of days.") % days.value[:40])
        end_s, start_s = self._span(total, int(days.value), gauge, layout)
        kind, depth_um, typed, why = self._value(total, layout)
        if total.measured == "T" and not depth_um:
            kind, typed = KINDS.index(ReadingKind.TRACE), "T"
        return _Found(total.line, total.text, start_s, end_s, kind, depth_um, typed, why)

    def _value(self, cell: _Cell, layout: Layout) -> tuple[int, int, str, str]:
        if cell.value == NO_VALUE:
            return MISSING, NO_DEPTH, NO_VALUE, ""
        text = cell.value
        if layout.tenths:
            if not re.fullmatch(r"-?\d{1,9}", text):
                return MISSING, NO_DEPTH, "", _("“%s” is not a whole number of tenths of a millimetre.") % text[:40]  # fmt: skip
            text = f"{int(text) / 10:.1f}"
        amount = read_amount(text, unit=layout.unit)
        if amount.problem:
            return MISSING, NO_DEPTH, "", amount.problem
        depth_um = NO_DEPTH if amount.depth_um is None else amount.depth_um
        return KINDS.index(amount.kind), depth_um, amount.typed, ""

    def _span(self, cell: _Cell, days: int, gauge: Gauge, layout: Layout) -> tuple[int, int]:
        """End and start of the days that a cell is of. Where the hour has changed since the day before, it starts at the old one."""
        assert cell.day is not None
        end_s = self._end(cell.day, cell.clock, gauge, layout)
        start_s = self._end(cell.day - days, cell.clock, gauge, layout)
        last = self.last.get(gauge.pk)
        if last is not None and last[0] == cell.day - days and last[1] < end_s:
            start_s = last[1]
        self.last[gauge.pk] = (cell.day, end_s)
        return end_s, start_s

    def _end(self, day: int, clock: str, gauge: Gauge, layout: Layout) -> int:
        key = (gauge.pk, day, clock)
        if key not in self.ends:
            if len(self.ends) > 50_000:
                self.ends.clear()
            hour, minute = _hour(clock, gauge.observation_hour)
            on = date.fromordinal(day + EPOCH_DAY) + timedelta(days=hour // 24)
            self.ends[key] = seconds(datetime.combine(on, time(hour % 24, minute), layout.zone))
        return self.ends[key]

    def _refuse(self, cell: _Cell, why: str) -> _Found:
        return _Found(cell.line, cell.text, 0, 0, MISSING, NO_DEPTH, "", why)

    def _blocks(self, found: dict[str, list[_Found]], skipped: int) -> dict[Gauge, Block]:
        blocks = {}
        for station, rows in found.items():
            line, text, start_s, end_s, kind, depth_um, typed, why = (
                zip(*rows, strict=True) if rows else ((),) * 8
            )
            blocks[self.gauges[station][0]] = Block(
                line=np.array(line, dtype=np.int64),
                start_s=np.array(start_s, dtype=np.int64),
                end_s=np.array(end_s, dtype=np.int64),
                kind=np.array(kind, dtype=np.int64),
                depth_um=np.array(depth_um, dtype=np.int64),
                typed=list(typed),
                text=list(text),
                why={n: sentence for n, sentence in enumerate(why) if sentence},
                skipped=skipped,
            )
        return blocks


def _failed(flag: str) -> str:
    return _("The source marks the value as failing a check: %(what)s (%(flag)s).") % {
        "what": FAILED.get(flag, _("unknown check")),
        "flag": flag,
    }


def _hour(clock: str, gauge_hour: int | None) -> tuple[int, int]:
    """Hour and minute at which a day ends: as written; near the gauge's hour, that; as nothing or nonsense, that or midnight."""
    usual = 24 if gauge_hour is None else gauge_hour
    if not re.fullmatch(r"\d{3,4}", clock):
        return usual, 0
    hour, minute = divmod(int(clock), 100)
    if hour > 24 or minute > 59 or (hour == 24 and minute):
        return usual, 0
    if gauge_hour is not None and abs(hour * 3600 + minute * 60 - gauge_hour * HOUR_S) <= DAILY_SLACK_S:  # fmt: skip
        return gauge_hour, 0
    return hour, minute
