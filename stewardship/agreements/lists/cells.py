"""What one cell says. Each function takes the text and gives a value, or refuses it in one sentence."""

import re
from datetime import date
from decimal import Decimal, InvalidOperation

from django.utils.translation import gettext as _

from stewardship.common import units
from stewardship.common.errors import Refused

#: unit as typed → (what kind of quantity, how many SI units it is)
_UNITS: dict[str, tuple[str, Decimal]] = {
    "in": ("m", units.MM_PER_INCH / 1000),
    "ft": ("m", units.M_PER_FOOT),
    "cm": ("m", Decimal("0.01")),
    "mm": ("m", Decimal("0.001")),
    "m": ("m", Decimal(1)),
    "ft2": ("m2", units.M2_PER_SQUARE_FOOT),
    "sqft": ("m2", units.M2_PER_SQUARE_FOOT),
    "m2": ("m2", Decimal(1)),
    "in/h": ("mm/h", units.MM_PER_INCH),
    "in/hr": ("mm/h", units.MM_PER_INCH),
    "mm/h": ("mm/h", Decimal(1)),
    "gal": ("l", units.L_PER_GALLON),
    "l": ("l", Decimal(1)),
}
_QUANTITY = re.compile(r"^([-+]?[\d.,]+(?:[eE][-+]?\d+)?)\s*(.*)$")


def number(text: str, *, kind: str = "") -> float | None:
    """A number, or a quantity in SI units of `kind` ("m", "m2", "mm/h", "l"); None for an empty cell."""
    if not text:
        return None
    found = _QUANTITY.match(text)
    try:
        value = Decimal(found[1].replace(",", "")) if found else None
    except InvalidOperation:
        value = None
    if found is None or value is None:
        raise Refused(_("“%s” is not a number.") % text)
    unit = found[2].lower().replace("²", "2").replace(" ", "").replace("sq.ft", "sqft").rstrip(".")
    if not unit:
        return float(value)
    of, si = _UNITS.get(unit, ("", Decimal(0)))
    if of != kind or not kind:
        raise Refused(
            _("“%(text)s”: the unit “%(unit)s” does not fit here.")
            % {
                "text": text,
                "unit": found[2],
            }
        )
    return float(value * si)


def whole(text: str) -> int | None:
    value = number(text)
    if value is None:
        return None
    if value != int(value):
        raise Refused(_("“%s” is not a whole number.") % text)
    return int(value)


def day(text: str, *, order: str = "month_first") -> date | None:
    """A day as 2026-07-14, or with slashes in the order that was chosen; None for an empty cell."""
    if not text:
        return None
    written = text.replace("T", " ").split(" ")[0]
    pieces = written.split("/")
    if len(pieces) == 3:
        first, second, year = pieces
        month, day_of_month = (first, second) if order == "month_first" else (second, first)
        written = f"{year:0>4}-{month:0>2}-{day_of_month:0>2}"
    try:
        return date.fromisoformat(written)
    except ValueError:
        pass
    raise Refused(_("“%s” is not a day; write it like 2026-07-14.") % text)


def one_of(text: str, known: dict[str, str] | list[str], *, usual: str = "") -> str:
    """One of the known words, capitals and hyphens aside; `usual` for an empty cell."""
    if not text:
        return usual
    word = text.casefold().replace("-", "_").replace(" ", "_")
    if word not in known:
        raise Refused(
            _("“%(text)s” is not one of: %(known)s.") % {"text": text, "known": ", ".join(known)}
        )
    return word


def several(text: str) -> list[str]:
    """What is parted by “;”, without what is empty."""
    return [piece for part in text.split(";") if (piece := " ".join(part.split()))]
