"""One household: who lives there, and its name and address put right."""

from copy import copy

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET

from people import services
from people.forms import HouseholdForm
from people.merging import merges_of
from people.models import Household
from stewardship.common.access import coordinator_required
from stewardship.common.errors import Refused


@coordinator_required
@require_GET
def household(request: HttpRequest, pk: int) -> HttpResponse:
    found = get_object_or_404(Household.objects.select_related("merged_into"), pk=pk)
    return render(
        request,
        "people/household.html",
        {
            "household": found,
            "people": found.people.known(),
            "merges": merges_of(found),
        },
    )


@coordinator_required
def household_edit(request: HttpRequest, pk: int) -> HttpResponse:
    found = get_object_or_404(Household.objects.known(), pk=pk)
    # a copy for the form, which writes what was typed into it before anything is decided
    form = HouseholdForm(request.POST or None, instance=copy(found))
    if request.method == "POST" and form.is_valid():
        try:
            found = services.update_household(household=found, **form.cleaned_data)
        except Refused as refusal:
            form.add_error("name", str(refusal))
        else:
            messages.success(request, _("%s is saved.") % found.name)
            return redirect("people:household", pk=found.pk)
    return render(request, "people/household_form.html", {"form": form, "household": found})
