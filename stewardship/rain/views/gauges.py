"""The list of gauges and each gauge's page."""

from typing import Any

from django.db.models import OuterRef, QuerySet, Subquery
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils import timezone
from django.utils.decorators import method_decorator
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET

from stewardship.common.access import coordinator_required
from stewardship.common.lists import FilteredTableView
from stewardship.common.written import day_text, depth_text
from stewardship.rain.charts import year_of_rain
from stewardship.rain.figures import GaugeYear, gauge_year
from stewardship.rain.filters import GaugeFilter
from stewardship.rain.models import (
    Gauge,
    GaugeOutage,
    GaugePlace,
    Reading,
)
from stewardship.rain.tables import GaugeTable
from stewardship.rain.times import seconds

SHOWN_READINGS = 10
SHOWN_BATCHES = 10


@method_decorator(coordinator_required, name="dispatch")
class GaugeList(FilteredTableView):
    table_class = GaugeTable
    filterset_class = GaugeFilter
    template_name = "rain/gauges.html"
    export_name = "gauges"

    def get_queryset(self) -> QuerySet[Gauge]:
        out = GaugeOutage.objects.filter(gauge=OuterRef("pk")).during(seconds(timezone.now()))
        # Its last place by now; no place lies in the future.
        stands = GaugePlace.objects.filter(gauge=OuterRef("pk")).order_by("-since")
        return Gauge.objects.annotate(
            lat=Subquery(stands.values("lat")[:1]),
            lon=Subquery(stands.values("lon")[:1]),
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
            "place": found.place(on=program.today()),
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
