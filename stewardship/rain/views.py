from typing import Any

from django.contrib import messages
from django.db.models import OuterRef, QuerySet, Subquery
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.decorators import method_decorator
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET
from django_tables2 import RequestConfig

from people.choices import Role
from stewardship.common.access import coordinator_required, role_required
from stewardship.common.errors import Refused
from stewardship.common.lists import FilteredTableView, csv_response
from stewardship.common.written import day_text, depth_text
from stewardship.rain.blocks import NewReading
from stewardship.rain.charts import year_of_rain
from stewardship.rain.choices import BatchSource, ReadingKind
from stewardship.rain.figures import GaugeYear, gauge_year
from stewardship.rain.filters import GaugeFilter, StormFilter
from stewardship.rain.forms import ImportForm, ReadingForm, daily_gauges
from stewardship.rain.models import (
    Gauge,
    GaugeOutage,
    Reading,
    ReadingBatch,
    Storm,
)
from stewardship.rain.models.readings import amount_words
from stewardship.rain.services import add_readings, import_file
from stewardship.rain.tables import GaugeTable, RejectedRowTable, StormTable
from stewardship.rain.times import seconds

SHOWN_READINGS = 10
SHOWN_BATCHES = 10
SHOWN_CORRECTIONS = 50
SHOWN_MORNINGS = 7


@method_decorator(coordinator_required, name="dispatch")
class StormList(FilteredTableView):
    table_class = StormTable
    filterset_class = StormFilter
    template_name = "rain/storms.html"
    export_name = "storms"

    def get_queryset(self) -> QuerySet[Storm]:
        return Storm.objects.standing().with_counts()

    def get_filterset_kwargs(self, filterset_class: type[StormFilter]) -> dict[str, Any]:
        # Small storms are left out unless somebody asks, so the filter always speaks, even when nothing was chosen.
        return super().get_filterset_kwargs(filterset_class) | {"data": self.request.GET}

    def get_table_kwargs(self) -> dict[str, Any]:
        return {"units": self.request.program.units}


@method_decorator(coordinator_required, name="dispatch")
class GaugeList(FilteredTableView):
    table_class = GaugeTable
    filterset_class = GaugeFilter
    template_name = "rain/gauges.html"
    export_name = "gauges"

    def get_queryset(self) -> QuerySet[Gauge]:
        out = GaugeOutage.objects.filter(gauge=OuterRef("pk")).during(seconds(timezone.now()))
        return Gauge.objects.annotate(
            last_end_s=Reading.objects.latest_end(of=OuterRef("pk")),
            out_why=Subquery(out.values("why")[:1]),
        )

    def get_table_kwargs(self) -> dict[str, Any]:
        return {"today": self.request.program.today()}


@coordinator_required
@require_GET
def gauge(request: HttpRequest, code: str) -> HttpResponse:
    found = get_object_or_404(Gauge, code=code)
    program, now = request.program, timezone.now()
    year = gauge_year(found, today=program.today(), now_s=seconds(now), zone=program.tz)
    return render(
        request,
        "rain/gauge.html",
        {
            "gauge": found,
            "year": year,
            "chart": _year_chart(found, year, program.units),
            "outages": found.outages.order_by("-start_s"),
            "batches": found.batches.all()[:SHOWN_BATCHES],
            "readings": found.readings.order_by("-start_s")[:SHOWN_READINGS],
            "readers": found.readers.all(),
        },
    )


def _year_chart(found: Gauge, year: GaugeYear, units: str) -> str:
    return year_of_rain(
        year.wet,
        first=year.first,
        last=year.last,
        title=_("Rain by day at %s") % found.code,
        description=_("%(depth)s on %(n)s wet days since %(day)s; the figures are in the table.")
        % {
            "depth": depth_text(year.depth_um, units),
            "n": len(year.wet),
            "day": day_text(year.first),
        },
        units=units,
    )


@coordinator_required
def import_page(request: HttpRequest) -> HttpResponse:
    form = ImportForm(
        request.POST or None,
        request.FILES or None,
        initial={"gauge": Gauge.objects.filter(code=request.GET.get("gauge", "")).first()},
    )
    if request.method == "POST" and form.is_valid():
        file = form.cleaned_data["file"]
        try:
            batch = import_file(
                gauge=form.cleaned_data["gauge"],
                file_name=file.name,
                content=file.file,
                wishes=form.wishes(),
                by=request.user,
            )
        except Refused as refusal:
            form.add_error("file", str(refusal).splitlines())
        else:
            return redirect("rain:batch", pk=batch.pk)
    return render(request, "rain/import.html", {"form": form})


@coordinator_required
@require_GET
def batch(request: HttpRequest, pk: int) -> HttpResponse:
    found = get_object_or_404(ReadingBatch.objects.select_related("gauge", "by"), pk=pk)
    table = RejectedRowTable(found.rejected_rows.all())
    if request.GET.get("_export") == "csv":
        return csv_response(table.as_values(), name=f"rejected-{found.pk}")
    RequestConfig(request, paginate={"per_page": 50}).configure(table)
    return render(
        request,
        "rain/batch.html",
        {
            "batch": found,
            "table": table,
            "corrections": found.corrections.select_related("reading")[:SHOWN_CORRECTIONS],
        },
    )


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
