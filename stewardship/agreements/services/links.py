"""Ways in to sign without a log-in: one party, one document, for some days. Of a link only a digest is kept."""

import hashlib
import secrets
from collections.abc import Iterable
from datetime import date, datetime, timedelta
from typing import Any

from django.db import transaction
from django.utils import timezone, translation
from django.utils.text import get_text_list
from django.utils.translation import gettext as _

from people.choices import Channel
from people.models import Person, Program, User
from people.services import reachable_at
from stewardship.agreements.choices import AgreementState, SigningMethod
from stewardship.agreements.models import Agreement, Party, SigningLink
from stewardship.agreements.services._shared import locked, note
from stewardship.agreements.signable import hindrance
from stewardship.agreements.standing import current_document
from stewardship.common.errors import Refused
from stewardship.common.events import book_language
from stewardship.common.written import day_text
from stewardship.outbox.choices import MessageClass
from stewardship.outbox.models import Message
from stewardship.outbox.services import queue_message

SECRET_BYTES = 32
#: Long enough to talk it over at home, short enough that a letter in an old mailbox signs nothing. Our default.
GOOD_FOR = timedelta(days=14)


def digest_of(secret: str) -> str:
    # A secret of 256 random bits needs no slow digest.
    return hashlib.sha256(secret.encode("utf-8", "surrogatepass")).hexdigest()


def link_of(secret: str) -> SigningLink | None:
    """The link that somebody opens, good or not; None: it was never made here."""
    return (
        SigningLink.objects.select_related(
            "document", "party__agreement", "party__person", "party__signs_by"
        )
        .filter(digest=digest_of(secret))
        .defer("document__content")
        .first()
    )


@transaction.atomic
def make_link(*, party: Party, by: User | None = None) -> tuple[SigningLink, str]:
    """A link with which the party signs the newest document, and the secret in it, which nobody can look up later.

    Earlier ones of the party open nothing any more.

    Raises
    ------
    Refused : there is no document, or the party cannot sign it today.
    """
    agreement = locked(party.agreement)
    document, now = current_document(agreement), timezone.now()
    if document is None:
        raise Refused(_("There is no document to sign yet: make it first."))
    hindered = hindrance(
        agreement=agreement,
        party=party,
        document=document,
        on=Program.get().today(),
        method=SigningMethod.SCREEN,
    )
    if hindered:
        raise Refused(hindered.words)
    shut_links(party=party)
    secret = secrets.token_urlsafe(SECRET_BYTES)
    link = SigningLink.objects.create(
        party=party,
        document=document,
        digest=digest_of(secret),
        made_at=now,
        made_by=by,
        expires_at=now + GOOD_FOR,
    )
    return link, secret


@transaction.atomic
def send_link(*, party: Party, by: User | None = None) -> Message:
    """Make a link and send it by e-mail to whoever signs, in their language.

    Raises
    ------
    Refused : the party cannot sign today, or no e-mail reaches the signer.
    """
    link, secret = make_link(party=party, by=by)
    signer = party.signs_by or party.person
    # Not to somebody who only handles their letters: a link signs.
    point = None if signer.is_silent else reachable_at(signer, Channel.EMAIL)
    if point is None:
        raise Refused(
            _("No e-mail reaches %s. Let them sign here on this device, or on paper.") % signer
        )
    with translation.override(signer.language):
        context = _told(link, signer)
    message = queue_message(
        key=f"sign-{link.pk}",
        message_class=MessageClass.ACCOUNT,
        channel=Channel.EMAIL,
        to_name=signer.full_name,
        to_address=point.value,
        language=signer.language,
        template="sign-link",
        context=context,
        due_at=link.made_at,
        secret=secret,
    )
    with book_language():
        note(party.agreement, why=_("Link to sign sent to %s") % signer, by=by)
    return message


def good_until(link: SigningLink) -> date:
    """The last day on which it can be signed with."""
    until = link.expires_at.astimezone(Program.get().tz).date()
    stands = link.party.agreement.offer_until
    return min(until, stands) if stands else until


def _told(link: SigningLink, signer: Person) -> dict[str, Any]:
    agreement = link.party.agreement
    addresses = [site.address for site in agreement.sites.order_by("code")]
    return {
        "names": signer.given_name,
        "reference": agreement.reference,
        "title": agreement.wording.title,
        "addresses": get_text_list(addresses, _("and")),
        "capacity": str(link.party.get_capacity_display()).lower(),
        "for_another": link.party.person.full_name if link.party.person != signer else "",
        "until": day_text(good_until(link)),
    }


def send_again(*, links: Iterable[SigningLink], at: datetime) -> None:
    """A fresh link to whoever held one of these, at most one a day each. Silent when there is nothing to sign or nowhere to
    send it: the page tells nobody."""
    parties = {link.party_id for link in links}
    for party in Party.objects.filter(
        pk__in=parties, agreement__state=AgreementState.OFFERED
    ).select_related("agreement", "person", "signs_by"):
        if party.links.filter(made_by=None, made_at__gt=at - timedelta(days=1)).exists():
            continue
        try:
            send_link(party=party)
        except Refused:
            continue


def shut_links(*, party: Party, used: SigningLink | None = None) -> None:
    """The party's links open nothing any more; `used` has been signed with.

    Raises
    ------
    Refused : `used` is open no more.
    """
    now = timezone.now()
    mine = SigningLink.objects.open(at=now).filter(party=party)
    if used is not None and not mine.filter(pk=used.pk).update(used_at=now):
        raise Refused(_("This link opens nothing any more."))
    mine.update(withdrawn_at=now)


def shut_links_of(agreement: Agreement) -> None:
    """No link to any of its documents opens anything any more."""
    now = timezone.now()
    SigningLink.objects.open(at=now).filter(party__agreement=agreement).update(withdrawn_at=now)
