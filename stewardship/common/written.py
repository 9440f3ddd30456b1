"""How quantities, days and moments are written for people, in the active language.

Every function takes the stored value (SI, or None for "not known") and gives plain text; `templatetags/ui.py` wraps it for
pages. `units` is the program's setting: "us" or "metric".
"""

from datetime import date, datetime
from decimal import ROUND_HALF_UP, Decimal

from django.utils import timezone
from django.utils.formats import date_format, number_format, time_format
from django.utils.translation import gettext as _

from stewardship.common import units as u

US = "us"


def number_text(value: u.Number, places: int = 0) -> str:
    """`value` rounded half up to `places`, with the language's separators."""
    rounded = u.exact(value).quantize(Decimal(1).scaleb(-places), rounding=ROUND_HALF_UP)
    if rounded == 0:
        rounded = abs(rounded)  # no "-0.00"
    return number_format(rounded, decimal_pos=places, use_l10n=True, force_grouping=True)


def depth_text(um: int | None, units: str) -> str | None:
    """Rain depth from micrometres: "0.62 in" or "15.7 mm"."""
    return None if um is None else depth_mm_text(u.um_to_mm(um), units)


def least_shown_um(units: str) -> int:
    """The least depth that `depth_text` does not write as zero. [µm]"""
    return 127 if units == US else 50


def depth_mm_text(mm: u.Number | None, units: str) -> str | None:
    """Rain or water depth from millimetres: "0.62 in" or "15.7 mm"."""
    if mm is None:
        return None
    if units == US:
        return _("%s in") % number_text(u.mm_to_in(mm), 2)
    return _("%s mm") % number_text(mm, 1)


def volume_text(m3: u.Number | None, units: str, *, bulk: bool = False) -> str | None:
    """Volume from cubic metres. Water: gallons, or litres and from 1 m³ cubic metres. Bulk (silt, mulch): cubic feet, or litres."""
    if m3 is None:
        return None
    if units == US:
        if bulk:
            return _("%s ft³") % number_text(u.m3_to_ft3(m3), 1)
        gallons = u.m3_to_gal(m3)
        return _("%s gal") % number_text(gallons, 0 if gallons >= 10 else 1)
    litres = u.exact(m3) * 1000
    if litres >= 1000 and not bulk:
        return _("%s m³") % number_text(m3, 1)
    return _("%s L") % number_text(litres, 0 if litres >= 10 else 1)


def length_text(m: u.Number | None, units: str) -> str | None:
    """Length from metres: inches under 3 ft, then feet, miles from half a mile; or centimetres, metres, kilometres."""
    if m is None:
        return None
    m = u.exact(m)
    if units == US:
        if abs(m) < 3 * u.M_PER_FOOT:
            return _("%s in") % number_text(u.m_to_in(m), 1)
        if abs(m) < u.M_PER_MILE / 2:
            feet = u.m_to_ft(m)
            return _("%s ft") % number_text(feet, 1 if abs(feet) < 100 else 0)
        return _("%s mi") % number_text(m / u.M_PER_MILE, 1)
    if abs(m) < 1:
        return _("%s cm") % number_text(m * 100, 1)
    if abs(m) < 1000:
        return _("%s m") % number_text(m, 1 if abs(m) < 100 else 0)
    return _("%s km") % number_text(m / 1000, 1)


def far_text(m: u.Number | None, units: str) -> str | None:
    """How far apart places are, from metres: miles or kilometres to a tenth, so that several compare at a glance."""
    if m is None:
        return None
    far = u.exact(m) / (u.M_PER_MILE if units == US else 1000)
    if far < Decimal("0.05"):
        least = number_text(Decimal("0.1"), 1)
        return _("under %s mi") % least if units == US else _("under %s km") % least
    return (_("%s mi") if units == US else _("%s km")) % number_text(far, 1)


def area_text(m2: u.Number | None, units: str) -> str | None:
    """Area from square metres: square feet, acres from one acre; or square metres, hectares."""
    if m2 is None:
        return None
    if units == US:
        square_feet = u.m2_to_ft2(m2)
        if square_feet >= u.SQUARE_FEET_PER_ACRE:
            return _("%s acres") % number_text(square_feet / u.SQUARE_FEET_PER_ACRE, 1)
        return _("%s ft²") % number_text(square_feet)
    m2 = u.exact(m2)
    if m2 >= 10_000:
        return _("%s ha") % number_text(m2 / 10_000, 1)
    return _("%s m²") % number_text(m2, 0 if m2 >= 100 else 1)


def hours_text(hours: u.Number | None) -> str | None:
    """A span: minutes under an hour, hours and minutes under ten, whole hours up to three days, then days."""
    if hours is None:
        return None
    minutes = int((u.exact(hours) * 60).quantize(Decimal(1), rounding=ROUND_HALF_UP))
    if minutes < 60:
        return _("%s min") % minutes
    if minutes < 600:
        whole, rest = divmod(minutes, 60)
        return (
            _("%(hours)s h %(minutes)s min") % {"hours": whole, "minutes": rest}
            if rest
            else _("%s h") % whole
        )
    if minutes <= 72 * 60:
        return _("%s h") % number_text(u.exact(hours))
    return _("%s days") % number_text(u.exact(hours) / 24, 1)


def day_text(day: date | None, today: date | None = None) -> str | None:
    """ "Tue 14 Jul"; with the year when it is not this year's."""
    if day is None:
        return None
    this_year = (today or timezone.localdate()).year
    # A Django date format: some languages write months small.
    return date_format(day, _("D j M") if day.year == this_year else _("D j M Y"))


def moment_text(instant: datetime | None) -> str | None:
    """ "Tue 14 Jul, 3:05 p.m." in the zone that is active (the program's, on pages)."""
    if instant is None:
        return None
    local = timezone.localtime(instant)
    return f"{day_text(local.date())}, {time_format(local.timetz(), 'TIME_FORMAT')}"
