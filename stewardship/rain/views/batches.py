"""Readings that came in together: what became of them, and taking them back."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET
from django_tables2 import RequestConfig

from stewardship.common.access import coordinator_required
from stewardship.common.errors import Refused
from stewardship.common.lists import csv_response
from stewardship.rain.forms.files import UndoForm
from stewardship.rain.models import ReadingBatch
from stewardship.rain.services import undo_batch, undo_plan
from stewardship.rain.services.pushing import MOST_REJECTED_KEPT
from stewardship.rain.tables import RejectedRowTable

SHOWN_CORRECTIONS = 50


def _batch(pk: int) -> ReadingBatch:
    return get_object_or_404(
        ReadingBatch.objects.select_related(
            "gauge", "file", "by", "by_person", "token", "undone_by"
        ),
        pk=pk,
    )


@coordinator_required
@require_GET
def batch(request: HttpRequest, pk: int) -> HttpResponse:
    found = _batch(pk)
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
            "unlisted": found.rejected - found.rejected_rows.count(),
            "kept_a_day": MOST_REJECTED_KEPT,
            "corrections": found.corrections.select_related("reading")[:SHOWN_CORRECTIONS],
        },
    )


@coordinator_required
def batch_undo(request: HttpRequest, pk: int) -> HttpResponse:
    """What taking it back would do; a POST with a reason does it."""
    found = _batch(pk)
    if found.undone_at is not None and request.method != "POST":
        return redirect("rain:batch", pk=pk)
    form = UndoForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            undo_batch(batch=found, by=request.user, why=form.cleaned_data["why"])
        except Refused as refusal:
            form.add_error(None, str(refusal))
        else:
            messages.success(
                request,
                _("It was taken back. The storms of that time are found again in a moment."),
            )
            return redirect("rain:batch", pk=pk)
    return render(
        request, "rain/batch_undo.html", {"batch": found, "plan": undo_plan(found), "form": form}
    )
