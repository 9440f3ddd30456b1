"""Papers that are made when somebody asks for them."""

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils.http import content_disposition_header
from django.views.decorators.http import require_GET

from stewardship.agreements.choices import DocumentKind
from stewardship.agreements.documents_blank import blank_form
from stewardship.agreements.models import Document, Wording
from stewardship.agreements.verifying import look_at
from stewardship.common.access import coordinator_required


@coordinator_required
@require_GET
def blank(request: HttpRequest, instrument: str, language: str) -> HttpResponse:
    """The blank form of an instrument in a language, in the wording that is in use."""
    wording = (
        Wording.objects.in_use(on=request.program.today())
        .filter(instrument=instrument, language=language)
        .first()
    )
    if wording is None:
        raise Http404
    name = f"{instrument.replace('_', '-')}-{language}-v{wording.version}-blank.pdf"
    return HttpResponse(
        blank_form(wording),
        content_type="application/pdf",
        headers={"Content-Disposition": content_disposition_header(True, name)},
    )


@coordinator_required
@require_GET
def check(request: HttpRequest, pk: int) -> HttpResponse:
    """What can be shown of a signed copy: its seal, its certificate, its pages."""
    copy = get_object_or_404(
        Document.objects.select_related("agreement"), pk=pk, kind=DocumentKind.SEALED
    )
    shown = look_at(bytes(copy.content))
    context = {"copy": copy, "shown": shown, "sound": all(one.good for one in shown)}
    return render(request, "agreements/check.html", context)
