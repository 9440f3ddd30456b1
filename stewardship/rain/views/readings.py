"""A reader writes down what was in the gauge."""

from django.contrib import messages
from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _

from people.choices import Role
from stewardship.common.access import role_required
from stewardship.common.errors import Refused
from stewardship.common.written import day_text
from stewardship.rain.choices import BatchSource, ReadingKind
from stewardship.rain.forms.readings import ReadingForm, daily_gauges
from stewardship.rain.intake.blocks import NewReading
from stewardship.rain.models import (
    Gauge,
    Reading,
    ReadingBatch,
)
from stewardship.rain.models.readings import amount_words
from stewardship.rain.services import add_readings

SHOWN_MORNINGS = 7


@role_required(Role.COORDINATOR, Role.READER)
def reading_new(request: HttpRequest) -> HttpResponse:
    program = request.program
    gauges = daily_gauges(on=program.today())
    if not request.user.is_coordinator:
        gauges = gauges.read_by(request.user.person)
    form = ReadingForm(
        request.POST or None, gauges=gauges, program=program, initial={"day": program.today()}
    )
    if request.method == "POST" and form.is_valid():
        gauge, reading = form.cleaned_data["gauge"], form.reading()
        before = Reading.objects.filter(
            gauge=gauge, start_s=reading.start_s, end_s=reading.end_s
        ).first()
        if reading.kind == ReadingKind.MISSING and before and before.kind != ReadingKind.MISSING:
            form.add_error(
                "amount",
                _("%(typed)s cannot take back %(before)s. Write down the right depth instead.")
                % {"typed": reading.typed, "before": before.in_words(program.units)},
            )
            return _reading_page(request, form, gauges)
        try:
            saved = add_readings(
                gauge=gauge, rows=[reading], source=BatchSource.TYPED, by=request.user
            )
        except Refused as refusal:
            # The amount was checked by the form; what is left is a time that does not fit the readings there are.
            form.add_error("day", str(refusal))
        else:
            messages.success(request, _said(saved, before, reading, form, program.units))
            return redirect("rain:reading_new")
    return _reading_page(request, form, gauges)


def _reading_page(request: HttpRequest, form: ReadingForm, gauges: QuerySet[Gauge]) -> HttpResponse:
    last = [(gauge, gauge.readings.order_by("-start_s")[:SHOWN_MORNINGS]) for gauge in gauges[:3]]
    return render(request, "rain/reading.html", {"form": form, "gauges": gauges, "last": last})


def _said(
    saved: ReadingBatch, before: Reading | None, now: NewReading, form: ReadingForm, units: str
) -> str:
    """What was understood of a typed reading and became of it, in words."""
    facts = {
        "gauge": saved.gauge.code,
        "day": day_text(form.cleaned_data["day"]),
        "amount": amount_words(now.kind, now.depth_um, units),
        "before": before.in_words(units) if before else "",
    }
    if saved.corrected:
        return (
            _(
                "%(gauge)s, %(day)s: now %(amount)s. What stood there, %(before)s, stays in its history."
            )
            % facts
        )
    if saved.same:
        return _("%(gauge)s, %(day)s was known already: %(before)s.") % facts
    return _("%(gauge)s, %(day)s: %(amount)s is written down. Thank you.") % facts
