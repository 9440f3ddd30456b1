"""Conversions between what is stored (SI) and US customary units. Pure numbers; `written.py` puts them into words.

Decimals, so that 0.62 in stays 0.62 in. The factors are exact by definition: NIST Special Publication 811 (2008), appendix B.
"""

from decimal import Decimal

from stewardship.hydrology import units as si

MM_PER_INCH = Decimal(str(si.MM_PER_INCH))
M_PER_FOOT = Decimal(str(si.M_PER_FOOT))
M_PER_MILE = 5280 * M_PER_FOOT
L_PER_GALLON = Decimal(str(si.L_PER_US_GALLON))
M2_PER_SQUARE_FOOT = M_PER_FOOT**2
L_PER_CUBIC_FOOT = 1000 * M_PER_FOOT**3
SQUARE_FEET_PER_ACRE = 43_560  # international acre
UM_PER_MM = si.UM_PER_MM

Number = int | float | Decimal


def exact(value: Number) -> Decimal:
    """`value` as the decimal a person would write for it (0.1, not 0.1000000000000000055…)."""
    return value if isinstance(value, Decimal) else Decimal(str(value))


def um_to_mm(um: Number) -> Decimal:
    return exact(um) / UM_PER_MM


def mm_to_um(mm: Number) -> int:
    """Whole micrometres, halves away from zero: gauges read 0.1 mm or 0.01 in = 254 µm."""
    um = exact(mm) * UM_PER_MM
    return int(um + Decimal("0.5").copy_sign(um))


def mm_to_in(mm: Number) -> Decimal:
    return exact(mm) / MM_PER_INCH


def in_to_mm(inches: Number) -> Decimal:
    return exact(inches) * MM_PER_INCH


def um_to_in(um: Number) -> Decimal:
    return mm_to_in(um_to_mm(um))


def in_to_um(inches: Number) -> int:
    return mm_to_um(in_to_mm(inches))


def m_to_ft(m: Number) -> Decimal:
    return exact(m) / M_PER_FOOT


def m_to_in(m: Number) -> Decimal:
    return mm_to_in(exact(m) * 1000)


def m2_to_ft2(m2: Number) -> Decimal:
    return exact(m2) / M2_PER_SQUARE_FOOT


def m3_to_gal(m3: Number) -> Decimal:
    return exact(m3) * 1000 / L_PER_GALLON


def m3_to_ft3(m3: Number) -> Decimal:
    return exact(m3) * 1000 / L_PER_CUBIC_FOOT
