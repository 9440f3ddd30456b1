"""One's own log-in, where the sign-in package's pages do not fit: addresses are handed out by a coordinator."""

from django.contrib.auth.decorators import login_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_GET

from people.models import Membership


@login_required
@require_GET
def own_address(request: HttpRequest) -> HttpResponse:
    """The address of one's log-in, and who changes it."""
    coordinators = [
        held.user for held in Membership.objects.coordinators() if held.user != request.user
    ]
    return render(request, "account/email.html", {"coordinators": coordinators})


def closed(request: HttpRequest, **kwargs: str) -> HttpResponse:
    """Pages that confirm addresses which people add by themselves: nobody does."""
    raise Http404
