"""Which columns of a table hold the time, the depth and the gauge's name, told by their headings and by what stands in them."""

import re
from collections.abc import Callable, Sequence

from django.utils.translation import gettext as _

from stewardship.common.errors import Refused
from stewardship.rain.intake.csvfile import Row
from stewardship.rain.intake.stamps import clock_time, day_number, parts

HEADER_WITHIN = 40  # lines; loggers write names and settings above the table
#: share of a column's cells that must be readable for it to count as one of times or numbers; less if its name says so too
ENOUGH, NAMED_ENOUGH = 0.8, 0.5

_TIME_WORDS = ("time", "date", "stamp", "day", "observed", "epoch")
_CLOCK_WORDS = ("time", "hour", "clock")
_RAIN_WORDS = ("precip", "prcp", "rain", "ppt", "pcp")
_AMOUNT_WORDS = ("depth", "amount")
# Columns that speak of rain but are not the depth of the row's own interval.
_NOT_DEPTH = frozenset(
    [
        "rate",
        "intensity",
        "prob",
        "probability",
        "chance",
        "flag",
        "flags",
        "type",
        "kind",
        "qc",
        "quality",
        "cum",
        "cumulative",
        "cumul",
        "counter",
        "running",
        "ytd",
        "mtd",
        "event",
        "monthly",
        "yearly",
        "storm",
        "snow",
        "water",
        "temp",
        "year",
        "month",
        "code",
        "since",
        "today",
    ]
)
_SINCE_1970 = re.compile(r"\d{9,10}(\.\d+)?$|\d{13}$")
_SERIAL_DAY = re.compile(r"[2-7]\d{4}([.,]\d+)?$")  # from 1954 to 2119
_ZONE_NAME = re.compile(r"\s*\b[A-Z]{3,5}$")
_NUMBER = re.compile(r"[+-]?(\d+([.,]\d*)?|[.,]\d+)$")


def same_value(cell: str, value: str) -> bool:
    return cell.strip().casefold() == value.casefold()


def tokens(name: str) -> list[str]:
    return re.findall(r"[a-z]+", name.lower())


def _speaks_of(name: str, words: tuple[str, ...]) -> bool:
    return any(token.startswith(words) for token in tokens(name))


def _names_depth(name: str, words: tuple[str, ...]) -> bool:
    return _speaks_of(name, words) and not _NOT_DEPTH.intersection(tokens(name))


def is_stamp(text: str) -> bool:
    day, clock = parts(text)
    known = day_number(day) is not None or day_number(day, day_first=True) is not None
    return known and (not clock or clock_time(clock) is not None)


def is_number(text: str) -> bool:
    return _NUMBER.match(text) is not None


def share_of(body: Sequence[list[str]], column: int, test: Callable[[str], bool]) -> float:
    """Share of a column's filled cells that pass a test; 0 where none is filled."""
    cells = [cells[column] for cells in body[:1000] if len(cells) > column and cells[column]]
    return sum(map(test, cells)) / len(cells) if cells else 0.0


def columns_and_body(
    rows: Sequence[Row], time_wish: str, depth_wish: str
) -> tuple[list[str], int, list[list[str]]]:
    """The columns' names, the line of the heading (0 without one), and the cells of the rows below it. Refuses a file without any."""
    table = [(line, [cell.strip() for cell in cells]) for line, cells, wrong in rows if not wrong]
    header, columns = find_header(table, time_wish, depth_wish)
    skip = 0 if header is None else table[header][0]
    body = [cells for line, cells in table if line > skip]
    if not body:
        raise Refused(_("The file has a heading but no readings."))
    return columns, skip, body


def find_header(
    table: Sequence[tuple[int, list[str]]], time_wish: str, depth_wish: str
) -> tuple[int | None, list[str]]:
    """Place of the heading row, and the columns' names; "column 1", … for a file without one."""
    for place, (_line, cells) in enumerate(table[:HEADER_WITHIN]):
        wished = [name.casefold() for name in (time_wish, depth_wish) if name]
        named = {cell.casefold() for cell in cells}
        if (wished and named.issuperset(wished)) or (
            any(_speaks_of(cell, _TIME_WORDS) for cell in cells)
            and (wished or any(_names_depth(c, _RAIN_WORDS + _AMOUNT_WORDS) for c in cells))
        ):
            return place, cells
    width = max((len(cells) for _line, cells in table), default=0)
    before = [
        place for place, (_line, cells) in enumerate(table) if any(is_stamp(cell) for cell in cells)
    ]
    if before and before[0] > 0 and len(table[before[0] - 1][1]) == len(table[before[0]][1]):
        return before[0] - 1, table[before[0] - 1][1]  # the row above the first stamp names columns
    if not before and table and not any(is_number(cell) for cell in table[0][1]):
        return 0, table[0][1]
    return None, [_("column %s") % (n + 1) for n in range(width)]


