"""Rules of storm finding, and storms to be found again."""

from datetime import timedelta
from typing import Any

from django import forms
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from people.models import Program
from stewardship.common.measures import MeasureField, use_units
from stewardship.common.units import mm_to_um, um_to_mm
from stewardship.rain.forms.gauges import day_field
from stewardship.rain.models import RainRule
from stewardship.rain.times import HOUR_S, local_s

#: [h] Dry times in use lie between 3 and 24 h; beyond a week nothing would ever be two storms. Common practice, no source.
LEAST_GAP_H, MOST_GAP_H = 0.25, 168


class RainRuleForm(forms.Form):
    starts_on = day_field(gettext_lazy("From"))
    dry_hours = forms.DecimalField(
        label=gettext_lazy("Dry hours that end a storm"),
        max_digits=6,
        decimal_places=2,
        help_text=gettext_lazy("6 is the commonest choice."),
        widget=forms.NumberInput(attrs={"step": "any"}),
    )
    least = MeasureField(
        "rain",
        label=gettext_lazy("Least depth of a storm that is listed"),
        help_text=gettext_lazy("Smaller storms are kept and shown on request."),
    )
    source = forms.CharField(
        label=gettext_lazy("Where this comes from"),
        max_length=200,
        help_text=gettext_lazy("A permit, a manual and its section, or who decided."),
    )

    def __init__(self, *args: Any, program: Program, **kwargs: Any) -> None:
        rule = RainRule.objects.in_force(on=program.today())
        kwargs["initial"] = {
            "starts_on": program.today(),
            "dry_hours": f"{rule.dry_gap_s / HOUR_S:g}",
            "least": float(um_to_mm(rule.least_depth_um)),
        }
        super().__init__(*args, **kwargs)
        use_units(self, program.units)

    def clean_dry_hours(self) -> Any:
        hours = self.cleaned_data["dry_hours"]
        if not LEAST_GAP_H <= hours <= MOST_GAP_H:
            raise forms.ValidationError(
                _("Between a quarter of an hour and %d hours.") % MOST_GAP_H
            )
        return hours

    def clean_least(self) -> float:
        if not 0 <= self.cleaned_data["least"] <= 254:
            raise forms.ValidationError(
                _("Look at the decimal point: this is less than nothing, or more than most storms.")
            )
        return self.cleaned_data["least"]

    def facts(self) -> dict[str, Any]:
        return {
            "starts_on": self.cleaned_data["starts_on"],
            "dry_gap_s": round(self.cleaned_data["dry_hours"] * HOUR_S),
            "least_depth_um": mm_to_um(self.cleaned_data["least"]),
            "source": self.cleaned_data["source"],
        }


class FindAgainForm(forms.Form):
    since = day_field(gettext_lazy("First day"))
    until = day_field(gettext_lazy("Last day"))
    why = forms.CharField(
        label=gettext_lazy("Why"),
        max_length=160,
        help_text=gettext_lazy("It stands beside every storm that changes."),
    )

    def __init__(self, *args: Any, program: Program, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.program = program
        self.fields["until"].initial = program.today()

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        since, until = cleaned.get("since"), cleaned.get("until")
        if since and since > self.program.today():
            self.add_error("since", _("That day is still to come."))
        elif since and until and until < since:
            self.add_error("until", _("The last day cannot be before the first."))
        return cleaned

    def span(self) -> dict[str, Any]:
        zone = self.program.tz
        return {
            "start_s": local_s(self.cleaned_data["since"], zone),
            "end_s": local_s(self.cleaned_data["until"] + timedelta(days=1), zone),
            "why": self.cleaned_data["why"],
        }
