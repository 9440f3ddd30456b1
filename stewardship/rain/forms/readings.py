"""A reading, as a reader writes it down."""

from datetime import date, datetime, timedelta

from django import forms
from django.db.models import Count, Max
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from people.models import Program
from stewardship.common.written import depth_text
from stewardship.rain.choices import GaugeKind, ReadingKind
from stewardship.rain.intake.amounts import read_amount
from stewardship.rain.intake.blocks import NewReading, greatest_um, not_before, too_much
from stewardship.rain.models import Gauge
from stewardship.rain.mornings import latest_day, span_of
from stewardship.rain.times import DAY_S

MOST_DAYS = 31
#: [µm] 4 in: more in a day is asked about once. Our default; a depth in millimetres taken for inches is caught by it mostly.
ASKED_ABOVE_UM = 101_600
#: A record of fewer readings says nothing of what is much for a gauge.
RECORD_READINGS = 30
#: What one tap says, and the words on the buttons.
TAPS = {"0": _("Dry"), "T": _("A trace"), "M": _("Nobody looked")}


class ReadingForm(forms.Form):
    """What a daily reader found in the gauge.

    Once valid, `doubt` says why an amount may be a slip ("" if nothing does); the field `sure` holds the amount in µm that
    the reader says is right all the same.
    """

    gauge = forms.ModelChoiceField(
        label=_("Gauge"), queryset=Gauge.objects.none(), widget=forms.HiddenInput
    )
    day = forms.DateField(
        label=_("Morning of"), widget=forms.DateInput(attrs={"type": "hidden"}, format="%Y-%m-%d")
    )
    amount = forms.CharField(
        label=_("How much"),
        max_length=16,
        error_messages={"required": _("Write 0 if it was dry, T for a trace, M if nobody looked.")},
        widget=forms.TextInput(attrs={"autocomplete": "off", "inputmode": "decimal"}),
    )
    days = forms.IntegerField(
        label=_("Days in it"),
        initial=1,
        min_value=1,
        max_value=MOST_DAYS,
        help_text=_("The rain of how many days was in the gauge."),
    )
    tap = forms.ChoiceField(choices=list(TAPS.items()), required=False)
    sure = forms.IntegerField(required=False)

    use_required_attribute = False

    def __init__(self, *args, gauges, program: Program, now: datetime, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        self.program, self.now = program, now
        self.doubt = ""
        self.fields["gauge"].queryset = gauges
        self.fields["amount"].required = not self.data.get("tap")
        if gauge := self.initial.get("gauge"):
            self.fields["amount"].label = _("How much (%s)") % gauge.get_unit_display()

    def clean(self) -> dict:
        data = super().clean() or {}
        gauge, day, days = (data.get(name) for name in ("gauge", "day", "days"))
        if gauge is None:
            return data
        if day is not None:
            self._check_days(gauge, day, days)
        if "amount" not in data or "tap" not in data:
            return data
        text, tap = data["amount"], data["tap"]
        if tap and text and text.upper() != tap:
            self.add_error(
                "amount",
                _("You wrote %(amount)s and pressed “%(button)s”. Write it down, or empty the box.")
                % {"amount": text, "button": TAPS[tap]},
            )
            return data
        if days is not None:
            self._understand(tap or text, gauge, days)
        return data

    def _check_days(self, gauge: Gauge, day: date, days: int | None) -> None:
        if day > latest_day(gauge, now=self.now, program=self.program):
            self.add_error("day", _("That morning is still to come."))
        elif day < gauge.started_on:
            self.add_error("day", not_before(gauge.started_on))
        # The first reading may hold what fell since the day before, whoever set the gauge up.
        elif days is not None and day - timedelta(days=days - 1) < gauge.started_on:
            self.add_error("days", not_before(gauge.started_on))

    def _understand(self, text: str, gauge: Gauge, days: int) -> None:
        amount = read_amount(text, unit=gauge.unit)
        depth_um, length_s = amount.depth_um or 0, days * DAY_S
        if amount.problem:
            self.add_error("amount", amount.problem)
        elif depth_um > greatest_um(length_s):
            self.add_error("amount", too_much(depth_um, length_s, amount.typed))
        self.cleaned_data["understood"] = amount
        if depth_um and not self.errors and self.cleaned_data.get("sure") != depth_um:
            self.doubt = self._doubt(gauge, depth_um)

    def _doubt(self, gauge: Gauge, depth_um: int) -> str:
        """Why an amount looks like a slip of the unit or the decimal point, "" where it does not."""
        units, reading = self.program.units, self.reading()
        others = gauge.readings.exclude(start_s=reading.start_s, end_s=reading.end_s)
        record = others.aggregate(n=Count("pk"), greatest=Max("depth_um"))
        facts = {
            "depth": depth_text(depth_um, units),
            "greatest": depth_text(record["greatest"], units),
        }
        if record["n"] >= RECORD_READINGS and depth_um > (record["greatest"] or 0):
            return (
                gettext(
                    "%(depth)s would be the most ever at this gauge; it was %(greatest)s so far."
                )
                % facts
            )
        if depth_um > ASKED_ABOVE_UM:
            return gettext("%(depth)s is a great deal of rain.") % facts
        return ""

    def reading(self) -> NewReading:
        """The reading that was typed: whole days until the gauge's hour of that morning."""
        gauge, day, days = (self.cleaned_data[name] for name in ("gauge", "day", "days"))
        amount = self.cleaned_data["understood"]
        kind = amount.kind
        if days > 1 and kind == ReadingKind.MEASURED:
            kind = ReadingKind.MULTI_DAY
        start_s, end_s = span_of(gauge, day, days, self.program)
        return NewReading(start_s, end_s, kind, amount.depth_um, amount.typed)

    def depth_asked_um(self) -> int | None:
        """The depth that `doubt` is about. [µm]"""
        return self.cleaned_data["understood"].depth_um if self.doubt else None


def daily_gauges(*, on: date):
    """Gauges that somebody reads by hand on that day."""
    return Gauge.objects.active(on=on).filter(kind=GaugeKind.DAILY)
