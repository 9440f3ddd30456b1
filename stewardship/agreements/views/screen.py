"""Signing on a screen: on the coordinator's tablet, handed over; or by a link without a log-in. A GET changes nothing."""

from dataclasses import dataclass
from typing import Any

from django.db.models import Q
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone, translation
from django.utils.http import content_disposition_header
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_GET

from people.choices import ContactKind, Language
from people.models import ContactPoint, Person, User
from stewardship.agreements import services
from stewardship.agreements.choices import AgreementState, SigningMethod
from stewardship.agreements.consent import consent_of
from stewardship.agreements.models import Document, Party, SigningLink, Wording
from stewardship.agreements.services.links import good_until, link_of, send_again
from stewardship.agreements.signable import Hindrance, agent_for, hindrance
from stewardship.agreements.signing_forms import DeclineForm, LostLinkForm, ScreenForm
from stewardship.agreements.standing import current_document
from stewardship.common.access import coordinator_required
from stewardship.common.errors import Refused

OTHER_NAMES = {Language.EN: "English", Language.ES: "Español"}


@dataclass(frozen=True, slots=True)
class Desk:
    """Who sits before the page: a party with a document, by a link or beside a coordinator."""

    party: Party
    document: Document
    link: SigningLink | None = None
    user: User | None = None

    @property
    def signer(self) -> Person:
        return self.party.signs_by or self.party.person


def _party(pk: int, party: int) -> Party:
    return get_object_or_404(
        Party.objects.select_related(
            "agreement__wording", "person", "signs_by", "agency", "organisation"
        ),
        agreement=pk,
        pk=party,
    )


# -- on the coordinator's tablet -------------------------------------------------------------------------------


@never_cache
@coordinator_required
def sign_screen(request: HttpRequest, pk: int, party: int) -> HttpResponse:
    """Handed over: nothing of the book is on it but this agreement."""
    asked = _party(pk, party)
    document = current_document(asked.agreement)
    if document is None:
        raise Http404
    return _in_language(request, Desk(asked, document, user=request.user))


@never_cache
@coordinator_required
@require_GET
def signed(request: HttpRequest, pk: int, party: int) -> HttpResponse:
    """Thanks, and please give the device back."""
    asked = _party(pk, party)
    if not hasattr(asked, "signature"):
        raise Http404
    desk = Desk(asked, asked.signature.document, user=request.user)
    with translation.override(_language(request, desk.signer)):
        return _thanks(request, desk)


# -- by a link -------------------------------------------------------------------------------------------------


@never_cache
def by_link(request: HttpRequest, secret: str) -> HttpResponse:
    link = link_of(secret)
    if link is None:
        return _lost(request, status=404)
    desk = Desk(_party(link.party.agreement_id, link.party_id), link.document, link=link)
    return _in_language(request, desk, secret=secret)


@never_cache
@require_GET
def link_document(request: HttpRequest, secret: str) -> HttpResponse:
    """The very bytes that are signed with this link, or were."""
    link = link_of(secret)
    if link is None or link.withdrawn_at or link.expires_at <= timezone.now():
        raise Http404
    return HttpResponse(
        bytes(link.document.content),
        content_type=link.document.content_type,
        headers={
            "Content-Disposition": content_disposition_header(False, link.document.file_name),
            "X-Robots-Tag": "noindex",
        },
    )


@never_cache
def link_lost(request: HttpRequest) -> HttpResponse:
    """Ask for a new link. The page says the same whatever we know."""
    if request.method != "POST":
        return _lost(request)
    if secret := request.POST.get("secret"):
        link = link_of(secret)
        send_again(links=[link] if link else [], at=timezone.now())
        language = link.party.person.language if link else translation.get_language()
    else:
        form = LostLinkForm(request.POST)
        if not form.is_valid():
            return _lost(request, form, status=422)
        send_again(links=_links_to(form.cleaned_data["email"]), at=timezone.now())
        language = translation.get_language()
    with translation.override(language):
        return render(request, "agreements/link_sent.html")


def _links_to(email: str) -> list[SigningLink]:
    points = ContactPoint.objects.filter(
        kind=ContactKind.EMAIL,
        normal=ContactPoint.normalise(ContactKind.EMAIL, email),
        dead_since=None,
    )
    hers = Q(party__signs_by=None, party__person__contact_points__in=points)
    for_another = Q(party__signs_by__contact_points__in=points)
    return list(SigningLink.objects.filter(hers | for_another).distinct())


def _lost(
    request: HttpRequest, form: LostLinkForm | None = None, *, status: int = 200
) -> HttpResponse:
    context = {"form": form or LostLinkForm(), "forged": status == 404}
    return render(request, "agreements/link_lost.html", context, status=status)


# -- the page itself -------------------------------------------------------------------------------------------


def _language(request: HttpRequest, signer: Person) -> str:
    wanted = request.GET.get("language", "")
    return wanted if wanted in Language.values else signer.language


def _in_language(request: HttpRequest, desk: Desk, *, secret: str = "") -> HttpResponse:
    language = _language(request, desk.signer)
    with translation.override(language):
        response = _page(request, desk, secret)
    response.headers["Content-Language"] = language
    response.headers["X-Robots-Tag"] = "noindex"
    return response


