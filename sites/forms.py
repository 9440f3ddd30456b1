"""Forms for sites and what stands there. People type in the program's units; what is cleaned is SI."""

from typing import Any

from django import forms
from django.core.validators import RegexValidator
from django.utils.translation import gettext_lazy as _

from sites.alike_forms import AlikeSiteMixin
from sites.choices import InletKind
from sites.models import STEEPEST_PERCENT, Basin, Inlet, Planting, Site
from stewardship.common.measures import MeasureField, use_units

#: Words that are addresses of pages beside the sites' own.
TAKEN_CODES = {"new", "alike"}


class SiteForm(AlikeSiteMixin, forms.ModelForm):
    """Facts of a site. The code is given once; the stage is no fact to type."""

    code = forms.CharField(
        label=_("Site code"),
        max_length=16,
        help_text=_("Short, as on the plate: “OAK-12”. It stays for good."),
        validators=[
            RegexValidator(
                r"^[-a-zA-Z0-9_]+$", _("Use letters, digits and hyphens only, e.g. OAK-12.")
            )
        ],
    )
    cart_litres = MeasureField(
        "volume",
        label=_("Cart size"),
        required=False,
        min_value=1,
        max_value=1000,
        help_text=_("The trash cart that silt could go into."),
    )

    class Meta:
        model = Site
        fields = [
            "code",
            "street",
            "address",
            "lat",
            "lon",
            "agency",
            "source_class",
            "collection_weekday",
            "cart_litres",
        ]
        help_texts = {
            "lat": _("Decimal degrees, e.g. 34.52104. Leave both empty if you do not know yet."),
            "lon": _("Decimal degrees, west is negative, e.g. -106.24402."),
            "agency": _("Leave empty where no agency owns the ground."),
        }

    def __init__(self, *args: Any, units: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        use_units(self, units)
        self.fields["agency"].empty_label = _("none")
        for name in ("lat", "lon"):
            self.fields[name].widget.attrs |= {"inputmode": "text", "autocomplete": "off"}
            # asked of the field already, so that nothing is looked up for a place that is none
            self.fields[name].validators += Site._meta.get_field(name).validators
        self.mark_place()
        if self.instance.pk:
            del self.fields["code"]

    def clean_code(self) -> str:
        code = self.cleaned_data["code"]
        if code.casefold() in TAKEN_CODES:
            raise forms.ValidationError(
                _("“%s” is the name of a page here; choose another.") % code
            )
        if Site.objects.filter(code__iexact=code).exists():
            raise forms.ValidationError(_("There is a site %s already.") % code)
        return code

    def clean_cart_litres(self) -> int | None:
        litres = self.cleaned_data["cart_litres"]
        return None if litres is None else round(litres)

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean()
        missing = [
            name
            for name, other in (("lat", "lon"), ("lon", "lat"))
            if cleaned.get(name) is None
            and name not in self.errors
            and cleaned.get(other) is not None
        ]
        for name in missing:
            self.add_error(
                name,
                _("Latitude and longitude go together: give this one too, or leave both empty."),
            )
        self.ask_if_alike()
        return cleaned

    def facts(self) -> dict[str, Any]:
        """What the services take."""
        names = [name for name in self.Meta.fields if name in self.cleaned_data]
        return {name: self.cleaned_data[name] for name in names}


class MeasureForm(forms.ModelForm):
    """A model form whose quantities speak the program's units."""

    def __init__(self, *args: Any, units: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        use_units(self, units)

    def typed(self) -> dict[str, str]:
        """What was typed for each measure, with its unit: {"depth_m": "8 in"}."""
        return {
            name: f"{self.data[self.add_prefix(name)].strip()} {field.unit.sign}"
            for name, field in self.fields.items()
            if isinstance(field, MeasureField) and self.cleaned_data.get(name) is not None
        }


class BasinForm(MeasureForm):
    bottom_area_m2 = MeasureField("area", label=_("Bottom area"), min_value=0)
    top_area_m2 = MeasureField("area", label=_("Area at the lip"), min_value=0)
    depth_m = MeasureField("short", label=_("Depth to the lip"), min_value=0)
    lip_length_m = MeasureField("length", label=_("Length of the lip"), min_value=0, initial=0.6096)
    soak_mm_h = MeasureField(
        "rate",
        label=_("Soaking-in rate"),
        min_value=0,
        help_text=_("Measured, or the design rate."),
    )
    paved_m2 = MeasureField("area", label=_("Paved catchment"), min_value=0)
    planted_catchment_m2 = MeasureField(
        "area", label=_("Unpaved catchment"), min_value=0, initial=0.0
    )
    phase_from = forms.DateField(
        label=_("Accepted or replanted"),
        required=False,
        widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"),
        help_text=_("The plants’ phase counts from this day. Leave it empty until then."),
    )

    class Meta:
        model = Basin
        fields = [
            "label",
            "bottom_area_m2",
            "top_area_m2",
            "depth_m",
            "lip_length_m",
            "soak_mm_h",
            "paved_m2",
            "planted_catchment_m2",
            "unpaved_curve_number",
            "phase_from",
        ]
        help_texts = {
            "unpaved_curve_number": _("77 is usual for open ground; between 1 and 100."),
        }

    def __init__(self, *args: Any, site: Site, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.site = site

    def clean_label(self) -> str:
        label = self.cleaned_data["label"].strip()
        if self.site.basins.filter(label=label).exclude(pk=self.instance.pk).exists():
            raise forms.ValidationError(
                _("%(site)s already has a basin %(label)s.")
                % {"site": self.site.code, "label": label}
            )
        return label

    def clean_unpaved_curve_number(self) -> float:
        number = self.cleaned_data["unpaved_curve_number"]
        if not 0 < number <= 100:
            raise forms.ValidationError(_("A curve number lies between 1 and 100."))
        return number

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean()
        for name in ("bottom_area_m2", "depth_m", "lip_length_m"):
            if cleaned.get(name) == 0:
                self.add_error(name, _("This must be more than zero."))
        bottom, top = cleaned.get("bottom_area_m2"), cleaned.get("top_area_m2")
        if bottom is not None and top is not None and top < bottom:
            self.add_error(
                "top_area_m2", _("A basin is not narrower at the lip than at the bottom.")
            )
        return cleaned | {"typed": self.typed()}


class InletForm(MeasureForm):
    """An inlet and the sediment trap inside it; the trap's four measures come together or not at all."""

    TRAP = {
        "trap_length_m": "length_m",
        "trap_width_m": "width_m",
        "trap_depth_m": "depth_m",
        "trap_lip_m": "lip_below_inlet_m",
    }
    SLOPES = ("gutter_slope_percent", "cross_slope_percent")

    width_m = MeasureField("short", label=_("Opening width, or diameter of a core"), min_value=0)
    height_m = MeasureField(
        "short",
        label=_("Opening height"),
        required=False,
        min_value=0,
        help_text=_("Curb cuts only."),
    )
    gutter_slope_percent = forms.FloatField(
        label=_("Slope along the gutter (%)"),
        required=False,
        max_value=STEEPEST_PERCENT,
        help_text=_("Leave both slopes empty if nobody measured them, or at a low point."),
    )
    cross_slope_percent = forms.FloatField(
        label=_("Slope of the street toward the curb (%)"),
        required=False,
        max_value=STEEPEST_PERCENT,
        help_text=_("Two per cent is usual."),
    )
    trap_length_m = MeasureField("short", label=_("Trap length"), required=False, min_value=0)
    trap_width_m = MeasureField("short", label=_("Trap width"), required=False, min_value=0)
    trap_depth_m = MeasureField("short", label=_("Trap depth"), required=False, min_value=0)
    trap_lip_m = MeasureField(
        "short",
        label=_("Lip below the inlet bottom"),
        required=False,
        help_text=_("2–3 in is usual. Write a minus if the lip stands higher than the inlet."),
    )

    class Meta:
        model = Inlet
        fields = ["kind", "width_m", "height_m", "gutter_slope_percent", "cross_slope_percent"]

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        trap = getattr(self.instance, "trap", None) if self.instance.pk else None
        if trap:
            for name, field in self.TRAP.items():
                self.initial[name] = getattr(trap, field)

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean()
        if cleaned.get("width_m") == 0:
            self.add_error("width_m", _("This must be more than zero."))
        height = cleaned.get("height_m")
        if (
            cleaned.get("kind") == InletKind.CURB_CUT
            and not height
            and "height_m" not in self.errors
        ):
            self.add_error("height_m", _("A curb cut has a height."))
        if cleaned.get("kind") == InletKind.CURB_CORE and height is not None:
            self.add_error("height_m", _("A curb core is round: it has a diameter only."))
        self._clean_slopes(cleaned)
        self._clean_trap(cleaned)
        return cleaned

    def _clean_slopes(self, cleaned: dict[str, Any]) -> None:
        given = [name for name in self.SLOPES if cleaned.get(name) is not None]
        for name in self.SLOPES:
            if name in self.errors:
                continue
            if given and cleaned.get(name) is None:
                self.add_error(
                    name, _("The two slopes go together: give this one too, or leave both empty.")
                )
            elif given and cleaned[name] <= 0:
                self.add_error(
                    name, _("This must be more than zero. At a low point leave both slopes empty.")
                )

    def _clean_trap(self, cleaned: dict[str, Any]) -> None:
        given = [name for name in self.TRAP if cleaned.get(name) is not None]
        for name in self.TRAP:
            if name in self.errors:
                continue
            if given and cleaned.get(name) is None:
                self.add_error(name, _("Give all four measures of the trap, or none."))
            elif name != "trap_lip_m" and cleaned.get(name) == 0:
                self.add_error(name, _("This must be more than zero."))

    def facts(self) -> dict[str, Any]:
        typed = {name: words for name, words in self.typed().items() if name not in self.TRAP}
        return {name: self.cleaned_data[name] for name in self.Meta.fields} | {"typed": typed}

    def trap(self) -> dict[str, Any] | None:
        """The trap's measures, or None when there is no trap."""
        if self.cleaned_data.get("trap_depth_m") is None:
            return None
        typed = self.typed()
        return {field: self.cleaned_data[name] for name, field in self.TRAP.items()} | {
            "typed": {field: typed[name] for name, field in self.TRAP.items()}
        }


class PlantingForm(MeasureForm):
    height_m = MeasureField("length", label=_("Height"), min_value=0)
    measured_on = forms.DateField(
        label=_("Measured"), widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")
    )

    class Meta:
        model = Planting
        fields = ["species", "count", "height_m", "measured_on"]
