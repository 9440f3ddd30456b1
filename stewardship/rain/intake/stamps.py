"""Times in a file, from what is written to seconds since 1970.

Read in columns of many thousand rows: each spelling of a date or clock time is looked up once, and a zone's offset once for each
day.
"""

import re
from collections.abc import Callable, Sequence
from datetime import date, datetime, timedelta
from datetime import timezone as fixed_zone
from datetime import tzinfo as TimeZone

import numpy as np
from django.utils.translation import gettext as _

from stewardship.hydrology.units import BoolArray, IntArray
from stewardship.rain.times import DAY_S, instant

EPOCH_DAY = date(1970, 1, 1).toordinal()
FIRST_YEAR, LAST_YEAR = 1800, 2200  # outside, it is a slip or another kind of number
TWO_DIGIT_PIVOT = 69  # 69 to 99 are 1969 to 1999, as POSIX strptime reads them
KEPT_SPELLINGS = 50_000  # forgotten beyond that, so that a long file does not fill the memory
NO_OFFSET = DAY_S * 2  # stands for "no offset written"; real ones are under a day
NO_CLOCK = -1  # stands for "only a date written"
CLOCKS = 1 << 20  # a clock time is kept together with its offset, as time * CLOCKS + offset
UNREADABLE = -(1 << 60)

_YEAR_FIRST = re.compile(r"(\d{4})[-/.](\d{1,2})[-/.](\d{1,2})$")
_RUN_TOGETHER = re.compile(r"(\d{4})(\d{2})(\d{2})$")
_YEAR_LAST = re.compile(r"(\d{1,2})([-/.])(\d{1,2})\2(\d{4}|\d{2})$")
_NAMED_MONTH = re.compile(r"(\d{1,2})-([A-Za-z]{3})[a-z]*-(\d{4}|\d{2})$")
_MONTHS = {
    name: n
    for n, name in enumerate(
        ["jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec"],
        start=1,
    )
}
_CLOCK = re.compile(
    r"(\d{1,2}):?(\d{2})(?::(\d{2})(?:[.,]\d+)?)?\s*([AaPp])?(?(4)\.?[Mm]\.?)"
    r"\s*(Z|z|UTC|GMT|[+-]\d{2}(?::?\d{2})?)?$"
)
_OFFSET = re.compile(r"([+-])(\d{2}):?(\d{2})?$")


def day_number(text: str, *, day_first: bool = False) -> int | None:
    """Days from 1970-01-01 to a written date; None if it is none. `day_first`: 3/4/2026 is the third of April."""
    if found := _YEAR_FIRST.match(text) or _RUN_TOGETHER.match(text):
        year, month, day = (int(part) for part in found.groups())
    elif found := _YEAR_LAST.match(text):
        one, mark, other = int(found[1]), found[2], int(found[3])
        # A date with dots is written day first wherever people write dates with dots.
        day, month = (one, other) if day_first or mark == "." else (other, one)
        year = _full_year(found[4])
    elif found := _NAMED_MONTH.match(text):
        day, month, year = int(found[1]), _MONTHS.get(found[2].lower(), 0), _full_year(found[3])
    else:
        return None
    if not FIRST_YEAR <= year <= LAST_YEAR:
        return None
    try:
        return date(year, month, day).toordinal() - EPOCH_DAY
    except ValueError:
        return None


def order_matters(text: str) -> bool:
    """Whether a written date has two numbers before the year of which either may be the day."""
    found = _YEAR_LAST.match(text)
    return found is not None and found[2] != "."


def _full_year(text: str) -> int:
    year = int(text)
    if len(text) == 4:
        return year
    return year + (1900 if year >= TWO_DIGIT_PIVOT else 2000)


def clock_time(text: str) -> tuple[int, int] | None:
    """Seconds since midnight, and offset from UTC (`NO_OFFSET` if none is written), of a clock time; None if it is none. [s]"""
    found = _CLOCK.match(text)
    if not found:
        return None
    hour, minute, second = int(found[1]), int(found[2]), int(found[3] or 0)
    if half := found[4]:
        if not 1 <= hour <= 12:
            return None
        hour = hour % 12 + (12 if half in "pP" else 0)
    since_midnight_s = hour * 3600 + minute * 60 + second
    if minute > 59 or second > 59 or since_midnight_s > DAY_S:  # 24:00 is the end of the day
        return None
    ahead_s = written_offset(found[5]) if found[5] else NO_OFFSET
    return None if ahead_s is None else (since_midnight_s, ahead_s)


def written_offset(text: str) -> int | None:
    """Seconds that a written offset is ahead of UTC ("-07:00", "+0530", "Z"); None if it is none."""
    if text.upper() in ("Z", "UTC", "GMT"):
        return 0
    found = _OFFSET.match(text)
    if not found or int(found[2]) > 14 or int(found[3] or 0) > 59:
        return None
    ahead_s = int(found[2]) * 3600 + int(found[3] or 0) * 60
    return -ahead_s if found[1] == "-" else ahead_s


def zone_of_offset(ahead_s: int) -> TimeZone:
    return fixed_zone(timedelta(seconds=ahead_s))


def parts(text: str) -> tuple[str, str]:
    """The date and the clock time of a stamp; the second is empty where there is only a date."""
    text = text.strip()
    if text[10:11] == "T":  # 2026-07-14T15:05
        return text[:10], text[11:]
    if text[8:9] == "T":  # 20260714T1505
        return text[:8], text[9:]
    day, _space, clock = text.partition(" ")
    return day.rstrip(","), clock.strip()


