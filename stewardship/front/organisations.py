"""Organisations: who they are, who answers for them, what they are responsible for. And offices of agencies that change."""

from typing import Any

import django_filters
import django_tables2 as tables
from django.contrib import messages
from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.decorators import method_decorator
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_POST

from people.choices import OrganisationKind
from people.models import Agency, OfficeChange, Organisation, OrganisationContact
from people.organisations import add_contact, end_contact, write_down_organisation
from stewardship.agreements.services.offices import change_office, office_people
from stewardship.common.access import coordinator_required
from stewardship.common.errors import Refused
from stewardship.common.lists import FilteredTableView
from stewardship.front.forms import AsOfForm
from stewardship.front.life_forms import ContactForm, OfficeForm, OrganisationForm
from stewardship.front.people_life import form_page


class OrganisationFilter(django_filters.FilterSet):
    q = django_filters.CharFilter(
        label=gettext_lazy("Name"), field_name="name", lookup_expr="icontains"
    )
    kind = django_filters.ChoiceFilter(
        label=gettext_lazy("Kind"), choices=OrganisationKind, empty_label=gettext_lazy("any")
    )

    class Meta:
        model = Organisation
        fields = ["q", "kind"]


class OrganisationTable(tables.Table):
    caption = gettext_lazy("Organisations")
    exportable = True

    name = tables.LinkColumn(
        "organisation", args=[tables.A("pk")], verbose_name=gettext_lazy("Name")
    )
    kind = tables.Column(verbose_name=gettext_lazy("Kind"))
    contacts = tables.Column(
        empty_values=(), orderable=False, verbose_name=gettext_lazy("Who answers for it")
    )

    class Meta:
        model = Organisation
        fields = ["name", "kind", "contacts"]
        empty_text = gettext_lazy("No organisation fits.")
        order_by = "name"

    def __init__(self, *args: Any, today: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.today = today

    def render_contacts(self, record: Organisation) -> str:
        names = [
            f"{one.person} ({one.get_role_display()})"
            for one in record.contacts.all()
            if one.starts_on <= self.today and (one.ends_on is None or one.ends_on > self.today)
        ]
        return ", ".join(names) or _("nobody")


@method_decorator(coordinator_required, name="dispatch")
class OrganisationList(FilteredTableView):
    model = Organisation
    table_class = OrganisationTable
    filterset_class = OrganisationFilter
    template_name = "front/organisations.html"
    export_name = "organisations"

    def get_queryset(self) -> QuerySet[Organisation]:
        return Organisation.objects.prefetch_related("contacts__person")

    def get_table_kwargs(self) -> dict[str, Any]:
        return {"today": self.request.program.today()}


@coordinator_required
def organisation_new(request: HttpRequest) -> HttpResponse:
    return _edit(request, None)


@coordinator_required
def organisation_edit(request: HttpRequest, pk: int) -> HttpResponse:
    return _edit(request, get_object_or_404(Organisation, pk=pk))


def _edit(request: HttpRequest, found: Organisation | None) -> HttpResponse:
    initial = found and {
        "name": found.name,
        "kind": found.kind,
        "postal_address": found.postal_address,
    }
    form = OrganisationForm(request.POST or None, initial=initial)
    status = 200
    if request.method == "POST":
        status = 422
        if form.is_valid():
            try:
                saved = write_down_organisation(organisation=found, **form.cleaned_data)
            except Refused as no:
                form.add_error("name", str(no))
            else:
                messages.success(request, _("%s is saved.") % saved)
                return redirect("organisation", pk=saved.pk)
    context = {
        "form": form,
        "organisation": found,
        "heading": _("Correct %s") % found if found else _("A new organisation"),
        "lede": _("A condominium, a company, a trust: it promises the care, people answer for it."),
        "button": _("Save"),
        "back": reverse("organisation", args=[found.pk]) if found else reverse("organisations"),
    }
    return render(request, "front/life_form.html", context, status=status)


@coordinator_required
def organisation(request: HttpRequest, pk: int) -> HttpResponse:
    """Who answers for it, now and before, and what it is responsible for."""
    found, today = get_object_or_404(Organisation, pk=pk), request.program.today()
    here = reverse("organisation", args=[pk])

    def write(typed: dict[str, Any]) -> str:
        contact = add_contact(organisation=found, **typed)
        return _("%(person)s answers for %(what)s.") % {
            "person": contact.person,
            "what": contact.get_role_display(),
        }

    contacts = found.contacts.select_related("person").order_by("-starts_on", "-pk")
    chain = found.responsibilities.select_related("site", "agreement").order_by("-starts_on", "-pk")
    return form_page(
        request,
        ContactForm(request.POST or None, initial={"starts_on": today}),
        write,
        template="front/organisation.html",
        done=here,
        context={
            "organisation": found,
            "contacts": [(one, one.ends_on is None or one.ends_on > today) for one in contacts],
            "chain": [(row, row.ends_on is None or row.ends_on > today) for row in chain],
            "parties": found.party_to.select_related("agreement", "person", "signature").order_by(
                "-agreement__created_at", "-pk"
            ),
        },
    )


@coordinator_required
@require_POST
def contact_end(request: HttpRequest, pk: int) -> HttpResponse:
    contact = get_object_or_404(
        OrganisationContact.objects.select_related("person", "organisation"), pk=pk
    )
    try:
        end_contact(contact=contact, on=request.program.today())
    except Refused as no:
        messages.error(request, str(no))
    else:
        messages.success(request, _("%s does not answer for it any more.") % contact.person)
    return redirect("organisation", pk=contact.organisation_id)


@coordinator_required
def offices(request: HttpRequest) -> HttpResponse:
    """Who had which office of each agency on a day, and how offices became others."""
    today = request.program.today()
    asked = request.GET.get("on", "")
    look = AsOfForm({"on": asked} if asked else None, initial={"on": today})
    look.fields["on"].label = _("Who was the contact on")
    on = today
    if look.is_bound and look.is_valid():
        on = look.cleaned_data["on"] or today
    context = {
        "look": look,
        "on": on,
        "agencies": [(agency, office_people(agency, on=on)) for agency in Agency.objects.all()],
        "changes": OfficeChange.objects.select_related("agency", "new_agency", "entered_by")
        .prefetch_related("moved", "left")
        .order_by("-on", "-pk"),
    }
    return render(request, "front/offices.html", context)


@coordinator_required
def office_change(request: HttpRequest) -> HttpResponse:
    form = OfficeForm(request.POST or None, initial={"on": request.program.today()})

    def write(typed: dict[str, Any]) -> str:
        change = change_office(by=request.user, **form.facts())
        return _("%(office)s is %(new)s now.") % {
            "office": change.office,
            "new": change.new_office,
        }

    return form_page(
        request,
        form,
        write,
        template="front/life_form.html",
        done=reverse("offices"),
        context={
            "heading": _("An office became another"),
            "lede": _("Its people go along. Agreements stay as they were signed."),
            "button": _("Write it down"),
            "nothing": "" if form.offices else _("Nobody in the book has an office at an agency."),
        },
    )
