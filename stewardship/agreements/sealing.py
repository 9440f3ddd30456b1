"""The signed copy: the very pages that were signed, a record of who signed them and how, and the program's seal over both.

It is PDF/UA-1 like the pages that were signed and makes no claim to PDF/A: WeasyPrint writes one variant at a time, and those
pages must stay the very bytes that people signed. What archives ask for first is there: embedded letterforms, tagged text, no
script, no encryption, no link to anything outside that the reading depends on.
"""

import hashlib
import logging
from dataclasses import dataclass
from datetime import UTC, date, timedelta
from zoneinfo import ZoneInfo

from django.db import IntegrityError, transaction
from django.db.models import Exists, OuterRef, QuerySet
from django.utils import timezone, translation
from django.utils.formats import time_format
from django.utils.translation import gettext as _

from people.models import Program
from stewardship.agreements.choices import AgreementState, DocumentKind, SigningMethod
from stewardship.agreements.documents_facts import long_date
from stewardship.agreements.documents_sheet import joined
from stewardship.agreements.models import Agreement, Document, Signature
from stewardship.agreements.services._shared import locked, note
from stewardship.agreements.services.copies import send_copies
from stewardship.common.errors import Refused
from stewardship.common.events import book_language
from stewardship.common.pdf import count_pages, render_pdf
from stewardship.common.seal import Attachment, fingerprint, has_seal, sealed

log = logging.getLogger(__name__)

TEMPLATE = "agreements/record.html"
AT_ONCE = 10  # sealed in one sweep, some 0.4 s each, so that other work has its turn
#: A book that is brought along holds years of agreements; nobody wants their copies by mail today. Program default, no source.
COPIES_FOR = timedelta(days=30)


@dataclass(frozen=True, slots=True)
class SignatureLine:
    """One signature as the record tells it."""

    name: str
    capacity: str
    holder: str
    by: str
    typed_name: str
    how: str
    when: str
    instant: str
    consent: str
    kept_at: str
    scan: str
    scan_sha256: str
    scan_pages: int
    recorded: str


def due_for_sealing() -> QuerySet[Agreement]:
    """Agreements in force whose document was made here and signed, without a sealed copy."""
    papers = Document.objects.filter(agreement=OuterRef("pk"))
    return Agreement.objects.filter(
        Exists(papers.filter(kind=DocumentKind.TO_SIGN, signatures__isnull=False)),
        ~Exists(papers.filter(kind=DocumentKind.SEALED)),
        state=AgreementState.IN_FORCE,
    )


def seal_due() -> int:
    """Seal what is due, each by itself; gives how many there were. One that cannot be sealed does not stop the rest."""
    # In any order, so that two workers at once seldom make the same one; if they do, one of the two is kept.
    due = list(due_for_sealing().order_by("?").values_list("pk", flat=True))
    if due and not has_seal():
        log.warning(
            "Signed agreements that wait for a seal: %d. Run “manage.py make_seal” once.", len(due)
        )
        return 0
    done = 0
    for pk in due:
        if done >= AT_ONCE:
            break
        try:
            seal_agreement(agreement=Agreement.objects.get(pk=pk))
        except Exception:  # whatever is wrong with this one, the others go on
            log.exception("The signed copy of agreement %d could not be sealed.", pk)
        else:
            done += 1
    return done


def seal_agreement(*, agreement: Agreement) -> Document:
    """Make, seal and keep the signed copy of an agreement in force, once; the one that is there is given back.

    Its version is that of the document that was signed. Everybody who signed lately is sent a copy with it.

    Raises
    ------
    Refused : the agreement is not in force, nobody signed a document made here, or there is no seal.
    """
    found = _kept(agreement)
    if found:
        return found
    # The PDF takes a moment, so it is made before anything is locked. Signatures are never changed, so it stays true.
    document, content = _signed_copy(Agreement.objects.get(pk=agreement.pk))
    try:
        with transaction.atomic():
            agreement = locked(agreement)
            found = _kept(agreement)
            if found:
                return found
            copy = Document.objects.create(
                agreement=agreement,
                kind=DocumentKind.SEALED,
                version=document.version,
                file_name=f"{agreement.reference}-v{document.version}-signed.pdf",
                content=content,
                sha256=hashlib.sha256(content).hexdigest(),
                pages=count_pages(content),
                dated=Program.get().today(),
            )
            with book_language():
                note(agreement, why=_("Signed copy sealed: %s") % copy.file_name, by=None)
            _send_copies(copy)
    except IntegrityError:
        # Where rows cannot be locked, the unique constraint decides between two that come at once.
        found = _kept(agreement)
        if found is None:
            raise
        return found
    return copy


