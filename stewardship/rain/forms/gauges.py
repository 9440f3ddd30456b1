"""What is typed about a gauge. People type in the program's units; what the services get is SI."""

from datetime import date
from typing import Any

from django import forms
from django.core.validators import RegexValidator
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from people.models import Person
from stewardship.common.measures import MeasureField, use_units
from stewardship.common.units import mm_to_um, um_to_mm
from stewardship.rain.choices import DepthUnit, GaugeKind
from stewardship.rain.forms.places import PlaceFields
from stewardship.rain.models import Gauge, GaugeOutage
from stewardship.rain.services.gauges import FACTS, FIXED_BY_READINGS
from stewardship.rain.times import seconds

#: Words that are addresses of pages beside the gauges' own.
TAKEN_CODES = {"new"}
USUAL_HOUR = 7


def day_field(label: Any, **kwargs: Any) -> forms.DateField:
    return forms.DateField(
        label=label,
        widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"),
        **kwargs,
    )


class GaugeFacts(forms.Form):
    """What a gauge is and how it reports; correcting one leaves out what its readings have fixed."""

    name = forms.CharField(label=gettext_lazy("Name"), max_length=120)
    kind = forms.ChoiceField(label=gettext_lazy("Kind"), choices=GaugeKind)
    observation_hour = forms.IntegerField(
        label=gettext_lazy("Hour of the daily reading"),
        required=False,
        min_value=0,
        max_value=23,
        help_text=gettext_lazy(
            "Only where somebody reads it once a day: 0 to 23 by the clock, the same in summer and winter. 7 is usual."
        ),
    )
    unit = forms.ChoiceField(label=gettext_lazy("Unit it reports in"), choices=DepthUnit)
    resolution = MeasureField(
        "rain",
        label=gettext_lazy("Least amount it can show"),
        help_text=gettext_lazy("Of a tipping bucket, what one tip holds."),
    )
    reach = MeasureField(
        "far",
        label=gettext_lazy("How far it speaks for"),
        help_text=gettext_lazy("Sites beyond get no rain from it."),
    )
    lists_dry = forms.TypedChoiceField(
        label=gettext_lazy("When nothing comes from it"),
        choices=[
            ("yes", gettext_lazy("nobody knows: it reports dry times too")),
            ("no", gettext_lazy("it was dry: it only reports rain")),
        ],
        coerce=lambda value: value == "yes",
        widget=forms.RadioSelect,
    )
    started_on = day_field(gettext_lazy("Stands since"))

    def __init__(
        self,
        *args: Any,
        units: str,
        today: date,
        gauge: Gauge | None = None,
        has_readings: bool = False,
        **kwargs: Any,
    ) -> None:
        self.gauge, self.units, self.today = gauge, units, today
        kwargs["initial"] = self._known(gauge) | (kwargs.get("initial") or {})
        super().__init__(*args, **kwargs)
        use_units(self, units)
        if has_readings:
            for name in FIXED_BY_READINGS:
                del self.fields[name]

    @staticmethod
    def _known(gauge: Gauge | None) -> dict[str, Any]:
        gauge = gauge or Gauge(observation_hour=None)
        facts = {name: getattr(gauge, name) for name in FACTS if hasattr(gauge, name)}
        return facts | {
            "resolution": float(um_to_mm(gauge.resolution_um)),
            "reach": float(gauge.reach_m),
            "lists_dry": "yes" if gauge.lists_dry else "no",
        }

    def clean_resolution(self) -> float:
        if self.cleaned_data["resolution"] <= 0:
            raise forms.ValidationError(_("This must be more than zero."))
        if self.cleaned_data["resolution"] > 25.4:
            raise forms.ValidationError(_("No gauge is that coarse; look at the decimal point."))
        return self.cleaned_data["resolution"]

    def clean_reach(self) -> float:
        if self.cleaned_data["reach"] <= 0:
            raise forms.ValidationError(_("This must be more than zero."))
        if self.cleaned_data["reach"] > 1_000_000:
            raise forms.ValidationError(_("No gauge speaks for a place so far away."))
        return self.cleaned_data["reach"]

    def clean_started_on(self) -> date:
        if self.cleaned_data["started_on"] > self.today:
            raise forms.ValidationError(_("That day is still to come."))
        return self.cleaned_data["started_on"]

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        if "kind" not in cleaned or "observation_hour" in self.errors:
            return cleaned
        hour, daily = cleaned.get("observation_hour"), cleaned["kind"] == GaugeKind.DAILY
        if daily and hour is None:
            self.add_error(
                "observation_hour", _("Say at which hour it is read; %d is usual.") % USUAL_HOUR
            )
        elif not daily and hour is not None:
            self.add_error(
                "observation_hour",
                _("Only a gauge that is read once a day has an hour. Leave it empty."),
            )
        return cleaned

    def facts(self) -> dict[str, Any]:
        """What the services take. A measure that was left as shown stays as stored, whatever its rounding."""
        facts = {name: self.cleaned_data[name] for name in FACTS if name in self.cleaned_data}
        if self.gauge is None or "resolution" in self.changed_data:
            facts["resolution_um"] = max(mm_to_um(self.cleaned_data["resolution"]), 1)
        if self.gauge is None or "reach" in self.changed_data:
            facts["reach_m"] = max(round(self.cleaned_data["reach"]), 1)
        return facts


