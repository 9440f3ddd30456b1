"""One agreement: what it lacks, who signed what, who owes what under it, what happened, and what may be done."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET

from sites.choices import Stage
from stewardship.agreements.chain import agreement_chain
from stewardship.agreements.choices import AgreementState, Capacity, ResponsibilityRole
from stewardship.agreements.instruments import INSTRUMENTS
from stewardship.agreements.lacks import incomplete_words, is_open, lacks
from stewardship.agreements.models import Agreement, Signature
from stewardship.agreements.services import OPEN_STATES, as_built_of, differs, successor
from stewardship.agreements.standing import build_blockers, current_document, parties_of
from stewardship.agreements.views.changes import find
from stewardship.common.access import coordinator_required


@coordinator_required
@require_GET
def detail(request: HttpRequest, pk: int) -> HttpResponse:
    agreement = find(pk)
    today = request.program.today()
    rules = INSTRUMENTS[agreement.instrument]
    in_force = agreement.state == AgreementState.IN_FORCE
    found = lacks(agreement, on=today)
    held = list(
        agreement.responsibilities.select_related(
            "site", "person", "agency", "organisation"
        ).order_by("site__code", "starts_on", "pk")
    )
    context = {
        "agreement": agreement,
        "rules": rules,
        "today": today,
        "parties": parties_of(agreement),
        "lacks": found,
        "incomplete": "" if agreement.state == AgreementState.DRAFT else incomplete_words(found),
        "papers": [(row, is_open(row, on=today)) for row in agreement.requirements.all()],
        "document": current_document(agreement),
        "documents": agreement.documents.defer("content", "sheet").select_related("made_by"),
        "sites": [
            (site, build_blockers(site=site, on=today)) for site in agreement.sites.order_by("code")
        ],
        "responsibilities": held,
        "chain": agreement_chain(held, on=today, today=today),
        "events": agreement.events.select_related("by"),
        "ran_out": in_force and agreement.ends_on is not None and agreement.ends_on <= today,
        "cure_days": rules.cure_days if agreement.cure_days is None else agreement.cure_days,
        "as_built": as_built_of(agreement),
        "differs": differs(agreement),
        "following": successor(agreement),
        "may_change": may_change_terms(agreement),
        "changes": changes(agreement),
        "summary": [line for line in agreement.wording.summary.splitlines() if line.strip()],
        "shown": agreement.duties_shown.all(),
    }
    return render(request, "agreements/detail.html", context)


def may_change_terms(agreement: Agreement) -> bool:
    """Nobody has signed yet."""
    return (
        agreement.state in OPEN_STATES
        and not Signature.objects.filter(party__agreement=agreement).exists()
    )


def changes(agreement: Agreement) -> list[tuple[str, str]]:
    """What may have happened to it: words and address of each page that says what that would do."""

    def page(name: str) -> str:
        return reverse(f"agreements:{name}", args=[agreement.pk])

    if agreement.state in OPEN_STATES:
        return [(_("Withdraw this agreement"), page("end"))]
    if agreement.state == AgreementState.ENDED:
        return []
    rules = INSTRUMENTS[agreement.instrument]
    found = []
    if rules.on_sale != "untouched":
        found.append((_("The property was sold"), page("sale")))
    if rules.binds_successors and not any(
        row.ends_on is None and row.role == ResponsibilityRole.DOES
        for row in agreement.responsibilities.all()
    ):
        found.append((_("The new owner is known"), page("new_owner")))
    capacities = {party.capacity for party in agreement.parties.all()}
    if Capacity.TENANT in capacities:
        found.append((_("The tenant moved out"), page("tenant_out")))
    if Capacity.LANDLORD in capacities:
        found.append((_("The landlord withdrew their consent"), page("consent")))
    if any(site.stage == Stage.BUILT for site in agreement.sites.all()):
        found.append((_("It was built otherwise than drawn"), page("as_built")))
    return [*found, (_("End or release"), page("end"))]
