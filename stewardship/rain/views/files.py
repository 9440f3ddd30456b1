"""A file of readings comes in: handed over, looked at, taken in."""

from dataclasses import replace

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_POST

from stewardship.common.access import coordinator_required
from stewardship.common.errors import Refused
from stewardship.common.lists import csv_response
from stewardship.rain.choices import FileState
from stewardship.rain.forms.files import LayoutForm, UploadForm
from stewardship.rain.intake.filestore import stored
from stewardship.rain.intake.layout import Wishes
from stewardship.rain.intake.preview import Preview, preview_of, warnings_of
from stewardship.rain.intake.rehearsal import Found, rehearse
from stewardship.rain.models import Gauge, ReadingFile, RejectedRow, instant
from stewardship.rain.models.readings import amount_words
from stewardship.rain.services import (
    confirm_file,
    drop_file,
    rows_so_far,
    say_layout,
    thrown_away_at,
    upload_file,
)

#: More rows than anybody reads; the list stops there and says so.
MOST_LISTED = 100_000


@coordinator_required
def import_page(request: HttpRequest) -> HttpResponse:
    form = UploadForm(
        request.POST or None,
        request.FILES or None,
        initial={"gauge": Gauge.objects.filter(code=request.GET.get("gauge", "")).first()},
    )
    if request.method == "POST" and form.is_valid():
        upload = form.cleaned_data["file"]
        try:
            file = upload_file(
                gauge=form.cleaned_data["gauge"],
                file_name=upload.name,
                content=upload.file,
                by=request.user,
            )
        except Refused as refusal:
            form.add_error("file", str(refusal))
        else:
            return redirect("rain:file", pk=file.pk)
    mine = ReadingFile.objects.for_a_person().select_related("gauge").filter(by=request.user)
    return render(request, "rain/import.html", {"form": form, "waiting": mine})


def _file(pk: int) -> ReadingFile:
    return get_object_or_404(ReadingFile.objects.select_related("gauge", "by"), pk=pk)


@coordinator_required
@require_GET
def file(request: HttpRequest, pk: int) -> HttpResponse:
    return _file_page(request, _file(pk))


def _file_page(
    request: HttpRequest, file: ReadingFile, form: LayoutForm | None = None
) -> HttpResponse:
    open_to_change = file.state in (FileState.LOOKED, FileState.REFUSED) and file.parts.exists()
    context = {"file": file, "open_to_change": open_to_change, "states": FileState}
    if open_to_change:
        preview = preview_of(file)
        found = None if file.found is None else Found.of_json(file.found)
        context |= {
            "preview": preview,
            "refusal": file.refusal or preview.refusal or (found.refusal if found else ""),
            "form": form or _layout_form(file, preview),
            "thrown_away_at": thrown_away_at(file),
        }
        listed = found is not None and found.rejected
        context["refusal_shown"] = (
            context["refusal"].partition("\n")[0] if listed else context["refusal"]
        )
        if found is not None:
            context |= _found_context(found, request.program.units)
    elif file.state in (FileState.TAKEN, FileState.UNDONE):
        context["batches"] = file.batches.select_related("gauge").order_by("gauge__code")
    if file.state == FileState.CONFIRMED or (file.state == FileState.LOOKED and not file.found):
        context |= {"working": True, "rows_so_far": rows_so_far(file)}
    return render(request, "rain/file.html", context)


def _found_context(found: Found, units: str) -> dict:
    return {
        "found": found,
        "warnings": warnings_of(found, units),
        "totals": {name: found.total(name) for name in ("added", "same", "corrected", "rejected")},
        "spans": [
            (one, instant(one.first_s), instant(one.last_s))
            for one in found.gauges
            if one.first_s is not None and one.last_s is not None
        ],
        "corrections": [
            (
                one.code,
                instant(end_s),
                amount_words(was_kind, was_um, units),
                amount_words(kind, depth_um, units),
            )
            for one in found.gauges
            for _start_s, end_s, was_kind, was_um, kind, depth_um in one.corrections
        ],
    }


def _layout_form(file: ReadingFile, preview: Preview, data=None) -> LayoutForm:
    said = Wishes(**file.wishes)
    found = said if preview.refusal else preview.guesses
    if file.found and file.found["refusal"]:
        found = replace(found, dates=said.dates)  # so that either order can be said
    return LayoutForm(data, said=said, found=found, gauge=file.gauge)


@coordinator_required
@require_POST
def file_look(request: HttpRequest, pk: int) -> HttpResponse:
    """What the person says of the layout is kept, and the file is looked through again."""
    found = _file(pk)
    form = _layout_form(found, preview_of(found), request.POST)
    if not form.is_valid():
        return _file_page(request, found, form)
    try:
        say_layout(
            file=found, gauge=form.cleaned_data["gauge"], wishes=form.wishes(), by=request.user
        )
    except Refused as refusal:
        messages.error(request, str(refusal))
    return redirect("rain:file", pk=pk)


@coordinator_required
@require_POST
def file_take(request: HttpRequest, pk: int) -> HttpResponse:
    try:
        taken = confirm_file(file=_file(pk), seen=request.POST.get("seen", ""), by=request.user)
    except Refused as refusal:
        messages.error(request, str(refusal))
        return redirect("rain:file", pk=pk)
    batches = list(taken.batches.all()[:2])
    if len(batches) == 1:
        return redirect("rain:batch", pk=batches[0].pk)
    return redirect("rain:file", pk=pk)


@coordinator_required
@require_POST
def file_drop(request: HttpRequest, pk: int) -> HttpResponse:
    found = _file(pk)
    try:
        drop_file(file=found)
    except Refused as refusal:
        messages.error(request, str(refusal))
        return redirect("rain:file", pk=pk)
    messages.success(
        request, _("%s was thrown away; nothing of it came into the book.") % found.name
    )
    return redirect("rain:import")


@coordinator_required
@require_GET
def file_rejected(request: HttpRequest, pk: int) -> HttpResponse:
    """Every row that would not be taken in, as CSV: the file is looked through once more, and nothing is written."""
    found = _file(pk)
    rows: list[tuple[int, str, str, str]] = []

    def hear(rejected: list[RejectedRow]) -> None:
        room = max(0, MOST_LISTED - len(rows))
        rows.extend((row.line, row.batch.gauge.code, row.why, row.text) for row in rejected[:room])

    rehearse(content=stored(found), gauge=found.gauge, wishes=Wishes(**found.wishes), hear=hear)
    lines: list[list] = [[_("Line"), _("Gauge"), _("Why"), _("What it says")]]
    lines += [list(row) for row in sorted(rows)]
    if len(rows) == MOST_LISTED:
        lines.append(["", "", _("The list stops here; there may be more."), ""])
    day = f"{timezone.localdate():%Y-%m-%d}"
    return csv_response(iter(lines), name=f"not-taken-in-{found.pk}-{day}")