def _kept(agreement: Agreement) -> Document | None:
    return agreement.documents.filter(kind=DocumentKind.SEALED).order_by("-version").first()


def _send_copies(copy: Document) -> None:
    lately = Signature.objects.filter(
        party__agreement=copy.agreement_id, recorded_at__gt=timezone.now() - COPIES_FOR
    )
    if lately.exists():
        send_copies(document=copy)


def _signed_copy(agreement: Agreement) -> tuple[Document, bytes]:
    """The document that was signed, and the bytes of the copy made from it."""
    if agreement.state != AgreementState.IN_FORCE:
        raise Refused(
            _("%s is not in force; only what everybody has signed is sealed.") % agreement
        )
    signatures = list(
        Signature.objects.filter(party__agreement=agreement)
        .select_related(
            "party__person",
            "party__agency",
            "party__organisation",
            "agent",
            "scan",
            "recorded_by",
        )
        .defer("scan__content")
        .order_by("signed_on", "pk")
    )
    signed = {one.document_id for one in signatures}
    document = Document.objects.filter(pk__in=signed, kind=DocumentKind.TO_SIGN).first()
    if document is None or len(signed) != 1:
        raise Refused(_("Not everybody signed one and the same document of %s.") % agreement)
    program = Program.get()
    with translation.override(agreement.language), timezone.override(program.tz):
        context = {
            "program": program,
            "agreement": agreement,
            "document": document,
            "dated": long_date(document.dated),
            "begins": long_date(agreement.begins_on),
            "signatures": [_line(one) for one in signatures],
            "unsigned": [
                party.person.full_name
                for party in agreement.parties.select_related("person")
                if not party.must_sign and party.pk not in {one.party_id for one in signatures}
            ],
            "fingerprint": fingerprint(),
        }
    with timezone.override(program.tz):
        record = render_pdf(TEMPLATE, context, language=agreement.language)
    return document, sealed(bytes(document.content), more=record, attachments=_scans(signatures))


def _scans(signatures: list[Signature]) -> list[Attachment]:
    """The scanned pages, each once: one sheet may bear several signatures."""
    scans = Document.objects.in_bulk({one.scan_id for one in signatures if one.scan_id})
    return [
        Attachment(
            scan.file_name, scan.content_type, bytes(scan.content), _("Scan of a signed page")
        )
        for scan in scans.values()
    ]


def _line(signature: Signature) -> SignatureLine:
    party, scan = signature.party, signature.scan
    holder = party.agency or party.organisation
    return SignatureLine(
        name=party.person.full_name,
        capacity=str(party.get_capacity_display()),
        holder=str(holder) if holder else "",
        by=joined([str(signature.agent), signature.authority]) if signature.agent else "",
        typed_name=signature.typed_name,
        how=str(SigningMethod(signature.method).label),
        when=_when(signature),
        instant=f"{signature.at.astimezone(UTC):%Y-%m-%dT%H:%M:%SZ}" if signature.at else "",
        consent=signature.consent,
        kept_at=signature.original_kept_at,
        scan=scan.file_name if scan else "",
        scan_sha256=scan.sha256 if scan else "",
        scan_pages=scan.pages if scan else 0,
        recorded=_recorded(signature),
    )


def _when(signature: Signature) -> str:
    if signature.at is None:
        return long_date(signature.signed_on)
    local = signature.at.astimezone(ZoneInfo(signature.zone))
    return f"{long_date(local.date())}, {time_format(local.timetz(), 'H:i:s')} ({signature.zone})"


def _recorded(signature: Signature) -> str:
    day: date = timezone.localtime(signature.recorded_at).date()
    return joined([long_date(day), str(signature.recorded_by or "")])
