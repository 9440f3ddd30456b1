"""The list of storms."""

from typing import Any

from django.db.models import QuerySet
from django.utils.decorators import method_decorator

from stewardship.common.access import coordinator_required
from stewardship.common.lists import FilteredTableView
from stewardship.common.written import least_shown_um
from stewardship.rain.filters import StormFilter
from stewardship.rain.models import Storm
from stewardship.rain.tables import StormTable


@method_decorator(coordinator_required, name="dispatch")
class StormList(FilteredTableView):
    table_class = StormTable
    filterset_class = StormFilter
    template_name = "rain/storms.html"
    export_name = "storms"

    def get_queryset(self) -> QuerySet[Storm]:
        # What the page would write as no rain is none.
        return Storm.objects.standing().with_counts(
            least_um=least_shown_um(self.request.program.units)
        )

    def get_filterset_kwargs(self, filterset_class: type[StormFilter]) -> dict[str, Any]:
        # Small storms are left out unless somebody asks, so the filter always speaks, even when nothing was chosen.
        return super().get_filterset_kwargs(filterset_class) | {"data": self.request.GET}

    def get_table_kwargs(self) -> dict[str, Any]:
        return {"units": self.request.program.units}