def _page(request: HttpRequest, desk: Desk, secret: str) -> HttpResponse:
    shut = _shut(request, desk, secret)
    if shut is not None:
        return shut
    consent = consent_of(request.program)
    does = request.POST.get("do") if request.method == "POST" else ""
    form = ScreenForm(
        request.POST if does == "sign" else None,
        document=desk.document,
        consent=consent,
        signer=desk.signer,
    )
    decline = DeclineForm(request.POST if does == "decline" else None)
    status = 200
    if does == "sign":
        status = 422
        if form.is_valid():
            try:
                services.record_signature(
                    party=desk.party,
                    document=desk.document,
                    method=SigningMethod.SCREEN,
                    typed_name=form.cleaned_data["typed_name"],
                    consent=consent.text,
                    at=timezone.now(),
                    link=desk.link,
                    by=desk.user,
                )
            except Refused as refusal:
                form.add_error(None, str(refusal))
                status = 409
            else:
                return _after(request, desk)
    if does == "decline":
        status = 422
        if decline.is_valid():
            try:
                services.decline(
                    party=desk.party,
                    on=request.program.today(),
                    why=decline.cleaned_data["why"],
                    by=desk.user,
                )
            except Refused as refusal:
                decline.add_error(None, str(refusal))
                status = 409
            else:
                return _after(request, desk)
    context = _told(request, desk, secret) | {
        "form": form,
        "decline_form": decline,
        "consent": consent,
    }
    return render(request, "agreements/sign_screen.html", context, status=status)


def _after(request: HttpRequest, desk: Desk) -> HttpResponse:
    if desk.link or not hasattr(Party.objects.get(pk=desk.party.pk), "signature"):
        return redirect(request.get_full_path())
    response = redirect("agreements:signed", pk=desk.party.agreement_id, party=desk.party.pk)
    if request.GET.get("language") in Language.values:
        response["Location"] += f"?language={request.GET['language']}"
    return response


def _shut(request: HttpRequest, desk: Desk, secret: str) -> HttpResponse | None:
    """The page instead, where nothing can be signed here and now."""
    link, now = desk.link, timezone.now()
    if link and link.used_at and link.expires_at > now:
        return _thanks(request, desk, secret)
    old = link is not None and (link.used_at or link.withdrawn_at or link.expires_at <= now)
    if old and hasattr(desk.party, "signature"):
        return _not_now(request, desk, _already(desk.party), status=410)
    hindered = hindrance(
        agreement=desk.party.agreement,
        party=desk.party,
        document=desk.document,
        on=request.program.today(),
        method=SigningMethod.SCREEN,
    )
    if hindered:
        return _not_now(request, desk, hindered, secret=secret, status=410 if old else 409)
    if old:
        words = _("Links to sign work for two weeks, and only the newest one does.")
        return _not_now(request, desk, Hindrance(words, words), secret=secret, status=410)
    return None


def _already(party: Party) -> Hindrance:
    words = _("The signature of %s has been recorded already.") % party
    return Hindrance(words, words)


def _not_now(
    request: HttpRequest, desk: Desk, why: Hindrance, *, secret: str = "", status: int
) -> HttpResponse:
    context = {
        "words": why.signer_words,
        "party": desk.party,
        "agreement": desk.party.agreement,
        "kiosk": desk.link is None,
        "secret": secret if desk.party.agreement.state == AgreementState.OFFERED else "",
        "signed": hasattr(desk.party, "signature"),
    }
    return render(request, "agreements/sign_not_now.html", context, status=status)


def _thanks(request: HttpRequest, desk: Desk, secret: str = "") -> HttpResponse:
    context = {
        "signer": desk.signer,
        "party": desk.party,
        "signature": desk.party.signature,
        "agreement": desk.party.agreement,
        "document": desk.document,
        "in_force": desk.party.agreement.state == AgreementState.IN_FORCE,
        "kiosk": desk.link is None,
        "secret": secret,
    }
    return render(request, "agreements/signed.html", context)


def _told(request: HttpRequest, desk: Desk, secret: str) -> dict[str, Any]:
    agreement, language = desk.party.agreement, translation.get_language()
    agent = agent_for(desk.party, on=request.program.today())
    return {
        "agreement": agreement,
        "party": desk.party,
        "signer": desk.signer,
        "authority": agent.authority if agent else "",
        "document": desk.document,
        "sheet": desk.document.sheet,
        "sites": agreement.sites.order_by("code"),
        "summary": _summary(desk),
        "translated": _translated(desk, language),
        "until": good_until(desk.link) if desk.link else agreement.offer_until,
        "languages": [(code, OTHER_NAMES[code]) for code in Language.values],
        "language": language,
        "kiosk": desk.link is None,
        "secret": secret,
    }


def _summary(desk: Desk) -> list[str]:
    lines = desk.document.sheet.get("summary") or desk.party.agreement.wording.summary.splitlines()
    return [line for line in lines if line.strip()]


def _translated(desk: Desk, language: str) -> list[str]:
    """The summary in the language of the page, where that is not the document's: a help, nothing more."""
    agreement = desk.party.agreement
    if language == agreement.language:
        return []
    wording = (
        Wording.objects.in_use(on=desk.document.dated)
        .filter(instrument=agreement.instrument, language=language)
        .first()
    )
    return [line for line in wording.summary.splitlines() if line.strip()] if wording else []