class NewGaugeForm(GaugeFacts, PlaceFields):
    code = forms.CharField(
        label=gettext_lazy("Gauge code"),
        max_length=24,
        help_text=gettext_lazy("Short, e.g. “PARK”. It stays for good."),
        validators=[
            RegexValidator(
                r"^[-a-zA-Z0-9_]+$",
                gettext_lazy("Use letters, digits and hyphens only, e.g. PARK-2."),
            )
        ],
    )
    reader = forms.ModelChoiceField(
        label=gettext_lazy("Who reads it"),
        queryset=Person.objects.known(),
        required=False,
        empty_label=gettext_lazy("nobody by hand"),
        help_text=gettext_lazy("More people can be added afterwards."),
    )

    field_order = [
        "code", "name", "kind", "observation_hour", "reader", "lat", "lon", "place_is_right", "note",
        "started_on", "unit", "resolution", "reach", "lists_dry",
    ]  # fmt: skip

    def clean_code(self) -> str:
        code = self.cleaned_data["code"]
        if code.casefold() in TAKEN_CODES:
            raise forms.ValidationError(
                _("“%s” is the name of a page here; choose another.") % code
            )
        if Gauge.objects.filter(code__iexact=code).exists():
            raise forms.ValidationError(_("There is a gauge %s already.") % code)
        return code

    def facts(self) -> dict[str, Any]:
        reader = self.cleaned_data["reader"]
        return super().facts() | {
            "code": self.cleaned_data["code"],
            "readers": [reader] if reader else [],
            **{name: self.cleaned_data[name] for name in self.PLACE},
        }


class PlaceForm(PlaceFields):
    """The book was wrong about a place."""

    def __init__(self, *args: Any, units: str, **kwargs: Any) -> None:
        self.units = units
        super().__init__(*args, **kwargs)

    def place(self) -> dict[str, Any]:
        return {name: self.cleaned_data[name] for name in self.PLACE}


class MoveForm(PlaceForm):
    since = day_field(gettext_lazy("Stands there since"))
    field_order = ["since", "lat", "lon", "place_is_right", "note"]


class EndForm(forms.Form):
    on = day_field(gettext_lazy("Its last day"))
    why = forms.CharField(label=gettext_lazy("Why"), max_length=200, required=False)


class TakeUpForm(forms.Form):
    why = forms.CharField(label=gettext_lazy("Why"), max_length=200, required=False)


class ReadersForm(forms.Form):
    """Who reads a gauge: take people off, add one."""

    keep = forms.ModelMultipleChoiceField(
        label=gettext_lazy("They read it"),
        queryset=Person.objects.none(),
        required=False,
        widget=forms.CheckboxSelectMultiple,
        help_text=gettext_lazy("Take the tick away from whoever does not any more."),
    )
    add = forms.ModelChoiceField(
        label=gettext_lazy("Somebody else reads it too"),
        queryset=Person.objects.none(),
        required=False,
        empty_label=gettext_lazy("nobody"),
    )

    def __init__(self, *args: Any, gauge: Gauge, **kwargs: Any) -> None:
        now = gauge.readers.all()
        kwargs["initial"] = {"keep": now}
        super().__init__(*args, **kwargs)
        self.fields["keep"].queryset = now
        self.fields["add"].queryset = Person.objects.known().exclude(pk__in=now)
        if not now:
            del self.fields["keep"]

    def readers(self) -> list[Person]:
        add = self.cleaned_data["add"]
        return [*self.cleaned_data.get("keep", []), *([add] if add else [])]


def moment_field(label: Any, **kwargs: Any) -> forms.DateTimeField:
    return forms.DateTimeField(
        label=label,
        widget=forms.DateTimeInput(attrs={"type": "datetime-local"}, format="%Y-%m-%dT%H:%M"),
        **kwargs,
    )


class OutageForm(forms.Form):
    """When a gauge did not measure, by the program's clock."""

    start = moment_field(gettext_lazy("Out since"))
    end = moment_field(
        gettext_lazy("Back at work since"),
        required=False,
        help_text=gettext_lazy("Leave it empty while it is still out."),
    )
    why = forms.CharField(label=gettext_lazy("Why"), max_length=200)

    def __init__(self, *args: Any, outage: GaugeOutage | None = None, **kwargs: Any) -> None:
        if outage is not None:
            kwargs["initial"] = {
                "start": outage.start_at,
                "end": outage.end_at,
                "why": outage.why,
            }
        super().__init__(*args, **kwargs)

    def facts(self) -> dict[str, Any]:
        end = self.cleaned_data["end"]
        return {
            "start_s": seconds(self.cleaned_data["start"]),
            "end_s": None if end is None else seconds(end),
            "why": self.cleaned_data["why"],
        }