def listed(columns: Sequence[str]) -> str:
    shown = ", ".join(name or "?" for name in columns[:20])
    return shown + (", …" if len(columns) > 20 else "")


def named_column(columns: Sequence[str], name: str) -> int:
    for n, column in enumerate(columns):
        if column.casefold() == name.strip().casefold():
            return n
    if name.strip().isdigit() and 1 <= int(name) <= len(columns):
        return int(name) - 1
    raise Refused(
        _("There is no column “%(name)s”. The file has: %(columns)s.")
        % {"name": name, "columns": listed(columns)}
    )


def time_columns_of(
    columns: Sequence[str], body: Sequence[list[str]], wish: str
) -> tuple[int, ...]:
    if wish:
        names = [wish] if wish in columns else wish.split("+")
        wished = tuple(named_column(columns, name) for name in names)
        for n in wished:
            if share_of(body, n, is_stamp) < NAMED_ENOUGH:
                _refuse_other_times(columns, body, (n,))
        return wished
    shares = [share_of(body, n, is_stamp) for n in range(len(columns))]
    named = [
        n
        for n, share in enumerate(shares)
        if share >= NAMED_ENOUGH and _speaks_of(columns[n], _TIME_WORDS)
    ]
    stamped = named or [n for n, share in enumerate(shares) if share >= ENOUGH]
    if not stamped:
        named = tuple(n for n, name in enumerate(columns) if _speaks_of(name, _TIME_WORDS))
        _refuse_other_times(columns, body, named or (0,))
        raise Refused(
            _("No column looks like a time. The file has: %s. Name the time column.")
            % listed(columns)
        )
    full = [
        n for n in stamped if share_of(body, n, lambda cell: bool(parts(cell)[1])) >= NAMED_ENOUGH
    ]
    if full:
        return (full[0],)
    day = stamped[0]
    clocks = [
        n
        for n in range(len(columns))
        if n != day
        and _speaks_of(columns[n], _CLOCK_WORDS)
        and share_of(body, n, lambda cell: clock_time(cell) is not None) >= ENOUGH
    ]
    return (day, clocks[0]) if clocks else (day,)


def _refuse_other_times(
    columns: Sequence[str], body: Sequence[list[str]], places: tuple[int, ...]
) -> None:
    """Refuse, with what to do, times that are numbers or end in the name of a zone, in the columns at these places."""
    for n in places:
        name = columns[n]
        if share_of(body, n, lambda cell: _SINCE_1970.match(cell) is not None) >= ENOUGH:
            raise Refused(
                _(
                    "The times in “%s” are bare numbers, counted from 1970. Save the file again with dates and times in it, such as 2026-07-14 15:00."
                )  # fmt: skip
                % name
            )
        if share_of(body, n, lambda cell: _SERIAL_DAY.match(cell) is not None) >= ENOUGH:
            raise Refused(
                _(
                    "The times in “%s” are bare numbers, as a spreadsheet counts days. Format the column there as date and time, and save it as CSV again."
                )  # fmt: skip
                % name
            )
        if share_of(body, n, lambda cell: is_stamp(_ZONE_NAME.sub("", cell))) >= ENOUGH:
            raise Refused(
                _(
                    "The times in “%s” end in letters for a time zone, and such letters can mean several zones. Take them out, and give the time zone by itself, e.g. America/Denver or -07:00."
                )  # fmt: skip
                % name
            )


def depth_column_of(
    columns: Sequence[str], body: Sequence[list[str]], wish: str, taken: tuple[int, ...]
) -> int:
    if wish:
        return named_column(columns, wish)
    others = [n for n in range(len(columns)) if n not in taken]
    for words in (_RAIN_WORDS, _AMOUNT_WORDS):
        named = [n for n in others if _names_depth(columns[n], words)]
        if len(named) == 1:
            return named[0]
        if named:
            raise Refused(
                _("Several columns may hold the depth: %s. Name the depth column.")
                % listed([columns[n] for n in named])
            )
    numbers = [n for n in others if share_of(body, n, is_number) >= ENOUGH]
    if len(numbers) == 1 and not _NOT_DEPTH.intersection(tokens(columns[numbers[0]])):
        return numbers[0]
    raise Refused(
        _("No column looks like a depth of rain. The file has: %s. Name the depth column.")
        % listed(columns)
    )


def rows_of_gauge(
    columns: Sequence[str],
    body: Sequence[list[str]],
    wish: str,
    gauge_code: str,
    taken: set[int],
) -> tuple[int, str] | None:
    """The column and value that a row of this gauge has: as wished, or where a column holds the gauge's own code."""
    if wish:
        name, sign, value = wish.partition("=")
        if not sign or not value.strip():
            raise Refused(_("“%s” does not say which rows; write column=value.") % wish)
        return named_column(columns, name), value.strip()
    for n in range(len(columns)):
        if n not in taken and any(len(c) > n and same_value(c[n], gauge_code) for c in body):
            return n, gauge_code
    return None
