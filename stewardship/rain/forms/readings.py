"""A reading, as a reader writes it down."""

from datetime import date, timedelta

from django import forms
from django.utils.translation import gettext_lazy as _

from people.models import Program
from stewardship.rain.choices import GaugeKind, ReadingKind
from stewardship.rain.intake.amounts import read_amount
from stewardship.rain.intake.blocks import NewReading, greatest_um, not_before, too_much
from stewardship.rain.models import Gauge
from stewardship.rain.times import DAY_S, local_s

MOST_DAYS = 31


class ReadingForm(forms.Form):
    """What a daily reader found in the gauge."""

    gauge = forms.ModelChoiceField(
        label=_("Gauge"), queryset=Gauge.objects.none(), empty_label=None
    )
    day = forms.DateField(
        label=_("Morning of"),
        widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"),
    )
    amount = forms.CharField(
        label=_("How much"),
        max_length=16,
        help_text=_("0 if dry, T for a trace, M if nobody looked."),
        error_messages={"required": _("Write 0 if it was dry, T for a trace, M if nobody looked.")},
        widget=forms.TextInput(attrs={"autocomplete": "off", "autofocus": True}),
    )
    days = forms.IntegerField(
        label=_("Days in it"),
        initial=1,
        min_value=1,
        max_value=MOST_DAYS,
        help_text=_("More than 1 if it was not emptied every morning."),
    )

    def __init__(self, *args, gauges, program: Program, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        self.program = program
        field = self.fields["gauge"]
        field.queryset = gauges
        units = {gauge.get_unit_display() for gauge in gauges}
        if len(units) == 1:
            self.fields["amount"].label = _("How much (%s)") % units.pop()
        if len(gauges) == 1:
            field.initial = gauges[0]

    def clean_day(self) -> date:
        day: date = self.cleaned_data["day"]
        if day > self.program.today():
            raise forms.ValidationError(_("That morning is still to come."))
        return day

    def clean(self) -> dict:
        data = super().clean() or {}
        gauge, text, days = (data.get(name) for name in ("gauge", "amount", "days"))
        day = data.get("day")
        if gauge is not None and day is not None and day < gauge.started_on:
            self.add_error("day", not_before(gauge.started_on))
        if gauge is None or text is None or days is None:
            return data
        amount = read_amount(text, unit=gauge.unit)
        depth_um, length_s = amount.depth_um or 0, days * DAY_S
        if amount.problem:
            self.add_error("amount", amount.problem)
        elif depth_um > greatest_um(length_s):
            self.add_error("amount", too_much(depth_um, length_s, amount.typed))
        data["understood"] = amount
        return data

    def reading(self) -> NewReading:
        """The reading that was typed: whole days until the gauge's hour of that morning."""
        gauge, day, days = (self.cleaned_data[name] for name in ("gauge", "day", "days"))
        amount = self.cleaned_data["understood"]
        kind = amount.kind
        if days > 1 and kind == ReadingKind.MEASURED:
            kind = ReadingKind.MULTI_DAY
        zone, hour = self.program.tz, gauge.observation_hour
        return NewReading(
            local_s(day - timedelta(days=days), zone, hour),
            local_s(day, zone, hour),
            kind,
            amount.depth_um,
            amount.typed,
        )


def daily_gauges(*, on: date):
    """Gauges that somebody reads by hand on that day."""
    return Gauge.objects.active(on=on).filter(kind=GaugeKind.DAILY)