class _Spellings(dict):
    """A whole number for each spelling, worked out once; UNREADABLE for one that means nothing."""

    def __init__(self, read: Callable[[str], int | None]) -> None:
        super().__init__()
        self.read = read

    def __missing__(self, text: str) -> int:
        if len(self) >= KEPT_SPELLINGS:
            self.clear()
        value = self.read(text)
        number = self[text] = UNREADABLE if value is None else value
        return number


def _packed_clock(text: str) -> int | None:
    """A clock time and its offset in one whole number; no text is midnight without an offset, and marked."""
    if not text:
        return NO_CLOCK * CLOCKS + NO_OFFSET
    found = clock_time(text)
    return None if found is None else found[0] * CLOCKS + found[1]


class StampReader:
    """Reads one column of stamps from top to bottom.

    Stamps that carry an offset are instants already; the others show the wall clock of `zone`. Where clocks go back, the hour
    that they show twice is told apart by the order of the rows.
    """

    def __init__(self, zone: TimeZone, *, day_first: bool = False) -> None:
        self.zone = zone
        self.days = _Spellings(lambda text: day_number(text, day_first=day_first))
        self.clocks = _Spellings(_packed_clock)
        self.day_offsets: dict[int, int | None] = {}
        self.last_s: int | None = None
        self.rising: bool | None = None

    def spelled(self, texts: Sequence[str]) -> tuple[IntArray, IntArray, IntArray, BoolArray]:
        """Day number, seconds since midnight (NO_CLOCK: only a date), offset and readability of each stamp."""
        pairs = [parts(text) for text in texts]
        day = np.array([self.days[pair[0]] for pair in pairs], dtype=np.int64)
        packed = np.array([self.clocks[pair[1]] for pair in pairs], dtype=np.int64)
        readable = (day != UNREADABLE) & (packed != UNREADABLE)
        day[~readable], packed[~readable] = 0, NO_CLOCK * CLOCKS + NO_OFFSET
        # An offset is less than half of CLOCKS either way, so rounding finds the time.
        clock_s = (packed + CLOCKS // 2) // CLOCKS
        return day, clock_s, packed - clock_s * CLOCKS, readable

    def instants(
        self, day: IntArray, clock_s: IntArray, ahead_s: IntArray, readable: BoolArray
    ) -> tuple[IntArray, dict[int, str]]:
        """Instants of what `spelled` gave, and by row number why one has none. A date alone is its midnight. [s]"""
        wall_s = day * DAY_S + np.maximum(clock_s, 0)
        offset_s = ahead_s.copy()
        local = np.flatnonzero((ahead_s == NO_OFFSET) & readable)
        local_day = wall_s[local] // DAY_S
        known_days, place = np.unique(local_day, return_inverse=True)
        offsets = [self._offset_of_day(int(number)) for number in known_days]
        plain = np.array([offset is not None for offset in offsets], dtype=bool)
        plain_s = np.array([offset or 0 for offset in offsets], dtype=np.int64)
        if local.size:
            offset_s[local] = plain_s[place]
        found_s = wall_s - offset_s
        problems: dict[int, str] = {}
        if not plain.all():
            for row in local[~plain[place]]:
                before = np.flatnonzero(readable[:row])
                before_s = int(found_s[before[-1]]) if before.size else self.last_s
                self._on_a_day_of_change(int(row), before_s, wall_s, found_s, problems)
        good = found_s[readable]
        if good.size > 1 and self.rising is None:
            self.rising = bool(good[-1] >= good[0])
        if good.size:
            self.last_s = int(good[-1])
        return found_s, problems

    def _offset_of_day(self, number: int) -> int | None:
        """How far the zone is ahead of UTC all through a day; None on a day when the clocks change. [s]"""
        if number not in self.day_offsets:
            first = datetime.fromordinal(number + EPOCH_DAY).replace(tzinfo=self.zone)
            at_start, at_end = first.utcoffset(), (first + timedelta(days=1)).utcoffset()
            same = at_start == at_end and at_start is not None
            self.day_offsets[number] = int(at_start.total_seconds()) if same else None
        return self.day_offsets[number]

    def _on_a_day_of_change(
        self,
        row: int,
        before_s: int | None,
        wall_s: IntArray,
        found_s: IntArray,
        problems: dict[int, str],
    ) -> None:
        day, since_midnight_s = divmod(int(wall_s[row]), DAY_S)
        shown = datetime.fromordinal(day + EPOCH_DAY) + timedelta(seconds=since_midnight_s)
        both = [shown.replace(tzinfo=self.zone, fold=fold).timestamp() for fold in (0, 1)]
        back = [instant(int(s)).astimezone(self.zone).replace(tzinfo=None) for s in both]
        if shown not in back:
            problems[row] = _(
                "The clocks skipped %(clock)s on %(day)s. If the gauge stays on standard time, name its zone, e.g. -07:00."
            ) % {"clock": f"{shown:%H:%M}", "day": f"{shown:%Y-%m-%d}"}
            found_s[row] = int(both[0])
            return
        falling = self.rising is False or (
            self.rising is None and len(found_s) > 1 and wall_s[0] > wall_s[-1]
        )
        first, second = (int(s) for s in (reversed(both) if falling else both))
        passed = before_s is not None and (before_s <= first if falling else before_s >= first)
        fits = before_s is not None and (before_s > second if falling else before_s < second)
        found_s[row] = second if passed and fits else first
