"""What the rows of a table are: depths of intervals, a running total, or tips of a bucket; told by headings and by values."""

from collections.abc import Sequence

from django.utils.translation import gettext as _

from stewardship.common.errors import Refused
from stewardship.rain.choices import FileFormat
from stewardship.rain.intake.amounts import MOST_COUNTED_UM, read_amount
from stewardship.rain.intake.columns import is_number, named_column, tokens

NO_COLUMN = -1
#: What the second column of a file of tips may hold.
COUNT, NUMBER, DEPTH = "count", "number", "depth"
#: Rows that must be there before values alone make a running total of a column; common practice, no source.
LEAST_COUNTED = 24
#: A counter that falls to this share of what it showed, or less, began again; common practice, no source.
NEAR_ZERO_SHARE = 0.1

_COUNTER_WORDS = frozenset(
    [
        "cum",
        "cumul",
        "cumulative",
        "counter",
        "running",
        "accum",
        "accumulated",
        "ytd",
        "mtd",
        "since",
        "today",
    ]
)
_RAIN_STARTS = ("precip", "prcp", "rain", "ppt", "pcp", "depth", "amount", "total")
_NUMBER_WORDS = frozenset(["no", "nr", "num", "number", "id", "index"])
_TIP_WORDS = frozenset(["tip", "tips"])


def counter_column(columns: Sequence[str], taken: Sequence[int]) -> int | None:
    """The one column whose heading speaks of a running total, if there is one."""
    named = [
        n
        for n, name in enumerate(columns)
        if n not in taken and _COUNTER_WORDS.intersection(tokens(name))
    ]
    rain = [n for n in named if any(t.startswith(_RAIN_STARTS) for t in tokens(columns[n]))]
    found = rain or named
    return found[0] if len(found) == 1 else None


def looks_counted(texts: Sequence[str], unit: str) -> bool:
    """Whether values only rise, but for falls to near zero, as rain of intervals never does for long."""
    amounts = [read_amount(text, unit=unit, most_um=MOST_COUNTED_UM) for text in texts[:2000]]
    values = [a.depth_um for a in amounts if not a.problem and a.depth_um is not None]
    if len(values) < LEAST_COUNTED:
        return False
    if values[0] > values[-1]:
        values.reverse()  # the newest row comes first
    rises = stays = 0
    for before, after in zip(values, values[1:], strict=False):
        if after > before:
            rises += 1
        elif after == before:
            stays += bool(after)
        elif after > before * NEAR_ZERO_SHARE:
            return False
    return rises >= 3 and stays > 0 and values.count(0) <= len(values) // 2


def looks_like_single_tips(texts: Sequence[str], unit: str, resolution_um: int) -> bool:
    """Whether every depth is just what the gauge can show at the least, as a logger writes that has a row for each tip."""
    amounts = [read_amount(text, unit=unit) for text in texts[:2000]]
    return len(amounts) > 2 and all(a.depth_um == resolution_um and not a.problem for a in amounts)


def speaks_of_tips(columns: Sequence[str]) -> bool:
    return len(columns) == 1 or any(_TIP_WORDS.intersection(tokens(name)) for name in columns)


def tip_column(
    columns: Sequence[str], body: Sequence[list[str]], wish: str, taken: Sequence[int]
) -> tuple[int, str]:
    """The column that says more of a tip than its time, and what: its number, how many tips, or their depth."""
    if wish:
        column = named_column(columns, wish)
    else:
        others = [n for n in range(len(columns)) if n not in taken]
        named = [n for n in others if _TIP_WORDS.intersection(tokens(columns[n]))]
        rain = [n for n in others if any(t.startswith(_RAIN_STARTS) for t in tokens(columns[n]))]
        found = named or rain
        if not found:
            return NO_COLUMN, ""
        column = found[0]
    cells = [cells[column] for cells in body if len(cells) > column and cells[column]]
    if not cells or not any(is_number(cell) for cell in cells):
        return NO_COLUMN, ""
    if not all(cell.isascii() and cell.isdigit() for cell in cells if is_number(cell)):
        return column, DEPTH
    numbers = [int(cell) for cell in cells if is_number(cell)]
    steps = [b - a for a, b in zip(numbers, numbers[1:], strict=False)]
    numbered = _NUMBER_WORDS.intersection(tokens(columns[column]))
    return column, NUMBER if numbered or _counts_on(steps) or _counts_on(
        [-s for s in steps]
    ) else COUNT


def _counts_on(steps: Sequence[int]) -> bool:
    """Whether numbers go on one by one, but for a few that are there twice or lacking."""
    ones = sum(step == 1 for step in steps)
    return ones >= 2 and ones > len(steps) / 2 and all(step >= 0 for step in steps)


def tip_depth_um(wish: str, resolution_um: int, unit: str) -> int:
    """Depth of one tip: as the person says, or what the gauge can show at the least. [µm]"""
    if not wish:
        return resolution_um
    amount = read_amount(wish, unit=unit)
    if amount.problem or not amount.depth_um:
        raise Refused(_("“%s” is not the depth of a tip, e.g. 0.01 in or 0.2 mm.") % wish)
    return amount.depth_um


def checked_format(wish: str) -> str:
    if wish and wish not in FileFormat.values:
        raise Refused(_("“%s” is not a kind of file that is known here.") % wish)
    return wish
