from copy import copy

from django.contrib import messages
from django.db import transaction
from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.decorators import method_decorator
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from people import services
from people.filters import PersonFilter
from people.forms import ExternalIdForm, PersonForm
from people.models import ContactPoint, Person, PersonExternalId
from people.tables import PersonTable
from stewardship.common.access import coordinator_required
from stewardship.common.errors import Refused
from stewardship.common.lists import FilteredTableView


@method_decorator(coordinator_required, name="dispatch")
class PersonList(FilteredTableView):
    model = Person
    table_class = PersonTable
    filterset_class = PersonFilter
    template_name = "people/list.html"
    export_name = "people"

    def get_queryset(self) -> QuerySet[Person]:
        known = Person.objects.known().select_related("household", "agency")
        return known.prefetch_related("contact_points")


@coordinator_required
def new(request: HttpRequest) -> HttpResponse:
    initial = {"agency": request.GET.get("agency", "")}
    form = PersonForm(request.POST or None, initial=initial)
    return _save(request, form, person=None, heading=_("Somebody new"))


@coordinator_required
def edit(request: HttpRequest, pk: int) -> HttpResponse:
    person = get_object_or_404(Person.objects.known(), pk=pk)
    heading = _("Correct %s") % person
    # a copy for the form, which writes what was typed into it before anything is decided
    form = PersonForm(request.POST or None, instance=copy(person))
    return _save(request, form, person=person, heading=heading)


def _save(
    request: HttpRequest, form: PersonForm, *, person: Person | None, heading: str
) -> HttpResponse:
    if request.method == "POST" and form.is_valid():
        try:
            with transaction.atomic():
                if person is None:
                    person = services.add_person(**form.facts())
                else:
                    person = services.update_person(person=person, **form.facts())
        except Refused as refusal:
            form.add_error(None, str(refusal))
        else:
            messages.success(request, _("%s is saved.") % person)
            return redirect("person", pk=person.pk)
    context = {"form": form, "heading": heading, "person": person}
    return render(request, "people/form.html", context)


@coordinator_required
@require_POST
def external_add(request: HttpRequest, pk: int) -> HttpResponse:
    """What another list calls the person."""
    person = get_object_or_404(Person.objects.known(), pk=pk)
    form = ExternalIdForm(request.POST)
    try:
        if not form.is_valid():
            raise Refused(_("The list and the name there go together."))
        services.add_external_id(person=person, **form.cleaned_data)
    except Refused as refusal:
        messages.error(request, str(refusal))
    else:
        messages.success(request, _("%s is saved.") % form.cleaned_data["value"])
    return redirect("person", pk=pk)


@coordinator_required
@require_POST
def external_drop(request: HttpRequest, pk: int, external: int) -> HttpResponse:
    """Another list does not call the person that."""
    row = get_object_or_404(PersonExternalId, pk=external, person=pk)
    row.delete()
    messages.success(request, _("%s is taken away.") % row.value)
    return redirect("person", pk=pk)


@coordinator_required
@require_POST
def contact_dead(request: HttpRequest, pk: int, contact: int) -> HttpResponse:
    """An address reaches nobody any more; everybody who shares it is affected."""
    point = get_object_or_404(ContactPoint, pk=contact, people=pk)
    why = " ".join(request.POST.get("why", "").split())
    if why:
        services.mark_dead(contact=point, on=request.program.today(), why=why)
        messages.success(request, _("“%s” is not used any more.") % point)
    else:
        messages.error(request, _("Say how you know that it does not reach them."))
    return redirect("person", pk=pk)
