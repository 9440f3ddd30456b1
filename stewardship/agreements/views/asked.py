"""What an agreement needs besides signatures, and its terms while nobody has signed."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from stewardship.agreements import services
from stewardship.agreements.life_forms import DropForm, MetForm, RequirementForm, TermsForm
from stewardship.agreements.models import Requirement
from stewardship.agreements.views.changes import find
from stewardship.common.access import coordinator_required
from stewardship.common.errors import Refused


@coordinator_required
def ask(request: HttpRequest, pk: int) -> HttpResponse:
    """Something more is needed."""
    agreement = find(pk)
    form = RequirementForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            services.add_requirement(agreement=agreement, by=request.user, **form.cleaned_data)
        except Refused as refusal:
            form.add_error("words", str(refusal))
        else:
            messages.success(request, _("Asked for."))
            return redirect("agreements:detail", pk=pk)
    return _form(request, agreement, form, _("Ask for something more"), _("Ask for it"))


@coordinator_required
def asked(request: HttpRequest, pk: int) -> HttpResponse:
    """A paper is there, or there anew."""
    requirement = _requirement(pk)
    form = _met_form(request, requirement)
    if request.method == "POST" and form.is_valid():
        try:
            services.meet_requirement(requirement=requirement, by=request.user, **form.facts())
        except Refused as refusal:
            form.add_error(None, str(refusal))
        else:
            messages.success(request, _("Written down: %s.") % requirement)
            return redirect("agreements:detail", pk=requirement.agreement_id)
    return _asked(request, requirement, form, DropForm())


def _requirement(pk: int) -> Requirement:
    return get_object_or_404(Requirement.objects.select_related("agreement", "document"), pk=pk)


def _met_form(request: HttpRequest, requirement: Requirement, *, bound: bool = True) -> MetForm:
    return MetForm(
        (bound and request.POST) or None,
        (bound and request.FILES) or None,
        requirement=requirement,
        initial={"on": request.program.today(), "number": requirement.number},
    )


def _asked(
    request: HttpRequest, requirement: Requirement, form: MetForm, drop: DropForm
) -> HttpResponse:
    context = {
        "requirement": requirement,
        "agreement": requirement.agreement,
        "form": form,
        "drop_form": drop,
        "today": request.program.today(),
    }
    status = 422 if request.method == "POST" else 200
    return render(request, "agreements/asked.html", context, status=status)


@coordinator_required
@require_POST
def asked_drop(request: HttpRequest, pk: int) -> HttpResponse:
    """It is not needed after all."""
    requirement = _requirement(pk)
    drop = DropForm(request.POST)
    if drop.is_valid():
        try:
            services.drop_requirement(requirement=requirement, by=request.user, **drop.cleaned_data)
        except Refused as refusal:
            drop.add_error("why", str(refusal))
        else:
            messages.success(request, _("Not asked for any more."))
            return redirect("agreements:detail", pk=requirement.agreement_id)
    return _asked(request, requirement, _met_form(request, requirement, bound=False), drop)


@coordinator_required
def terms(request: HttpRequest, pk: int) -> HttpResponse:
    """What is settled besides parties and sites, while nobody has signed."""
    agreement = find(pk)
    form = TermsForm(request.POST or None, agreement=agreement)
    if request.method == "POST" and form.is_valid():
        try:
            services.change_draft(
                agreement=agreement, terms=form.terms(), parts=form.parts(), by=request.user
            )
        except Refused as refusal:
            form.add_error(None, str(refusal))
        else:
            messages.success(request, _("Settled."))
            return redirect("agreements:detail", pk=pk)
    return _form(request, agreement, form, _("Terms"), _("Keep them"))


def _form(request, agreement, form, heading: str, button: str) -> HttpResponse:
    status = 422 if request.method == "POST" else 200
    context = {"agreement": agreement, "form": form, "heading": heading, "button": button}
    return render(request, "agreements/change.html", context, status=status)
