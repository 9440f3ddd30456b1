"""Pages on which a gauge is added, corrected, moved, ended, and said to be out."""

from contextlib import suppress
from datetime import date, datetime
from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.http import urlencode
from django.utils.translation import gettext as _

from stewardship.common.access import coordinator_required
from stewardship.common.errors import Refused
from stewardship.common.written import day_text, moment_text
from stewardship.rain import services
from stewardship.rain.forms.gauges import (
    EndForm,
    GaugeFacts,
    MoveForm,
    NewGaugeForm,
    OutageForm,
    PlaceForm,
    ReadersForm,
    TakeUpForm,
)
from stewardship.rain.models import Gauge, GaugeOutage, Storm
from stewardship.rain.services.gauges import OF_PAST_STORMS
from stewardship.rain.times import local_s


def _form_page(
    request: HttpRequest, form: forms.Form, *, heading: str, gauge: Gauge | None, **more: Any
) -> HttpResponse:
    context = {"form": form, "heading": heading, "gauge": gauge} | more
    return render(request, "rain/gauge_form.html", context)


def _show(gauge: Gauge) -> HttpResponse:
    return redirect("rain:gauge", code=gauge.code)


def _offer_storms(request: HttpRequest, gauge: Gauge, since: date, why: str) -> HttpResponse:
    """On to the page that finds storms again where there are some since that day; to the gauge where there are none."""
    from_s = local_s(since, request.program.tz)
    if not Storm.objects.standing().filter(end_s__gt=from_s).exists():
        return _show(gauge)
    query = urlencode({"since": since.isoformat(), "why": why, "gauge": gauge.code})
    return redirect(f"{reverse('rain:find_again')}?{query}")


@coordinator_required
def new(request: HttpRequest) -> HttpResponse:
    program = request.program
    form = NewGaugeForm(
        request.POST or None,
        units=program.units,
        today=program.today(),
        initial={"started_on": program.today()},
    )
    if request.method == "POST" and form.is_valid():
        try:
            gauge = services.create_gauge(by=request.user, **form.facts())
        except Refused as refusal:
            form.add_error("code", str(refusal))
        else:
            messages.success(request, _("%s is in the book. Its readings can come in.") % gauge)
            return _show(gauge)
    return _form_page(request, form, heading=_("New gauge"), gauge=None)


@coordinator_required
def correct(request: HttpRequest, code: str) -> HttpResponse:
    gauge = get_object_or_404(Gauge, code=code)
    has_readings = gauge.readings.exists()
    program = request.program
    form = GaugeFacts(
        request.POST or None,
        units=program.units,
        today=program.today(),
        gauge=gauge,
        has_readings=has_readings,
    )
    if request.method == "POST" and form.is_valid():
        try:
            changed = services.update_gauge(gauge=gauge, by=request.user, **form.facts())
        except Refused as refusal:
            field = "started_on" if "started_on" in form.changed_data else None
            form.add_error(field, str(refusal))
        else:
            messages.success(request, _("%s is corrected.") % code)
            if any(name in OF_PAST_STORMS for name in changed):
                since = form.cleaned_data["started_on"]
                return _offer_storms(request, gauge, since, _("%s was corrected.") % code)
            return _show(gauge)
    return _form_page(
        request, form, heading=_("Correct %s") % code, gauge=gauge, has_readings=has_readings
    )


@coordinator_required
def move(request: HttpRequest, code: str) -> HttpResponse:
    gauge = get_object_or_404(Gauge, code=code)
    program = request.program
    form = MoveForm(request.POST or None, units=program.units, initial={"since": program.today()})
    if request.method == "POST" and form.is_valid():
        since = form.cleaned_data["since"]
        try:
            services.move_gauge(gauge=gauge, since=since, by=request.user, **form.place())
        except Refused as refusal:
            form.add_error("since", str(refusal))
        else:
            messages.success(
                request,
                _("From %(day)s on %(gauge)s speaks for its new place; what it measured before stays where it stood.")
                % {"day": day_text(since), "gauge": code},
            )  # fmt: skip
            return _offer_storms(request, gauge, since, _("%s was moved.") % code)
    return _form_page(
        request,
        form,
        heading=_("%s was moved") % code,
        gauge=gauge,
        moving=True,
        place_pk=gauge.place(on=program.today()).pk,
    )


