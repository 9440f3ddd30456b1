"""What runs out or is missing, quarter by quarter; letters about it."""

from collections.abc import Iterator

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_GET, require_POST

from stewardship.agreements import services
from stewardship.agreements.models import Agreement
from stewardship.agreements.renewals import WHATS, Line, Quarter, by_month, lines, quarters
from stewardship.common.access import coordinator_required
from stewardship.common.errors import Refused
from stewardship.common.lists import csv_response


@coordinator_required
@require_GET
def renewals(request: HttpRequest) -> HttpResponseBase:
    today = request.program.today()
    quarter = Quarter.read(request.GET.get("quarter", "")) or Quarter.of(today)
    what = request.GET.get("what", "")
    what = what if what in dict(WHATS) else ""
    found = lines(quarter, today=today, what=what)
    if request.GET.get("_export") == "csv":
        return csv_response(_rows(found), name=f"renewals-{quarter.value}")
    offered = quarters(today)
    if quarter not in offered:
        offered = sorted([quarter, *offered], key=lambda one: one.first)
    context = {
        "quarter": quarter,
        "quarters": offered,
        "what": what,
        "whats": WHATS,
        "months": by_month(found, today=today),
        "may_write": any(line.kind == "ends" for line in found),
    }
    return render(request, "agreements/renewals.html", context)


def _rows(found: list[Line]) -> Iterator[list]:
    yield [
        _("By"),
        _("Agreement"),
        _("Instrument"),
        _("What"),
        _("Late"),
        _("Sites"),
        _("Asked"),
        _("Written to"),
        _("Next agreement"),
    ]
    for line in found:
        yield [
            line.day.isoformat() if line.day else "",
            line.agreement.reference,
            line.agreement.get_instrument_display(),
            line.what,
            _("yes") if line.late else _("no"),
            "; ".join(site.code for site in line.agreement.sites.all()),
            "; ".join(line.who),
            line.told,
            line.next.reference if line.next else "",
        ]


@coordinator_required
@require_POST
def renewal_letters(request: HttpRequest) -> HttpResponse:
    """Write to whoever signed the chosen agreements."""
    quarter = Quarter.read(request.POST.get("quarter", "")) or Quarter.of(request.program.today())
    chosen = [pk for pk in request.POST.getlist("agreement") if pk.isascii() and pk.isdigit()]
    agreements = list(Agreement.objects.filter(pk__in=chosen).with_signing().order_by("pk"))
    if not agreements:
        messages.error(request, _("Choose at least one agreement to write about."))
    else:
        try:
            sent = services.send_renewal_letters(agreements=agreements, by=request.user)
        except Refused as refusal:
            messages.error(request, str(refusal))
        else:
            _say(request, sent)
    return redirect(f"{reverse('agreements:renewals')}?quarter={quarter.value}")


def _say(request: HttpRequest, sent: services.LettersSent) -> None:
    said = (
        ngettext("%d letter is in the outbox.", "%d letters are in the outbox.", sent.queued)
        % sent.queued
    )
    if sent.told_before:
        said += (
            " "
            + ngettext("%d was written to before.", "%d were written to before.", sent.told_before)
            % sent.told_before
        )
    messages.success(request, said)
    if sent.unreached:
        messages.warning(request, _("Nothing reaches %s.") % ", ".join(sent.unreached))
    if sent.wants_none:
        messages.warning(
            request, _("No letters are wanted by %s; talk to them.") % ", ".join(sent.wants_none)
        )
