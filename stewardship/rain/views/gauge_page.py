"""A gauge's page: its record, how complete it is, what is odd about it, and how it stands beside its neighbours."""

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.http import urlencode
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_POST

from people.models import Program
from stewardship.common.access import coordinator_required
from stewardship.common.errors import Refused
from stewardship.common.written import day_text, depth_text
from stewardship.rain import services
from stewardship.rain.charts import beside_neighbours, year_of_rain
from stewardship.rain.choices import SuspicionKind
from stewardship.rain.comparison import Comparison, compare
from stewardship.rain.figures import MARKS, GaugeYear, gauge_year, years_of
from stewardship.rain.forms.suspicions import SetAsideForm
from stewardship.rain.models import Gauge, Suspicion, instant
from stewardship.rain.times import seconds
from stewardship.rain.words import Said, suspicion_words

SHOWN_READINGS = 10
SHOWN_BATCHES = 10
SHOWN_SUSPICIONS = 20
#: Kinds that end with an outage: the gauge did not measure. The others are about single amounts or the calendar.
OUTAGE_KINDS = {SuspicionKind.STUCK, SuspicionKind.STREAK}


@dataclass(frozen=True)
class Shown:
    """A suspicion as the page shows it."""

    suspicion: Suspicion
    said: Said
    outage_url: str
    form: SetAsideForm


@coordinator_required
@require_GET
def gauge(request: HttpRequest, code: str) -> HttpResponse:
    return _page(request, get_object_or_404(Gauge, code=code))


@coordinator_required
@require_POST
def suspicion(request: HttpRequest, code: str, pk: int) -> HttpResponse:
    """Find odd readings right, or ask about them again."""
    found = get_object_or_404(Gauge, code=code)
    about = get_object_or_404(found.suspicions, pk=pk)
    if request.POST.get("again"):
        services.ask_again(suspicion=about, by=request.user)
        messages.success(request, _("It is asked about again."))
        return redirect(f"{reverse('rain:gauge', args=[code])}#odd")
    form = SetAsideForm(request.POST, prefix=str(pk))
    if form.is_valid():
        try:
            services.set_aside(suspicion=about, note=form.cleaned_data["note"], by=request.user)
        except Refused as refusal:
            form.add_error("note", str(refusal))
        else:
            messages.success(request, _("Written down. It is not asked about any more."))
            return redirect(f"{reverse('rain:gauge', args=[code])}#odd")
    return _page(request, found, form_of={pk: form})


def _page(
    request: HttpRequest, found: Gauge, form_of: dict[int, SetAsideForm] | None = None
) -> HttpResponse:
    program: Program = request.program
    today, now_s = program.today(), seconds(timezone.now())
    years = years_of(found, today=today, zone=program.tz)
    asked = request.GET.get("year", "")
    chosen = int(asked) if asked.isdecimal() and int(asked) in years else None
    year = gauge_year(
        found, today=today, now_s=now_s, zone=program.tz, units=program.units, year=chosen
    )
    odd = [
        _shown(one, program, form_of or {})
        for one in found.suspicions.with_outage().select_related("set_aside_by")
    ]
    beside = compare(found, today=today, program=program)
    context: dict[str, Any] = {
        "gauge": found,
        "place": found.place(on=today),
        "years": years,
        "chosen": chosen,
        "year": year,
        "chart": _year_chart(found, year, program.units) if years else "",
        "legend": _legend(),
        "month_days": range(1, 32),
        "odd": [one for one in odd if not one.suspicion.set_aside_at and not one.suspicion.out][
            :SHOWN_SUSPICIONS
        ],
        "explained": [one for one in odd if one.suspicion.set_aside_at or one.suspicion.out],
        "unchecked": found.batches.filter(checked_at__isnull=True).exists(),
        "beside": beside,
        "beside_chart": _beside_chart(found, beside, program.units) if beside else "",
        "outages": found.outages.order_by("-start_s"),
        "batches": found.batches.all()[:SHOWN_BATCHES],
        "readings": found.readings.order_by("-start_s")[:SHOWN_READINGS],
        "readers": found.readers.all(),
    }
    return render(request, "rain/gauge.html", context)


def _shown(one: Suspicion, program: Program, form_of: dict[int, SetAsideForm]) -> Shown:
    query = ""
    if one.kind in OUTAGE_KINDS:
        until_s = one.facts.get("dry_until_s", one.end_s)
        moments = {"from": one.start_at} | ({"until": instant(until_s)} if until_s else {})
        query = urlencode({name: _local(moment, program) for name, moment in moments.items()})
    url = f"{reverse('rain:outage_new', args=[one.gauge.code])}?{query}" if query else ""
    form = form_of.get(one.pk) or SetAsideForm(prefix=str(one.pk))
    return Shown(one, suspicion_words(one, program.units), url, form)


def _local(moment: datetime, program: Program) -> str:
    return moment.astimezone(program.tz).replace(tzinfo=None).isoformat(timespec="minutes")


def _legend() -> list[tuple[str, str, str]]:
    """Kinds of days in the calendar, the mark of each and what it stands for."""
    words = {
        "wet": _("rain"),
        "trace": _("a trace"),
        "dry": _("dry"),
        "total": _("in a total of several days"),
        "part": _("known in part"),
        "missing": _("no reading"),
        "out": _("out of order"),
    }
    return [(kind, MARKS[kind], said) for kind, said in words.items()]


def _year_chart(found: Gauge, year: GaugeYear, units: str) -> str:
    gaps = sum((last - first).days + 1 for first, last in year.gaps)
    said = [
        _("%(depth)s on %(n)s wet days from %(first)s to %(last)s")
        % {
            "depth": depth_text(year.depth_um, units),
            "n": len(year.wet),
            "first": day_text(year.first),
            "last": day_text(year.last),
        },
        _("nothing is known of %s days, hatched") % gaps if gaps else _("no day is unknown"),
        _("the figures are in the tables"),
    ]
    return year_of_rain(
        year,
        title=_("Rain by day at %s") % found.code,
        description="; ".join(said) + ".",
        units=units,
    )


def _beside_chart(found: Gauge, beside: Comparison, units: str) -> str:
    return beside_neighbours(
        beside,
        title=_("%(gauge)s against %(names)s") % {"gauge": found.code, "names": beside.names},
        description=" ".join(beside.words),
        units=units,
    )
