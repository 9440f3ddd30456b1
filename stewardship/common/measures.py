"""Form fields for quantities: people type in the program's units, the cleaned value is SI."""

from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from django import forms
from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from stewardship.common import units as u
from stewardship.common.written import US


@dataclass(frozen=True)
class Unit:
    """One unit that people type: its sign, how many SI units it is, and how many places it is shown with."""

    sign: Promise
    si: Decimal
    places: int


#: quantity → (unit for "us", unit for "metric"); the SI unit is named behind each.
UNITS: dict[str, tuple[Unit, Unit]] = {
    "short": (  # m
        Unit(_("in"), u.MM_PER_INCH / 1000, 2),
        Unit(_("cm"), Decimal("0.01"), 1),
    ),
    "length": (Unit(_("ft"), u.M_PER_FOOT, 2), Unit(_("m"), Decimal(1), 2)),  # m
    "area": (Unit(_("ft²"), u.M2_PER_SQUARE_FOOT, 1), Unit(_("m²"), Decimal(1), 2)),  # m²
    "rate": (Unit(_("in/h"), u.MM_PER_INCH, 2), Unit(_("mm/h"), Decimal(1), 1)),  # mm/h
    "rain": (Unit(_("in"), u.MM_PER_INCH, 2), Unit(_("mm"), Decimal(1), 1)),  # mm
    "far": (Unit(_("mi"), u.M_PER_MILE, 2), Unit(_("km"), Decimal(1000), 2)),  # m
    "volume": (Unit(_("gal"), u.L_PER_GALLON, 0), Unit(_("L"), Decimal(1), 0)),  # L
}


class MeasureField(forms.DecimalField):
    """A number with its unit behind the label. `use_units` must be called before the field is shown or cleaned.

    The cleaned value is a float in the SI unit of `quantity` (see `UNITS`), or None when left empty.
    """

    def __init__(self, quantity: str, **kwargs: Any) -> None:
        self.quantity = quantity
        self.plain_label = kwargs.pop("label")
        super().__init__(label=self.plain_label, **kwargs)
        self.widget.attrs["inputmode"] = "decimal"
        self.use_units(US)

    def use_units(self, units: str) -> None:
        self.unit = UNITS[self.quantity][0 if units == US else 1]
        self.label = f"{self.plain_label} ({self.unit.sign})"

    def widget_attrs(self, widget: forms.Widget) -> dict[str, Any]:
        return super().widget_attrs(widget) | {"step": "any"}

    def clean(self, value: Any) -> float | None:
        typed = super().clean(value)
        return None if typed is None else float(typed * self.unit.si)

    def prepare_value(self, value: Any) -> Any:
        """The stored SI number in the unit that is shown; what somebody typed stays as typed."""
        if isinstance(value, int | float):
            shown = round(u.exact(value) / self.unit.si, self.unit.places)
            return f"{shown.normalize():f}"
        return value

    def has_changed(self, initial: Any, data: Any) -> bool:
        # as a number: Django compares what was typed after reading it
        return super().has_changed(self.to_python(self.prepare_value(initial)), data)


def use_units(form: forms.BaseForm, units: str) -> None:
    """Let every quantity of the form speak the program's units."""
    for field in form.fields.values():
        if isinstance(field, MeasureField):
            field.use_units(units)
