"""How unusual a rain is: the tables of published frequencies that storms are compared with."""

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_GET, require_POST

from stewardship.common.access import coordinator_required
from stewardship.common.errors import Refused
from stewardship.common.written import length_text, number_text
from stewardship.hydrology.frequency_file import PublishedTable
from stewardship.hydrology.unusual import Frequencies
from stewardship.rain import services
from stewardship.rain.choices import RainSeries
from stewardship.rain.forms.frequency import FrequencyFileForm, KeepFrequenciesForm
from stewardship.rain.models import FrequencyTable
from stewardship.rain.services.frequency import SPEAKS_FOR_M
from stewardship.rain.unusual import duration_text, year_headings

#: units as files print them
UNITS = {
    "inches": gettext_lazy("depths in inches"),
    "millimeters": gettext_lazy("depths in millimetres"),
    "inches/hour": gettext_lazy("intensities in inches per hour"),
    "millimeters/hour": gettext_lazy("intensities in millimetres per hour"),
}


@coordinator_required
def frequencies(request: HttpRequest) -> HttpResponse:
    """What tables there are; a file handed in is shown as it was understood, and not kept yet."""
    form = FrequencyFileForm(request.POST or None, request.FILES or None)
    if request.method == "POST" and form.is_valid():
        keep = KeepFrequenciesForm(initial={"text": form.text, "name": form.found.place})
        return _preview(request, keep, form.found)
    tables = FrequencyTable.objects.select_related("by", "ended_by", "replaced_by").defer("text")
    return render(
        request,
        "rain/frequencies.html",
        {
            "form": form,
            "standing": [table for table in tables if table.ended_at is None],
            "ended": [table for table in tables if table.ended_at is not None],
            "reach": length_text(SPEAKS_FOR_M, request.program.units),
        },
    )


@coordinator_required
@require_POST
def frequency_keep(request: HttpRequest) -> HttpResponse:
    """Keep what was shown."""
    form = KeepFrequenciesForm(request.POST)
    try:
        found = services.understand_frequencies(request.POST.get("text", ""))
    except Refused as refusal:
        messages.error(request, str(refusal))
        return redirect("rain:frequencies")
    if form.is_valid():
        try:
            table = services.keep_frequencies(
                text=form.cleaned_data["text"], name=form.cleaned_data["name"], by=request.user
            )
        except Refused as refusal:
            form.add_error(None, str(refusal))
        else:
            messages.success(
                request, _("Storms near %s are compared with this table from now on.") % table
            )
            return redirect("rain:frequency", pk=table.pk)
    return _preview(request, form, found)


def _preview(
    request: HttpRequest, form: KeepFrequenciesForm, found: PublishedTable
) -> HttpResponse:
    series = RainSeries.ANNUAL if found.frequencies.annual else RainSeries.PARTIAL
    return render(
        request,
        "rain/frequency_preview.html",
        {
            "form": form,
            "found": found,
            "unit": str(UNITS[found.unit]),
            "series": series.label,
        }
        | numbers(found.frequencies),
    )


@coordinator_required
@require_GET
def frequency(request: HttpRequest, pk: int) -> HttpResponse:
    table = get_object_or_404(
        FrequencyTable.objects.select_related("by", "ended_by", "replaced_by"), pk=pk
    )
    return render(
        request,
        "rain/frequency.html",
        {"table": table, "reach": length_text(SPEAKS_FOR_M, request.program.units)}
        | numbers(table.frequencies),
    )


@coordinator_required
@require_POST
def frequency_withdraw(request: HttpRequest, pk: int) -> HttpResponse:
    table = get_object_or_404(FrequencyTable, pk=pk)
    try:
        services.withdraw_frequencies(table=table, by=request.user)
    except Refused as refusal:
        messages.error(request, str(refusal))
    else:
        messages.success(request, _("No storm is compared with %s any more.") % table)
    return redirect("rain:frequencies")


def numbers(table: Frequencies) -> dict[str, Any]:
    """A table as the pages show it: headings of its years with the chance in any year, and rows of depths in µm."""
    chances = (100 * chance for chance in table.chances)
    percent = [_("%s %%") % number_text(one, 0 if one >= 10 else 1) for one in chances]
    return {
        "columns": list(zip(year_headings(table), percent, strict=True)),
        "rows": [
            (duration_text(duration_s), row_um)
            for duration_s, row_um in zip(table.durations_s, table.depths_um, strict=True)
        ],
    }
