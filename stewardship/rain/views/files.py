"""A file of readings comes in."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_GET
from django_tables2 import RequestConfig

from stewardship.common.access import coordinator_required
from stewardship.common.errors import Refused
from stewardship.common.lists import csv_response
from stewardship.rain.forms.files import ImportForm
from stewardship.rain.models import (
    Gauge,
    ReadingBatch,
)
from stewardship.rain.services import import_file
from stewardship.rain.tables import RejectedRowTable

SHOWN_CORRECTIONS = 50


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
