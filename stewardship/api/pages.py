"""For the person who connects a machine: how readings are handed in."""

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_GET

from stewardship.api.body import MOST_BYTES
from stewardship.common.written import number_text
from stewardship.rain.services.pushing import MOST_REQUESTS, MOST_ROWS


@require_GET
def page(request: HttpRequest) -> HttpResponse:
    context = {
        "site_url": settings.SITE_URL,
        "most_rows": number_text(MOST_ROWS),
        "most_bytes": number_text(MOST_BYTES),
        "most_requests": MOST_REQUESTS,
    }
    return render(request, "api/page.html", context)
