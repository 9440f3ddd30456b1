"""Recording who signed, on paper or on a screen; with the last signature the agreement comes into force."""

import hashlib
from datetime import date, datetime

from django.db import IntegrityError, transaction
from django.utils import timezone
from django.utils.text import slugify
from django.utils.translation import gettext as _

from people.likeness import folded
from people.models import Person, Program, User
from stewardship.agreements.choices import DocumentKind, SigningMethod
from stewardship.agreements.models import Agreement, Document, Party, Signature, SigningLink
from stewardship.agreements.scans import Scan, read_scan
from stewardship.agreements.services._shared import locked, next_version, note, refuse_future
from stewardship.agreements.services.links import shut_links
from stewardship.agreements.services.starting import bring_into_force
from stewardship.agreements.signable import agent_for, hindrance
from stewardship.agreements.standing import missing_signatures
from stewardship.common.errors import Refused
from stewardship.common.events import book_language
from stewardship.common.written import day_text


def record_signature(
    *,
    party: Party,
    document: Document,
    method: str = SigningMethod.PAPER,
    signed_on: date | None = None,
    typed_name: str,
    original_kept_at: str = "",
    scan: bytes | None = None,
    scan_name: str = "",
    at: datetime | None = None,
    consent: str = "",
    link: SigningLink | None = None,
    by: User | None = None,
) -> Signature:
    """Write down that a party signed this very document. With the last one asked, the agreement comes into force.

    On paper: `signed_on`, `original_kept_at`, and perhaps `scan`, the signed page as PDF, PNG or JPEG; the same file given for two
    signers is kept once. On a screen: `at`, the instant, and `consent`, the exact words that were agreed to besides the document;
    `link` is used up by it. Where somebody signs for the party, their right is kept with the signature.

    Raises
    ------
    Refused : something stands in the way (see signable.py), the day is yet to come, the name, the consent or the place of the
        paper is missing, the typed name is not the signer's, the scan is no such file, or the link is used up.
    """
    typed_name, original_kept_at = " ".join(typed_name.split()), original_kept_at.strip()
    if method == SigningMethod.SCREEN:
        signed_on = _refuse_careless(party, at, consent, typed_name)
    else:
        _refuse_incomplete(typed_name, original_kept_at)
        refuse_future(signed_on, _("The day of a signature is not in the future."))
    read = read_scan(scan) if scan is not None else None
    try:
        with transaction.atomic():
            agreement = locked(party.agreement)
            party = Party.objects.select_related("person", "signs_by").get(pk=party.pk)
            hindered = hindrance(
                agreement=agreement, party=party, document=document, on=signed_on, method=method
            )
            if hindered:
                raise Refused(hindered.signer_words if link else hindered.words)
            agent = agent_for(party, on=signed_on)
            signature = Signature.objects.create(
                party=party,
                document=document,
                method=method,
                signed_on=signed_on,
                typed_name=typed_name,
                at=at,
                zone=Program.get().zone if at else "",
                consent=consent,
                agent=agent.agent if agent else None,
                authority=agent.authority if agent else "",
                original_kept_at=original_kept_at,
                scan=_keep_scan(agreement, scan, read, scan_name, signed_on, by) if read else None,
                recorded_by=by,
            )
            shut_links(party=party, used=link)
            with book_language():
                note(agreement, why=_signed_words(signature), by=by)
            agreement = locked(agreement)  # anew: what was read of its parties is from before
            if not missing_signatures(agreement):
                bring_into_force(agreement, by=by)
    except IntegrityError as error:
        # Where rows cannot be locked, the unique constraint decides between two that come at once.
        if Signature.objects.filter(party=party).exists():
            raise Refused(_("The signature of %s has been recorded already.") % party) from error
        raise
    return signature


def _refuse_incomplete(typed_name: str, original_kept_at: str) -> None:
    if not typed_name:
        raise Refused(_("Write the name as it was signed."))
    if not original_kept_at:
        raise Refused(_("Say where the signed paper is kept."))


def _refuse_careless(party: Party, at: datetime | None, consent: str, typed_name: str) -> date:
    """The day of a signature on a screen. It takes a name, a consent and a moment: nobody signs by brushing against glass."""
    if at is None or not consent:
        raise Refused(_("Agree first to sign electronically, or sign on paper."))
    if not typed_name:
        raise Refused(_("Type your name: that is your signature."))
    signer = party.signs_by or party.person
    if not is_name_of(signer, typed_name):
        raise Refused(
            _(
                "The agreement names %(name)s. Type that name, or tell us before you sign if it is written wrongly."
            )
            % {"name": signer.full_name}
        )
    if at > timezone.now():
        raise Refused(_("The moment of a signature is not in the future."))
    return at.astimezone(Program.get().tz).date()


def is_name_of(person: Person, typed: str) -> bool:
    """Whether the typed name is that person's: their family name in full, and a first name that begins alike.

    Accents and capitals do not count, and middle names may stand between. Without a family name the whole name counts.
    """
    words, given = folded(typed).split(), folded(person.given_name).split()
    family = folded(person.family_name).split() or given
    return set(family) <= set(words) and words[0][0] == given[0][0]


def _signed_words(signature: Signature) -> str:
    words = {
        "party": signature.party,
        "day": day_text(signature.signed_on),
        "how": _("on paper") if signature.at is None else _("on a screen"),
    }
    if signature.agent is None:
        return _("Signed by %(party)s on %(day)s, %(how)s") % words
    words |= {"agent": signature.agent, "right": signature.authority}
    return _("Signed for %(party)s by %(agent)s (%(right)s) on %(day)s, %(how)s") % words


def _keep_scan(
    agreement: Agreement, content: bytes, read: Scan, name: str, day: date, by: User | None
) -> Document:
    sha256 = hashlib.sha256(content).hexdigest()
    if agreement.documents.filter(kind=DocumentKind.TO_SIGN, sha256=sha256).exists():
        raise Refused(
            _("This is the document before anybody signed; scan the page with the signature.")
        )
    kept = agreement.documents.filter(kind=DocumentKind.SIGNED, sha256=sha256).first()
    if kept:
        return kept
    version = next_version(agreement, DocumentKind.SIGNED)
    stem = slugify(name.rsplit("/", 1)[-1].rsplit(".", 1)[0])[:60] or "signed"
    return Document.objects.create(
        agreement=agreement,
        kind=DocumentKind.SIGNED,
        version=version,
        file_name=f"{agreement.reference}-{stem}.{read.suffix}",
        content_type=read.content_type,
        content=content,
        sha256=sha256,
        pages=read.pages,
        dated=day,
        made_by=by,
    )
