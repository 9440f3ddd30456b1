"""Papers that are made when somebody asks for them."""

from django.http import Http404, HttpRequest, HttpResponse
from django.utils.http import content_disposition_header
from django.views.decorators.http import require_GET

from stewardship.agreements.documents_blank import blank_form
from stewardship.agreements.models import Wording
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
