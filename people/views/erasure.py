"""Delete my data: what goes, what stays and why, before anything is done."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _

from people import erasing
from people.forms import EraseForm
from people.models import Person
from stewardship.common.access import coordinator_required
from stewardship.common.errors import Refused


@coordinator_required
def erase(request: HttpRequest, pk: int) -> HttpResponse:
    person = get_object_or_404(Person.objects.not_second().select_related("household"), pk=pk)
    if person.erased_on:
        return redirect("person", pk=pk)
    preview = erasing.preview(person=person)
    form = EraseForm(
        request.POST or None,
        public_body=preview.public_body,
        initial={"asked_on": request.program.today()},
    )
    if request.method == "POST" and form.is_valid():
        try:
            done = erasing.erase(person=person, by=request.user, **form.facts())
        except Refused as refusal:
            form.add_error(None, str(refusal))
        else:
            messages.success(
                request, _("Their data are erased. What is kept stands under “%s”.") % done
            )
            return redirect("person", pk=pk)
    status = 422 if form.errors else 200
    context = {"person": person, "preview": preview, "form": form}
    return render(request, "people/erase.html", context, status=status)
