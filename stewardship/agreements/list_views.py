"""Lists of people, sites and agreements: brought in after a look, and written out."""

from typing import Any

from django import forms
from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_GET, require_POST

from stewardship.agreements.choices import ListState
from stewardship.agreements.lists import steps
from stewardship.agreements.lists.reading import MOST_BYTES
from stewardship.agreements.lists.sheets import SHEETS
from stewardship.agreements.lists.writing import as_csv, as_workbook, faults_as_csv
from stewardship.agreements.models import ListFile
from stewardship.common.access import coordinator_required
from stewardship.common.errors import Refused

XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
#: Rows that were not taken and are shown; all are in the CSV.
SHOWN = 200


class ListForm(forms.Form):
    file = forms.FileField(
        label=gettext_lazy("File"),
        help_text=gettext_lazy(
            "A workbook (.xlsx) with a sheet for each list, or one list as CSV."
        ),
        widget=forms.ClearableFileInput(attrs={"accept": ".xlsx,.csv,.txt"}),
    )
    kept_by = forms.CharField(
        label=gettext_lazy("Whose list is it"),
        max_length=80,
        help_text=gettext_lazy(
            "A name of your own, e.g. “old spreadsheet”: its identifiers are kept under it, so that the same list may come in again without doubling anybody. For a list that was written out here: Rillbook."
        ),
    )
    day_order = forms.ChoiceField(
        label=gettext_lazy("A day with slashes reads"),
        choices=[
            ("month_first", gettext_lazy("month first: 7/14/2026")),
            ("day_first", gettext_lazy("day first: 14/7/2026")),
        ],
        required=False,
        initial="month_first",
    )

    def clean_file(self) -> Any:
        upload = self.cleaned_data["file"]
        if upload.size > MOST_BYTES:
            raise forms.ValidationError(
                _("The file is larger than %d MB; is it the right one?") % (MOST_BYTES // 10**6)
            )
        return upload


@coordinator_required
def lists(request: HttpRequest) -> HttpResponse:
    form = ListForm(request.POST or None, request.FILES or None)
    if request.method == "POST" and form.is_valid():
        upload = form.cleaned_data["file"]
        try:
            file = steps.look(
                name=upload.name,
                content=upload.read(),
                kept_by=form.cleaned_data["kept_by"],
                day_order=form.cleaned_data["day_order"] or "month_first",
                by=request.user,
            )
        except Refused as refusal:
            form.add_error("file", str(refusal))
        else:
            return redirect("agreements:list_file", pk=file.pk)
    files = ListFile.objects.defer("content", "found").select_related("by")[:50]
    return render(
        request,
        "agreements/lists.html",
        {"form": form, "files": files, "sheets": SHEETS.values()},
        status=422 if form.errors else 200,
    )


@coordinator_required
@require_GET
def list_file(request: HttpRequest, pk: int) -> HttpResponse:
    file = get_object_or_404(
        ListFile.objects.defer("content").select_related("by").exclude(state=ListState.GIVEN), pk=pk
    )
    counts = file.found.get("counts", {})
    rows = [
        (sheet, [counts[name].get(what, 0) for what in ("new", "changed", "same", "refused")])
        for name, sheet in SHEETS.items()
        if name in counts
    ]
    faults = file.found.get("faults", [])
    return render(
        request,
        "agreements/list_file.html",
        {
            "file": file,
            "rows": rows,
            "good": sum(sum(numbers[:2]) for _sheet, numbers in rows),
            "faults": faults[:SHOWN],
            "more_faults": max(0, len(faults) - SHOWN),
            "unused": [
                (SHEETS[name], ", ".join(names))
                for name, names in file.found.get("unused", {}).items()
            ],
        },
    )


@coordinator_required
@require_POST
def list_take(request: HttpRequest, pk: int) -> HttpResponse:
    file = get_object_or_404(ListFile.objects.defer("content"), pk=pk)
    try:
        if request.POST.get("do") == "leave":
            steps.leave(file=file)
            messages.success(request, _("Left. Nothing of it is in the book."))
            return redirect("agreements:lists")
        taken = steps.take(file=file, by=request.user)
    except Refused as refusal:
        messages.error(request, str(refusal))
    else:
        counts = taken.found["counts"].values()
        messages.success(
            request,
            _("Taken in: %(new)d new, %(changed)d changed, %(refused)d not taken.")
            % {
                what: sum(count.get(what, 0) for count in counts)
                for what in ("new", "changed", "refused")
            },
        )
    return redirect("agreements:list_file", pk=pk)


@coordinator_required
@require_GET
def list_faults(request: HttpRequest, pk: int) -> HttpResponse:
    file = get_object_or_404(ListFile.objects.defer("content"), pk=pk)
    return _download(faults_as_csv(file.found.get("faults", [])), "not-taken.csv", "text/csv")


@coordinator_required
@require_POST
def lists_out(request: HttpRequest) -> HttpResponse:
    """The whole book as a workbook, or one list as CSV. That it was given out is written down: it holds addresses."""
    name = request.POST.get("list", "")
    if name == "all":
        file_name, kind, content = "rillbook.xlsx", XLSX, as_workbook()
    elif name in SHEETS:
        file_name, kind, content = f"{name}.csv", "text/csv; charset=utf-8", as_csv(name)
    else:
        raise Http404
    steps.give_out(name=file_name, content=content, by=request.user)
    return _download(content, file_name, kind)


def _download(content: bytes, name: str, kind: str) -> HttpResponse:
    return HttpResponse(
        content,
        content_type=kind,
        headers={"Content-Disposition": f'attachment; filename="{name}"'},
    )
