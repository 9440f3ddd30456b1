"""The list of gauges."""

from typing import Any

from django.db.models import OuterRef, QuerySet, Subquery
from django.utils import timezone
from django.utils.decorators import method_decorator

from stewardship.common.access import coordinator_required
from stewardship.common.lists import FilteredTableView
from stewardship.rain.filters import GaugeFilter
from stewardship.rain.models import (
    Gauge,
    GaugeOutage,
    GaugePlace,
    Reading,
)
from stewardship.rain.tables import GaugeTable
from stewardship.rain.times import seconds


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
