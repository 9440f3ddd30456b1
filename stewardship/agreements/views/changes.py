"""What happens to a signed agreement: each page says what the change will do before it is made."""

from collections.abc import Callable

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_POST

from stewardship.agreements import effects, services
from stewardship.agreements.choices import AgreementState
from stewardship.agreements.instruments import INSTRUMENTS
from stewardship.agreements.life_forms import (
    ConsentForm,
    EndForm,
    NewOwnerForm,
    SaleForm,
    TenantOutForm,
)
from stewardship.agreements.models import Agreement
from stewardship.common.access import coordinator_required
from stewardship.common.errors import Refused


def find(pk: int) -> Agreement:
    return get_object_or_404(Agreement.objects.select_related("wording").with_signing(), pk=pk)


def change_page(
    request: HttpRequest,
    agreement: Agreement,
    form: forms.Form,
    *,
    heading: str | Promise,
    button: str | Promise,
    effects: list[str],
    carry_out: Callable[[], HttpResponse],
    soil: bool = False,
) -> HttpResponse:
    """Show what will happen and the form; carry it out when the form is right. `soil`: the button ends something."""
    status = 200
    if request.method == "POST":
        status = 422
        if form.is_valid():
            try:
                return carry_out()
            except Refused as refusal:
                form.add_error(next(iter(form.fields)), str(refusal))  # the day
    context = {
        "agreement": agreement,
        "form": form,
        "heading": heading,
        "button": button,
        "effects": effects,
        "soil": soil,
    }
    return render(request, "agreements/change.html", context, status=status)


@coordinator_required
def end(request: HttpRequest, pk: int) -> HttpResponse:
    """It binds nobody any more, at some sites or at all; or it is withdrawn before it ever did."""
    agreement = find(pk)
    today = request.program.today()
    in_force = agreement.state == AgreementState.IN_FORCE
    form = EndForm(
        request.POST or None, agreement=agreement, in_force=in_force, initial={"on": today}
    )

    def carry_out() -> HttpResponse:
        facts = {name: form.cleaned_data[name] for name in ("on", "why")}
        if in_force:
            changed = services.release(
                agreement=agreement,
                sites=form.chosen_sites(),
                released=form.cleaned_data["released"],
                by=request.user,
                **facts,
            )
        else:
            changed = services.end_agreement(agreement=agreement, by=request.user, **facts)
        if changed.state == AgreementState.ENDED:
            messages.success(request, _("%s has ended.") % agreement)
        else:
            messages.success(request, _("Released. %s goes on at the other sites.") % agreement)
        return redirect("agreements:detail", pk=pk)

    return change_page(
        request,
        agreement,
        form,
        heading=gettext_lazy("End or release") if in_force else gettext_lazy("Withdraw"),
        button=gettext_lazy("End it") if in_force else gettext_lazy("Withdraw it"),
        effects=effects.end_effects(agreement, on=today),
        carry_out=carry_out,
        soil=True,
    )


@coordinator_required
def sale(request: HttpRequest, pk: int) -> HttpResponse:
    """The property was sold; what that does is the instrument's to say."""
    agreement = find(pk)
    today = request.program.today()
    form = SaleForm(request.POST or None, agreement=agreement, initial={"sold_on": today})

    def carry_out() -> HttpResponse:
        facts = form.cleaned_data
        sold = services.record_sale(
            agreement=agreement,
            on=facts["sold_on"],
            buyer=facts["buyer"],
            sites=form.chosen_sites(),
            proven=facts.get("proven", True),
            draft_next=facts.get("draft_next", False),
            by=request.user,
        )
        messages.success(request, _sale_words(sold, facts["buyer"]))
        if sold.draft:
            return redirect("agreements:detail", pk=sold.draft.pk)
        return redirect("agreements:detail", pk=pk)

    return change_page(
        request,
        agreement,
        form,
        heading=gettext_lazy("The property was sold"),
        button=gettext_lazy("Write down the sale"),
        effects=effects.sale_effects(agreement, on=today)
        if INSTRUMENTS[agreement.instrument].on_sale != "untouched"
        else [_("A sale of property beside it changes nothing.")],
        carry_out=carry_out,
    )


