"""Depths as people and loggers write them, from text to a kind and whole micrometres."""

import re
from decimal import Decimal, InvalidOperation
from typing import NamedTuple

from django.utils.translation import gettext as _

from stewardship.common.units import in_to_um, mm_to_um, um_to_mm
from stewardship.rain.choices import DepthUnit, ReadingKind

TYPED_LENGTH = 16  # as long as Reading.typed
MISSING_WORDS = frozenset(
    {"", "m", "na", "n/a", "nan", "null", "none", "-", "--", "---", "missing"}
)
# Numbers that loggers write for "no value"; common practice, GHCN-Daily and USCRN write -9999 (NOAA readme files).
MISSING_NUMBERS = frozenset({-99, -999, -9999, -99999})
#: The same above zero, in files of hourly rain: NOAA/NCEI, documentation of hourly precipitation data (DSI-3240).
MISSING_ABOVE = 99_999
TRACE_WORDS = frozenset({"t", "tr", "trace"})
MOST_UM = 10_000_000  # [µm] 10 m: beyond it a number is no rain of any interval, and would not fit the column
MOST_COUNTED_UM = 1_000_000_000  # [µm] 1 km: a counter that nobody sets back goes on for decades

_NUMBER = re.compile(r"([+-]?(?:\d+(?:[.,]\d+)?|[.,]\d+)(?:[eE][+-]?\d+)?)\s*(.*)$")
_UNIT_WORDS = {
    "in": DepthUnit.INCH,
    "in.": DepthUnit.INCH,
    "inch": DepthUnit.INCH,
    "inches": DepthUnit.INCH,
    '"': DepthUnit.INCH,
    "″": DepthUnit.INCH,
    "mm": DepthUnit.MM,
}


class Amount(NamedTuple):
    """A depth as understood. `problem` is a sentence where it was not; the rest then means nothing."""

    kind: str
    depth_um: int | None
    typed: str
    problem: str = ""


def read_amount(text: str, *, unit: str, most_um: int = MOST_UM) -> Amount:
    """What a written depth says: a number with or without a unit, T for a trace, nothing or M for missing.

    `most_um` is the most that the number can mean: of rain, or of a counter's running total. A comma is a decimal comma. Zero is dry; below zero is refused, except for the numbers that loggers write for "no value".
    """
    said = text.strip()
    word = said.lower()
    if word in MISSING_WORDS:
        return Amount(ReadingKind.MISSING, None, said[:TYPED_LENGTH])
    if word in TRACE_WORDS:
        return Amount(ReadingKind.TRACE, 0, "T")
    found = _NUMBER.match(said)
    given = _UNIT_WORDS.get(found[2].strip().lower()) if found and found[2] else unit
    if not found or given is None:
        return _refused(_("“%s” is not a depth.") % said[:40])
    try:
        number = Decimal(found[1].replace(",", "."))
    except InvalidOperation:
        return _refused(_("“%s” is not a depth.") % said[:40])
    if number < 0:
        if number.to_integral_value(rounding="ROUND_DOWN") in MISSING_NUMBERS:
            return Amount(ReadingKind.MISSING, None, said[:TYPED_LENGTH])
        return _refused(_("“%s” is below zero; rain is not.") % said[:40])
    if number == MISSING_ABOVE and most_um == MOST_UM:
        return Amount(ReadingKind.MISSING, None, said[:TYPED_LENGTH])
    if number > most_um:
        return _refused(_("“%s” is more than can fall.") % said[:40])
    depth_um = in_to_um(number) if given == DepthUnit.INCH else mm_to_um(number)
    if depth_um > most_um:
        return _refused(_("“%s” is more than can fall.") % said[:40])
    kind = ReadingKind.MEASURED if depth_um else ReadingKind.ZERO
    return Amount(kind, depth_um, f"{found[1]} {given}"[:TYPED_LENGTH])


def read_tips(text: str, *, tip_um: int) -> Amount:
    """What a count of tips says; each of them is `tip_um`. [µm]"""
    said = text.strip()
    if said.lower() in MISSING_WORDS:
        return Amount(ReadingKind.MISSING, None, said[:TYPED_LENGTH])
    if not (said.isascii() and said.isdigit()):
        return _refused(_("“%s” is not a number of tips.") % said[:40])
    depth_um = int(said[:12]) * tip_um
    if depth_um > MOST_UM:
        return _refused(_("“%s” is more than can fall.") % said[:40])
    kind = ReadingKind.MEASURED if depth_um else ReadingKind.ZERO
    return Amount(kind, depth_um, tips_typed(int(said), tip_um))


def tips_typed(tips: int, tip_um: int) -> str:
    """Tips as they are kept beside a depth: "3 × 0.254 mm"."""
    return f"{tips} × {um_to_mm(tip_um).normalize():f} mm"[:TYPED_LENGTH]


def _refused(problem: str) -> Amount:
    return Amount("", None, "", problem)
