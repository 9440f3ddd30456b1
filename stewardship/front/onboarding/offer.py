"""Step 5 of taking on a household: terms, who signs, and the document."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.utils.translation import gettext as _

from people.services import person_of_user
from sites.models import Basin
from sites.water import capacities
from stewardship.agreements import services
from stewardship.agreements.choices import Capacity
from stewardship.agreements.models import Agreement, Document
from stewardship.agreements.standing import current_document, missing_signatures, parties_of
from stewardship.common.errors import Refused
from stewardship.front.onboarding import path
from stewardship.front.onboarding.forms import NameForm, OfferForm, TermsForm
from stewardship.front.onboarding.shared import attempt, step_page, told


def agreement_step(request: HttpRequest, agreement: Agreement) -> HttpResponse:
    does = request.POST.get("do", "")
    today = request.program.today()
    terms = TermsForm(request.POST if does == "terms" else None, agreement=agreement)
    name = NameForm(request.POST if does == "name" else None, agreement=agreement)
    offer = OfferForm(request.POST if does == "offer" else None, initial={"on": today})
    done = None
    if does == "terms" and terms.is_valid():
        done = attempt(
            terms,
            lambda: services.change_draft(
                agreement=agreement, by=request.user, **terms.cleaned_data
            ),
        )
    elif does == "name" and name.is_valid():
        done = attempt(
            name,
            lambda: services.add_party(agreement=agreement, by=request.user, **name.cleaned_data),
        )
    elif does == "me":
        told(request, lambda: _name_me(request, agreement))
        done = True
    elif does == "unname":
        asked = request.POST.get("party", "")
        party = get_object_or_404(agreement.parties, pk=asked if asked.isdecimal() else None)
        told(request, lambda: services.remove_party(party=party, by=request.user))
        done = True
    elif does == "offer" and offer.is_valid():
        made = _offer(request, agreement, offer)
        if made:
            messages.success(
                request, _("The document is made: %s. Have it signed.") % made.file_name
            )
            return redirect("agreements:detail", pk=agreement.pk)
    if done:
        return redirect("onboard_step", reference=agreement.reference, step="agreement")
    agreement = Agreement.objects.select_related("wording").get(pk=agreement.pk)
    planned = list(
        Basin.objects.filter(site__agreements=agreement)
        .select_related("site")
        .prefetch_related("inlets__trap")
        .order_by("site__code", "label")
    )
    missing = missing_signatures(agreement)
    return step_page(
        request,
        agreement,
        "agreement",
        {
            "terms": terms,
            "name": name,
            "offer": offer,
            "parties": parties_of(agreement),
            "unnamed": [one for one in missing if one.party is None],
            "program_unnamed": any(one.capacity == Capacity.PROGRAM for one in missing)
            and not agreement.parties.filter(capacity=Capacity.PROGRAM).exists(),
            "sites": agreement.sites.order_by("code"),
            "planned": capacities(planned),
            "document": current_document(agreement),
            "summary": [line for line in agreement.wording.summary.splitlines() if line.strip()],
            "not_done": [
                one for one in path.steps(agreement) if not one.done and one.name != "agreement"
            ],
        },
    )


def _name_me(request: HttpRequest, agreement: Agreement) -> None:
    services.add_party(
        agreement=agreement,
        person=person_of_user(request.user),
        capacity=Capacity.PROGRAM,
        by=request.user,
    )


def _offer(request: HttpRequest, agreement: Agreement, form: OfferForm) -> Document | None:
    on = form.cleaned_data["on"]
    schedule = path.care_schedule(on=on, language=agreement.language, program=request.program)
    # not inside a transaction: the PDF is made before anything is locked
    try:
        return services.offer_agreement(
            agreement=agreement, on=on, schedule=schedule, by=request.user
        )
    except Refused as refusal:
        form.add_error("on", str(refusal))
        return None