def _sale_words(sold: services.Sold, buyer) -> str:
    agreement = sold.agreement
    if sold.waits:
        return _("Written down. The seller owes until the proof of the transfer is here.")
    if INSTRUMENTS[agreement.instrument].binds_successors:
        if not buyer:
            return _(
                "Sold. Nobody is responsible until the new owner is known; it stands on Today."
            )
        said = _("%s takes over from the day of the sale.") % buyer
    elif agreement.state == AgreementState.ENDED:
        said = _("%s lapsed with the sale.") % agreement
    else:
        said = _("Sold. %s goes on at the other sites.") % agreement
    if sold.draft:
        said += " " + _("The next one is drafted: %s.") % sold.draft
    if sold.letter:
        return said + " " + _("A letter to %s is in the outbox.") % buyer
    if buyer:
        return said + " " + _("Nothing reaches %s: no letter was written.") % buyer
    return said


@coordinator_required
def new_owner(request: HttpRequest, pk: int) -> HttpResponse:
    """The buyer of a sale that carried over is known now."""
    agreement = find(pk)
    form = NewOwnerForm(request.POST or None, initial={"on": request.program.today()})

    def carry_out() -> HttpResponse:
        buyer = form.cleaned_data["buyer"]
        sold = services.name_new_owner(
            agreement=agreement, buyer=buyer, on=form.cleaned_data["on"], by=request.user
        )
        messages.success(request, _sale_words(sold, buyer))
        return redirect("agreements:detail", pk=pk)

    return change_page(
        request,
        agreement,
        form,
        heading=gettext_lazy("The new owner is known"),
        button=gettext_lazy("Name them"),
        effects=[
            _("From that day they owe what nobody has owed since the sale."),
            _("They get a letter that says what came with the property."),
        ],
        carry_out=carry_out,
    )


@coordinator_required
def tenant_out(request: HttpRequest, pk: int) -> HttpResponse:
    agreement = find(pk)
    today = request.program.today()
    form = TenantOutForm(request.POST or None, initial={"on": today})

    def carry_out() -> HttpResponse:
        facts = form.cleaned_data
        services.record_tenant_out(
            agreement=agreement, on=facts["on"], owner_does=facts["owner_does"], by=request.user
        )
        if facts["tenant"] is None:
            messages.success(request, _("Written down: the tenant moved out."))
            return redirect("agreements:detail", pk=pk)
        draft = services.renew_agreement(
            agreement=agreement, tenant=facts["tenant"], by=request.user
        )
        messages.success(
            request, _("The next agreement is drafted, with %s as tenant.") % facts["tenant"]
        )
        return redirect("agreements:detail", pk=draft.pk)

    return change_page(
        request,
        agreement,
        form,
        heading=gettext_lazy("The tenant moved out"),
        button=gettext_lazy("Write it down"),
        effects=effects.tenant_out_effects(agreement, on=today),
        carry_out=carry_out,
    )


@coordinator_required
def consent(request: HttpRequest, pk: int) -> HttpResponse:
    """The landlord takes their consent back."""
    agreement = find(pk)
    today = request.program.today()
    form = ConsentForm(request.POST or None, initial={"on": today})

    def carry_out() -> HttpResponse:
        services.withdraw_consent(agreement=agreement, by=request.user, **form.cleaned_data)
        messages.success(request, _("%s has ended.") % agreement)
        return redirect("agreements:detail", pk=pk)

    return change_page(
        request,
        agreement,
        form,
        heading=gettext_lazy("The landlord withdrew their consent"),
        button=gettext_lazy("Write it down"),
        effects=effects.consent_effects(agreement, on=today),
        carry_out=carry_out,
        soil=True,
    )


@coordinator_required
@require_POST
def next_one(request: HttpRequest, pk: int) -> HttpResponse:
    """Draft the agreement that takes this one's place."""
    try:
        draft = services.renew_agreement(agreement=find(pk), by=request.user)
    except Refused as refusal:
        messages.error(request, str(refusal))
        return redirect("agreements:detail", pk=pk)
    messages.success(request, _("Drafted. Go through it, then have it signed."))
    return redirect("agreements:detail", pk=draft.pk)
