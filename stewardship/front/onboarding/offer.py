"""Step 5 of taking on a household: terms, who signs and in what order, and the document."""

from dataclasses import dataclass
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.utils.translation import gettext as _

from people.choices import AgentScope
from people.models import Agent
from people.services import person_of_user
from sites.models import Basin
from sites.water import capacities
from stewardship.agreements import services
from stewardship.agreements.choices import Capacity
from stewardship.agreements.instruments import INSTRUMENTS
from stewardship.agreements.life_forms import TermsForm as SettledForm
from stewardship.agreements.models import Agreement, Document, Party
from stewardship.agreements.standing import current_document, missing_signatures, parties_of
from stewardship.common.errors import Refused
from stewardship.front.onboarding import path
from stewardship.front.onboarding.forms import NameForm, OfferForm, TermsForm
from stewardship.front.onboarding.shared import attempt, step_page, told


@dataclass(frozen=True)
class Named:
    """One party as the page shows it: whether it signs after the others, and who has the right to sign for it."""

    party: Party
    last: bool
    agents: list[Agent]


def agreement_step(request: HttpRequest, agreement: Agreement) -> HttpResponse:
    does = request.POST.get("do", "")
    terms = TermsForm(request.POST if does == "terms" else None, agreement=agreement)
    settled = SettledForm(request.POST if does == "terms" else None, agreement=agreement)
    name = NameForm(request.POST if does == "name" else None, agreement=agreement)
    offer = OfferForm(
        request.POST if does == "offer" else None,
        initial={"on": request.program.today(), "until": agreement.offer_until},
    )
    if does == "offer" and offer.is_valid():
        made = _offer(request, agreement, offer)
        if made:
            messages.success(
                request, _("The document is made: %s. Have it signed.") % made.file_name
            )
            return redirect("agreements:signing", pk=agreement.pk)
    elif does and _did(request, agreement, does, terms, settled, name):
        return redirect("onboard_step", reference=agreement.reference, step="agreement")
    return step_page(
        request,
        agreement,
        "agreement",
        {"terms": terms, "settled": settled, "name": name, "offer": offer}
        | _facts(request, Agreement.objects.select_related("wording").get(pk=agreement.pk)),
    )


def _did(
    request: HttpRequest,
    agreement: Agreement,
    does: str,
    terms: TermsForm,
    settled: SettledForm,
    name: NameForm,
) -> bool:
    """Do what a button asks for; False when something on the page has to be put right."""
    by = request.user
    if does == "terms":
        # both are asked, so that all there is to put right is said at once
        return all([terms.is_valid(), settled.is_valid()]) and bool(
            attempt(
                terms,
                lambda: services.change_draft(
                    agreement=agreement,
                    terms=settled.terms(),
                    parts=settled.parts(),
                    by=by,
                    **terms.cleaned_data,
                ),
            )
        )
    if does == "name":
        return name.is_valid() and bool(
            attempt(
                name,
                lambda: services.add_party(agreement=agreement, by=by, **name.cleaned_data),
            )
        )
    if does == "me":
        told(request, lambda: _name_me(request, agreement))
    elif does == "unname":
        told(request, lambda: services.remove_party(party=_party(request, agreement), by=by))
    elif does in ("agent", "self"):
        party = _party(request, agreement)
        agent = None
        if does == "agent":
            asked = request.POST.get("agent", "")
            rights = _rights(request, agreement)
            agent = get_object_or_404(rights, pk=asked if asked.isdecimal() else None).agent
        told(request, lambda: services.let_sign(party=party, agent=agent, by=by))
    return True


def _party(request: HttpRequest, agreement: Agreement) -> Party:
    asked = request.POST.get("party", "")
    return get_object_or_404(agreement.parties, pk=asked if asked.isdecimal() else None)


def _rights(request: HttpRequest, agreement: Agreement) -> Any:
    """Who may sign for one of the people named, today."""
    return (
        Agent.objects.on(request.program.today())
        .filter(scope=AgentScope.SIGNS, principal__in=agreement.parties.values("person"))
        .select_related("agent")
    )


def _facts(request: HttpRequest, agreement: Agreement) -> dict[str, Any]:
    """What the page shows besides its forms."""
    basins = Basin.objects.filter(site__agreements=agreement).select_related("site")
    planned = basins.prefetch_related("inlets__trap").order_by("site__code", "label")
    missing = missing_signatures(agreement)
    rights = list(_rights(request, agreement))
    rules = INSTRUMENTS[agreement.instrument]
    parties = parties_of(agreement)
    return {
        "agreement": agreement,
        "named": [
            Named(
                party,
                party.capacity in rules.countersigners,
                [one for one in rights if one.principal_id == party.person_id],
            )
            for party in parties
        ],
        "unnamed": [one for one in missing if one.party is None],
        "program_unnamed": any(one.capacity == Capacity.PROGRAM for one in missing)
        and not any(party.capacity == Capacity.PROGRAM for party in parties),
        "sites": agreement.sites.order_by("code"),
        "planned": capacities(list(planned)),
        "document": current_document(agreement),
        "summary": [line for line in agreement.wording.summary.splitlines() if line.strip()],
        "not_done": [
            one for one in path.steps(agreement) if not one.done and one.name != "agreement"
        ],
    }


def _name_me(request: HttpRequest, agreement: Agreement) -> None:
    services.add_party(
        agreement=agreement,
        person=person_of_user(request.user),
        capacity=Capacity.PROGRAM,
        by=request.user,
    )


def _offer(request: HttpRequest, agreement: Agreement, form: OfferForm) -> Document | None:
    on, until = form.cleaned_data["on"], form.cleaned_data["until"]
    if until and until < request.program.today():
        form.add_error("until", _("That day has passed; give today or a later one."))
        return None
    schedule = path.care_schedule(on=on, language=agreement.language, program=request.program)
    # not inside a transaction: the PDF is made before anything is locked
    try:
        made = services.offer_agreement(
            agreement=agreement, on=on, schedule=schedule, by=request.user
        )
        services.let_stand(agreement=agreement, until=until, by=request.user)
    except Refused as refusal:
        form.add_error("on", str(refusal))
        return None
    return made
