"""Who may hand in a gauge's readings without a log-in: tokens of machines, links of readers."""

from typing import Any, NamedTuple

from django.conf import settings
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_GET, require_POST

from people.models import Person
from stewardship.common.access import coordinator_required
from stewardship.common.errors import Refused
from stewardship.rain import services
from stewardship.rain.choices import GaugeKind
from stewardship.rain.forms.doors import ReaderLinkForm, TokenForm
from stewardship.rain.models import Gauge, ReaderLink


class ReaderAtGauge(NamedTuple):
    """A person, their link that stands, and whether it opens anything."""

    person: Person
    link: ReaderLink | None
    reads: bool


@coordinator_required
@require_GET
def doors(request: HttpRequest, code: str) -> HttpResponse:
    return _page(request, get_object_or_404(Gauge, code=code))


def _page(
    request: HttpRequest, gauge: Gauge, form: TokenForm | None = None, **made: Any
) -> HttpResponse:
    """`made`: what was made just now, and its secret, which no other page shows."""
    by_hand = gauge.kind == GaugeKind.DAILY
    context = {
        "gauge": gauge,
        "by_hand": by_hand,
        "readers": _readers(gauge) if by_hand else [],
        "tokens": gauge.tokens.order_by("revoked_at", "made_at"),
        "form": form or TokenForm(),
        "site_url": settings.SITE_URL,
        "token": "",
        "link_url": "",
    }
    status = 422 if form is not None and form.errors else 200
    return render(request, "rain/doors.html", context | made, status=status)


def _readers(gauge: Gauge) -> list[ReaderAtGauge]:
    links = {link.person: link for link in gauge.reader_links.live().select_related("person")}
    readers = list(gauge.readers.all())
    return [ReaderAtGauge(person, links.get(person), True) for person in readers] + [
        ReaderAtGauge(person, link, False)
        for person, link in links.items()
        if person not in readers
    ]


@never_cache
@coordinator_required
@require_POST
def token_new(request: HttpRequest, code: str) -> HttpResponse:
    gauge = get_object_or_404(Gauge, code=code)
    form = TokenForm(request.POST)
    if form.is_valid():
        try:
            made, secret = services.make_token(
                gauge=gauge, label=form.cleaned_data["label"], by=request.user
            )
        except Refused as refusal:
            form.add_error("label", str(refusal))
        else:
            return _page(request, gauge, made=made, token=secret)
    return _page(request, gauge, form)


@never_cache
@coordinator_required
@require_POST
def link_new(request: HttpRequest, code: str) -> HttpResponse:
    gauge = get_object_or_404(Gauge, code=code)
    form = ReaderLinkForm(request.POST, gauge=gauge)
    if not form.is_valid():
        messages.error(request, _("That person does not read %s.") % code)
        return redirect("rain:doors", code)
    try:
        made, secret = services.make_reader_link(
            gauge=gauge, person=form.cleaned_data["person"], by=request.user
        )
    except Refused as refusal:
        messages.error(request, str(refusal))
        return redirect("rain:doors", code)
    path = reverse("rain:reading_by_link", args=[secret])
    return _page(request, gauge, made=made, link_url=settings.SITE_URL + path)


@coordinator_required
@require_POST
def token_withdraw(request: HttpRequest, code: str, pk: int) -> HttpResponse:
    gauge = get_object_or_404(Gauge, code=code)
    token = get_object_or_404(gauge.tokens, pk=pk)
    services.withdraw_token(token=token, by=request.user)
    messages.success(
        request, _("The token of “%s” opens nothing any more. What it brought stays.") % token.label
    )
    return redirect("rain:doors", code)


@coordinator_required
@require_POST
def link_withdraw(request: HttpRequest, code: str, pk: int) -> HttpResponse:
    gauge = get_object_or_404(Gauge, code=code)
    link = get_object_or_404(gauge.reader_links.select_related("person"), pk=pk)
    services.withdraw_reader_link(link=link, by=request.user)
    messages.success(
        request, _("The link of %s opens nothing any more. What they wrote stays.") % link.person
    )
    return redirect("rain:doors", code)
