"""One agreement, and what is done with it."""

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_POST

from stewardship.agreements import services
from stewardship.agreements.choices import AgreementState
from stewardship.agreements.forms import EndForm, SaleForm
from stewardship.agreements.instruments import INSTRUMENTS
from stewardship.agreements.models import Agreement
from stewardship.agreements.standing import (
    build_blockers,
    current_document,
    missing_signatures,
    parties_of,
)
from stewardship.common.access import coordinator_required
from stewardship.common.errors import Refused


@coordinator_required
@require_GET
def detail(request: HttpRequest, pk: int) -> HttpResponse:
    agreement = _agreement(pk)
    return _detail(request, agreement)


def _agreement(pk: int) -> Agreement:
    return get_object_or_404(Agreement.objects.select_related("wording").with_signing(), pk=pk)


def _forms(request: HttpRequest, agreement: Agreement) -> dict[str, forms.Form]:
    today = request.program.today()
    rules = INSTRUMENTS[agreement.instrument]
    return {
        "end_form": EndForm(initial={"on": today}),
        "sale_form": SaleForm(
            agreement=agreement, carries_over=rules.binds_successors, initial={"sold_on": today}
        ),
    }


def _detail(
    request: HttpRequest, agreement: Agreement, status: int = 200, **bound: forms.Form
) -> HttpResponse:
    today = request.program.today()
    parties = parties_of(agreement)
    rules = INSTRUMENTS[agreement.instrument]
    in_force = agreement.state == AgreementState.IN_FORCE
    context = {
        "agreement": agreement,
        "rules": rules,
        "today": today,
        "parties": parties,
        "missing": missing_signatures(agreement),
        "document": current_document(agreement),
        "documents": agreement.documents.defer("content").select_related("made_by"),
        "sites": [
            (site, build_blockers(site=site, on=today)) for site in agreement.sites.order_by("code")
        ],
        "responsibilities": agreement.responsibilities.select_related(
            "site", "person", "agency"
        ).order_by("site__code", "starts_on", "pk"),
        "events": agreement.events.select_related("by"),
        "ran_out": in_force and agreement.ends_on is not None and agreement.ends_on <= today,
        "may_be_sold": in_force and rules.on_sale != "untouched",
        "summary": [line for line in agreement.wording.summary.splitlines() if line.strip()],
        "shown": agreement.duties_shown.all(),
    }
    return render(
        request,
        "agreements/detail.html",
        context | _forms(request, agreement) | bound,
        status=status,
    )


@coordinator_required
@require_POST
def end(request: HttpRequest, pk: int) -> HttpResponse:
    agreement = _agreement(pk)
    form = EndForm(request.POST)
    if form.is_valid():
        try:
            services.end_agreement(
                agreement=agreement,
                on=form.cleaned_data["on"],
                why=form.cleaned_data["why"],
                by=request.user,
            )
        except Refused as refusal:
            form.add_error("on", str(refusal))
        else:
            messages.success(request, _("%s has ended.") % agreement)
            return redirect("agreements:detail", pk=pk)
    return _detail(request, agreement, status=422, end_form=form)


@coordinator_required
@require_POST
def sale(request: HttpRequest, pk: int) -> HttpResponse:
    """The property was sold; what that does is the instrument's to say."""
    agreement = _agreement(pk)
    carries_over = INSTRUMENTS[agreement.instrument].binds_successors
    form = SaleForm(request.POST, agreement=agreement, carries_over=carries_over)
    if form.is_valid():
        try:
            services.record_sale(
                agreement=agreement,
                on=form.cleaned_data["sold_on"],
                buyer=form.cleaned_data.get("buyer"),
                by=request.user,
            )
        except Refused as refusal:
            form.add_error("sold_on", str(refusal))
        else:
            messages.success(request, _sale_words(agreement, form.cleaned_data.get("buyer")))
            return redirect("agreements:detail", pk=pk)
    return _detail(request, agreement, status=422, sale_form=form)


def _sale_words(agreement: Agreement, buyer) -> str:
    if not INSTRUMENTS[agreement.instrument].binds_successors:
        return _("%s lapsed with the sale. Ask the new owner for a new agreement.") % agreement
    if buyer:
        return _("%s takes over from the day of the sale.") % buyer
    return _("Sold. Nobody is responsible until the new owner is known; it stands on Today.")
