"""Who signs next: the page from which an agreement is had signed, and what a coordinator does with each party there."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from django import forms
from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_POST

from people.choices import Channel
from people.services import reachable_at
from stewardship.agreements import instruments, services
from stewardship.agreements.choices import AgreementState, DocumentKind, SigningMethod
from stewardship.agreements.models import Agreement, Document, Party, SigningLink
from stewardship.agreements.services.copies import copy_key
from stewardship.agreements.services.links import shut_links
from stewardship.agreements.signable import hindrance
from stewardship.agreements.signing_forms import AgentForm, DeclinedForm, StandForm
from stewardship.agreements.standing import current_document, parties_of, signers
from stewardship.common.access import coordinator_required
from stewardship.common.errors import Refused
from stewardship.outbox.models import Message


@dataclass(frozen=True, slots=True)
class Asked:
    """One party as the page shows it."""

    party: Party
    is_next: bool
    hindered: str
    email: str
    link: SigningLink | None
    decline_form: DeclinedForm
    agent_form: AgentForm | None
    copy: Message | None


@coordinator_required
@require_GET
def signing(request: HttpRequest, pk: int) -> HttpResponse:
    return _page(request, get_object_or_404(Agreement, pk=pk))


def _page(
    request: HttpRequest,
    agreement: Agreement,
    *,
    status: int = 200,
    bound: tuple[int, str, forms.Form] | None = None,
    stand_form: StandForm | None = None,
) -> HttpResponse:
    """`bound`: a form of one party that has to be put right: party, field of `Asked`, form."""
    agreement = (
        Agreement.objects.select_related("wording")
        .with_signing()
        .prefetch_related("parties__signs_by", "parties__signature__agent")
        .get(pk=agreement.pk)
    )
    document = current_document(agreement)
    parties = parties_of(agreement)
    turn = instruments.may_sign_now(agreement.instrument, signers(parties))
    context = {
        "agreement": agreement,
        "document": document,
        "offered": agreement.state == AgreementState.OFFERED,
        "asked": [
            _asked(request, agreement, document, party, is_next=index in turn, bound=bound)
            for index, party in enumerate(parties)
        ],
        "stand_form": stand_form or StandForm(initial={"until": agreement.offer_until}),
        "sealed": agreement.documents.filter(kind=DocumentKind.SEALED).defer("content").first(),
        "today": request.program.today(),
    }
    return render(request, "agreements/signing.html", context, status=status)


def _asked(
    request: HttpRequest,
    agreement: Agreement,
    document: Document | None,
    party: Party,
    *,
    is_next: bool,
    bound: tuple[int, str, forms.Form] | None,
) -> Asked:
    today = request.program.today()
    offered = agreement.state == AgreementState.OFFERED
    signer = party.signs_by or party.person
    hindered = None
    if offered and document and not hasattr(party, "signature"):
        hindered = hindrance(
            agreement=agreement,
            party=party,
            document=document,
            on=today,
            method=SigningMethod.SCREEN,
        )
    point = None if signer.is_silent else reachable_at(signer, Channel.EMAIL)
    agents = AgentForm(party=party, on=today, prefix=f"agent-{party.pk}")
    forms_of = {
        "decline_form": DeclinedForm(initial={"on": today}, prefix=f"decline-{party.pk}"),
        "agent_form": agents if agents.agents or party.signs_by_id else None,
    }
    if bound and bound[0] == party.pk:
        forms_of[bound[1]] = bound[2]
    return Asked(
        party=party,
        is_next=is_next,
        hindered=hindered.words if hindered else "",
        email=point.value if point else "",
        link=party.links.open(at=timezone.now()).first() if offered else None,
        copy=_copy(agreement, party),
        **forms_of,
    )


def _copy(agreement: Agreement, party: Party) -> Message | None:
    sealed = agreement.documents.filter(kind=DocumentKind.SEALED).defer("content").first()
    if sealed is None:
        return None
    return Message.objects.filter(key=copy_key(sealed, party.person)).first()


# -- what is done with one party -------------------------------------------------------------------------------


def _send(request: HttpRequest, party: Party) -> str:
    message = services.send_link(party=party, by=request.user)
    return _("A link to sign goes to %s.") % message.to_address


def _withdraw(request: HttpRequest, party: Party) -> str:
    shut_links(party=party)
    return _("The link of %s opens nothing any more.") % party.person


def _again(request: HttpRequest, party: Party) -> str:
    services.ask_again(party=party, by=request.user)
    return _("%s is asked again.") % party.person


PLAIN: dict[str, Callable[[HttpRequest, Party], str]] = {
    "link": _send,
    "withdraw": _withdraw,
    "again": _again,
}


@coordinator_required
@require_POST
def party_act(request: HttpRequest, pk: int, action: str) -> HttpResponse:
    party = get_object_or_404(
        Party.objects.select_related("agreement", "person", "signs_by"), pk=pk
    )
    if action == "decline":
        form = DeclinedForm(request.POST, prefix=f"decline-{party.pk}")
        return _by_form(request, party, form, "decline_form", services.decline, _("Written down."))
    if action == "agent":
        form = AgentForm(
            request.POST, party=party, on=request.program.today(), prefix=f"agent-{party.pk}"
        )
        return _by_form(request, party, form, "agent_form", services.let_sign, _("Written down."))
    if action not in PLAIN:
        raise Http404
    try:
        messages.success(request, PLAIN[action](request, party))
    except Refused as refusal:
        messages.error(request, str(refusal))
    return redirect("agreements:signing", pk=party.agreement_id)


def _by_form(
    request: HttpRequest,
    party: Party,
    form: forms.Form,
    field: str,
    service: Callable[..., Any],
    done: str,
) -> HttpResponse:
    if form.is_valid():
        try:
            service(party=party, by=request.user, **form.cleaned_data)
        except Refused as refusal:
            form.add_error(None, str(refusal))
        else:
            messages.success(request, done)
            return redirect("agreements:signing", pk=party.agreement_id)
    return _page(request, party.agreement, status=422, bound=(party.pk, field, form))


@coordinator_required
@require_POST
def let_stand(request: HttpRequest, pk: int) -> HttpResponse:
    agreement = get_object_or_404(Agreement, pk=pk)
    form = StandForm(request.POST)
    if form.is_valid():
        try:
            services.let_stand(
                agreement=agreement, until=form.cleaned_data["until"], by=request.user
            )
        except Refused as refusal:
            form.add_error("until", str(refusal))
        else:
            messages.success(request, _("Written down."))
            return redirect("agreements:signing", pk=pk)
    return _page(request, agreement, status=422, stand_form=form)
