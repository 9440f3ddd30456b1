"""A reader writes down what was in the gauge: signed in, or by a link of their own."""

from datetime import date
from typing import NamedTuple

from django.contrib import messages
from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone, translation
from django.utils.dateparse import parse_date
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache

from people.choices import Role
from people.models import Program, User
from stewardship.common.access import role_required
from stewardship.common.errors import Refused
from stewardship.rain.choices import BatchSource, ReadingKind
from stewardship.rain.forms.readings import TAPS, ReadingForm, daily_gauges
from stewardship.rain.intake.blocks import NewReading, not_before
from stewardship.rain.models import Gauge, ReaderLink, Reading, ReadingBatch, ReadingCorrection
from stewardship.rain.models.readings import amount_words
from stewardship.rain.mornings import (
    Morning,
    days_open,
    last_mornings,
    latest_day,
    morning_of,
    span_of,
    span_text,
)
from stewardship.rain.services import add_readings
from stewardship.rain.services.tokens import note_use, reader_link_of
from stewardship.rain.times import DAY_S

SHOWN_MORNINGS = 7


class Writer(NamedTuple):
    """Who writes, by a log-in or by a link, and the gauges that are theirs."""

    gauges: QuerySet[Gauge]
    user: User | None = None
    link: ReaderLink | None = None


@role_required(Role.COORDINATOR, Role.READER)
def reading_new(request: HttpRequest) -> HttpResponse:
    gauges = daily_gauges(on=request.program.today())
    if not request.user.is_coordinator:
        gauges = gauges.read_by(request.user.person)
    return _page(request, Writer(gauges, user=request.user))


@never_cache
def reading_by_link(request: HttpRequest, secret: str) -> HttpResponse:
    """The same for one reader and one gauge, in the reader's language."""
    link = reader_link_of(secret)
    if link is None:
        return render(request, "rain/no_link.html", {"known": False}, status=404)
    with translation.override(link.person.language):
        if link.opens(on=request.program.today()):
            gauges = Gauge.objects.filter(pk=link.gauge_id)
            response = _page(request, Writer(gauges, link=link))
        else:
            response = render(request, "rain/no_link.html", {"known": True}, status=410)
    response.headers["Content-Language"] = link.person.language
    response.headers["X-Robots-Tag"] = "noindex"
    return response


def _page(request: HttpRequest, writer: Writer) -> HttpResponse:
    program, now = request.program, timezone.now()
    latest = {gauge: latest_day(gauge, now=now, program=program) for gauge in writer.gauges}
    if not latest:
        return render(request, "rain/reading.html", {"gauge": None})
    gauge = _chosen_gauge(request, latest)
    day, slip = _chosen_day(request, gauge, latest[gauge])
    morning = morning_of(gauge, day, program)
    form = ReadingForm(
        request.POST if request.method == "POST" else None,
        gauges=writer.gauges,
        program=program,
        now=now,
        initial={"gauge": gauge, "day": day, "days": _days(morning)},
    )
    if form.is_bound and form.is_valid() and not form.doubt:
        said = _write(writer, form)
        if said:
            messages.success(request, said)
            return redirect(request.path)
    context = {
        "form": form,
        "taps": TAPS.items(),
        "gauge": gauge,
        "gauges": list(latest),
        "day": day,
        "slip": slip,
        "span": span_text(*span_of(gauge, day, 1, program), program, today=program.today()),
        "morning": morning,
        "stands": _words(morning, program),
        "history": _history(morning, program),
        "open_days": 1 if morning.reading else days_open(gauge, day, program),
        "latest": latest[gauge],
        "mornings": [
            (one, _words(one, program))
            for one in last_mornings(gauge, latest[gauge], SHOWN_MORNINGS, program)
        ],
        "link": writer.link,
    }
    return render(request, "rain/reading.html", context)


def _chosen_gauge(request: HttpRequest, latest: dict[Gauge, date]) -> Gauge:
    """The one that was asked for; else the first whose last morning is empty, so that one comes after the other."""
    said = request.POST.get("gauge") or request.GET.get("gauge")
    for gauge in latest:
        if said in (gauge.code, str(gauge.pk)):
            return gauge
    empty = (g for g, day in latest.items() if not morning_of(g, day, request.program).reading)
    return next(empty, next(iter(latest)))


def _chosen_day(request: HttpRequest, gauge: Gauge, latest: date) -> tuple[date, str]:
    """The morning that was asked for; the last one, with a sentence, where that cannot be."""
    said = request.POST.get("day") or request.GET.get("day")
    if not said:
        return latest, ""
    try:
        day = parse_date(said)
    except ValueError:
        day = None
    if day is None:
        return latest, _("That is not a day.")
    if day > latest:
        return latest, _("That morning is still to come.")
    if day < gauge.started_on:
        return latest, not_before(gauge.started_on)
    return day, ""


def _days(morning: Morning) -> int:
    """How many days the reading that stands there holds."""
    reading = morning.reading
    if reading is None or morning.within:
        return 1
    return max(1, round((reading.end_s - reading.start_s) / DAY_S))


def _words(morning: Morning, program: Program) -> str:
    return morning.reading.in_words(program.units) if morning.reading else ""


def _history(morning: Morning, program: Program) -> list[tuple[str, ReadingCorrection]]:
    """What the reading said before, in words, the newest first."""
    if morning.reading is None:
        return []
    corrections = morning.reading.corrections.select_related(
        "was_batch__by", "was_batch__by_person", "was_batch__token"
    ).order_by("-at", "-pk")
    return [
        (amount_words(one.was_kind, one.was_depth_um, program.units), one) for one in corrections
    ]


def _write(writer: Writer, form: ReadingForm) -> str:
    """Write a reading down and say what was understood; "" where the form now says why it could not be."""
    gauge, now, program = form.cleaned_data["gauge"], form.reading(), form.program
    before = gauge.readings.filter(start_s=now.start_s, end_s=now.end_s).first()
    if now.kind == ReadingKind.MISSING and before and before.kind != ReadingKind.MISSING:
        form.add_error(
            "amount",
            _("%(typed)s cannot take back %(before)s. Write down the right depth instead.")
            % {"typed": now.typed, "before": before.in_words(program.units)},
        )
        return ""
    try:
        saved = add_readings(
            gauge=gauge,
            rows=[now],
            source=BatchSource.TYPED,
            by=writer.user,
            by_person=writer.link.person if writer.link else None,
        )
    except Refused as refusal:
        # The amount was checked by the form; what is left is a time that does not fit the readings there are.
        form.add_error("days", str(refusal))
        return ""
    if writer.link:
        note_use(writer.link, at=timezone.now())
    return _said(saved, before, now, program)


def _said(saved: ReadingBatch, before: Reading | None, now: NewReading, program: Program) -> str:
    """What was understood of a typed reading and became of it, in words."""
    facts = {
        "gauge": saved.gauge.code,
        "span": span_text(now.start_s, now.end_s, program, today=program.today()),
        "amount": amount_words(now.kind, now.depth_um, program.units),
        "before": before.in_words(program.units) if before else "",
    }
    if saved.corrected:
        return (
            _(
                "Corrected for %(gauge)s, %(span)s: %(before)s → %(amount)s. "
                "What stood there stays in its history."
            )
            % facts
        )
    if saved.same:
        return _("Known already for %(gauge)s, %(span)s: %(before)s.") % facts
    return _("Written down for %(gauge)s, %(span)s: %(amount)s. Thank you.") % facts
