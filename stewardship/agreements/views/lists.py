"""The list of agreements."""

from typing import Any

from django.db.models import QuerySet
from django.utils.decorators import method_decorator

from stewardship.agreements.filters import AgreementFilter
from stewardship.agreements.models import Agreement
from stewardship.agreements.tables import AgreementTable
from stewardship.common.access import coordinator_required
from stewardship.common.lists import FilteredTableView


@method_decorator(coordinator_required, name="dispatch")
class AgreementList(FilteredTableView):
    model = Agreement
    table_class = AgreementTable
    filterset_class = AgreementFilter
    template_name = "agreements/list.html"
    export_name = "agreements"

    def get_queryset(self) -> QuerySet[Agreement]:
        return Agreement.objects.with_signing().prefetch_related("sites")

    def get_table_kwargs(self) -> dict[str, Any]:
        return {"today": self.request.program.today()}

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        unfinished = Agreement.objects.unfinished().with_signing().prefetch_related("sites")
        return super().get_context_data(unfinished=unfinished, **kwargs)
