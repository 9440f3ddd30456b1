"""Documents, and who signs them how."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.http import content_disposition_header
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET

from stewardship.agreements import services
from stewardship.agreements.choices import AgreementState
from stewardship.agreements.forms import SignForm
from stewardship.agreements.models import Agreement, Document, Party
from stewardship.agreements.standing import current_document, missing_signatures
from stewardship.common.access import coordinator_required
from stewardship.common.errors import Refused


@coordinator_required
@require_GET
def document(request: HttpRequest, pk: int) -> HttpResponse:
    """The exact bytes that were made or given."""
    found = get_object_or_404(Document, pk=pk)
    return HttpResponse(
        bytes(found.content),
        content_type=found.content_type,
        headers={"Content-Disposition": content_disposition_header(True, found.file_name)},
    )


@coordinator_required
def sign(request: HttpRequest, pk: int) -> HttpResponse:
    """Write down that one party signed the newest document on paper."""
    party = get_object_or_404(
        Party.objects.select_related("agreement", "person", "agency", "signature"), pk=pk
    )
    newest = current_document(party.agreement)
    form = SignForm(
        request.POST or None,
        request.FILES or None,
        party=party,
        initial={"document": newest, "signed_on": request.program.today()},
    )
    if request.method == "POST" and form.is_valid():
        try:
            services.record_signature(party=party, by=request.user, **form.facts())
        except Refused as refusal:
            form.add_error(None, str(refusal))
        else:
            _say_signed(request, party)
            return redirect("agreements:detail", pk=party.agreement_id)
    return render(
        request,
        "agreements/sign.html",
        {"form": form, "party": party, "agreement": party.agreement, "document": newest},
    )


def _say_signed(request: HttpRequest, party: Party) -> None:
    agreement = Agreement.objects.get(pk=party.agreement_id)
    if agreement.state == AgreementState.IN_FORCE:
        messages.success(request, _("Everybody has signed: %s is in force.") % agreement)
    else:
        missing = "; ".join(one.words for one in missing_signatures(agreement))
        messages.success(request, _("Signed. Still missing: %s.") % missing)