@coordinator_required
def place(request: HttpRequest, code: str, pk: int) -> HttpResponse:
    gauge = get_object_or_404(Gauge, code=code)
    stood = get_object_or_404(gauge.places, pk=pk)
    form = PlaceForm(
        request.POST or None,
        units=request.program.units,
        initial={"lat": stood.lat, "lon": stood.lon, "note": stood.note},
    )
    if request.method == "POST" and form.is_valid():
        services.correct_place(place=stood, by=request.user, **form.place())
        messages.success(request, _("The place of %s is corrected.") % code)
        if {"lat", "lon"} & set(form.changed_data):
            return _offer_storms(
                request, gauge, stood.since, _("The place of %s was corrected.") % code
            )
        return _show(gauge)
    heading = _("Where %(gauge)s stood since %(day)s") % {
        "gauge": code,
        "day": day_text(stood.since),
    }
    return _form_page(request, form, heading=heading, gauge=gauge)


@coordinator_required
def end(request: HttpRequest, code: str) -> HttpResponse:
    """The gauge's last day; of a gauge that has ended, that it stands again."""
    gauge = get_object_or_404(Gauge, code=code)
    ended = gauge.ended_on is not None
    kind = TakeUpForm if ended else EndForm
    form = kind(request.POST or None, initial={"on": request.program.today()})
    if request.method == "POST" and form.is_valid():
        service = services.take_up_gauge if ended else services.end_gauge
        try:
            service(gauge=gauge, by=request.user, **form.cleaned_data)
        except Refused as refusal:
            form.add_error(None if ended else "on", str(refusal))
        else:
            said = _("%s stands again.") if ended else _("%s stands no more; its record stays.")
            messages.success(request, said % code)
            return _show(gauge)
    heading = _("%s stands again") if ended else _("%s stands no more")
    return _form_page(request, form, heading=heading % code, gauge=gauge, ended=ended)


@coordinator_required
def readers(request: HttpRequest, code: str) -> HttpResponse:
    gauge = get_object_or_404(Gauge, code=code)
    form = ReadersForm(request.POST if request.method == "POST" else None, gauge=gauge)
    if request.method == "POST" and form.is_valid():
        services.set_readers(gauge=gauge, readers=form.readers(), by=request.user)
        messages.success(request, _("Who reads %s is written down.") % code)
        return _show(gauge)
    return _form_page(request, form, heading=_("Who reads %s") % code, gauge=gauge)


def _asked_about(request: HttpRequest) -> dict[str, datetime]:
    """The time that a link to the form names, by the program's clock; what is no time is left out."""
    found = {}
    for name, key in (("start", "from"), ("end", "until")):
        with suppress(ValueError):
            found[name] = datetime.fromisoformat(request.GET.get(key, ""))
    return found


def _outage(request: HttpRequest, gauge: Gauge, outage: GaugeOutage | None) -> HttpResponse:
    form = OutageForm(request.POST or None, outage=outage, initial=_asked_about(request))
    if request.method == "POST" and form.is_valid():
        try:
            kept = services.note_outage(gauge=gauge, outage=outage, by=request.user, **form.facts())
        except Refused as refusal:
            form.add_error("start", str(refusal))
        else:
            messages.success(
                request,
                _("%s is out of order until you write down that it is back.") % gauge.code
                if kept.end_at is None
                else _("%(gauge)s is at work again since %(moment)s.")
                % {"gauge": gauge.code, "moment": moment_text(kept.end_at)},
            )
            return _show(gauge)
    heading = _("%s out of order") % gauge.code
    return _form_page(request, form, heading=heading, gauge=gauge, outage=True)


@coordinator_required
def outage_new(request: HttpRequest, code: str) -> HttpResponse:
    return _outage(request, get_object_or_404(Gauge, code=code), None)


@coordinator_required
def outage(request: HttpRequest, code: str, pk: int) -> HttpResponse:
    gauge = get_object_or_404(Gauge, code=code)
    return _outage(request, gauge, get_object_or_404(gauge.outages, pk=pk))
