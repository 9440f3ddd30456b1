"""Offering a document and recording who signed it; with the last signature the agreement comes into force."""

import hashlib
from collections.abc import Sequence
from datetime import date

from django.db import IntegrityError, transaction
from django.db.models import Max, Q
from django.utils.text import slugify
from django.utils.translation import gettext as _

from people.models import User
from sites.choices import Stage
from sites.models import SiteEvent
from stewardship.agreements import instruments
from stewardship.agreements.choices import (
    AgreementState,
    Capacity,
    DocumentKind,
    ResponsibilityRole,
    SigningMethod,
)
from stewardship.agreements.documents import content_hash, paper, render
from stewardship.agreements.duties import ScheduleLine
from stewardship.agreements.models import Agreement, Document, Party, Responsibility, Signature
from stewardship.agreements.scans import Scan, read_scan
from stewardship.agreements.services._shared import (
    locked,
    note,
    refuse_after_signing,
    refuse_future,
)
from stewardship.agreements.services.ending import hand_over
from stewardship.agreements.services.wordings import newest_wording
from stewardship.agreements.standing import missing_signatures, parties_of, signers
from stewardship.common.errors import Refused
from stewardship.common.pdf import count_pages
from stewardship.common.written import day_text


def offer_agreement(
    *,
    agreement: Agreement,
    on: date,
    schedule: Sequence[ScheduleLine] | None = None,
    by: User | None = None,
) -> Document:
    """Make the document to sign, dated that day, in the newest wording; a new version when there is one already.

    `schedule` says when what is due, per phase (default: the program's usual one, see duties.py).

    Raises
    ------
    Refused : somebody has signed, somebody who must sign is not named, no site or no basin is written down, the day is yet
        to come, or the agreement was changed while the document was being made.
    """
    refuse_future(on, _("An agreement is not dated ahead; give today or an earlier day."))
    agreement = Agreement.objects.get(pk=agreement.pk)
    _refuse_unready(agreement)
    wording = newest_wording(agreement.instrument, agreement.language)
    # The PDF takes a moment, so it is made before anything is locked and kept only if nothing has changed meanwhile.
    sheet = paper(agreement, wording=wording, dated=on, schedule=schedule)
    made_from = content_hash(sheet)
    content = render(sheet)
    with transaction.atomic():
        agreement = locked(agreement)
        _refuse_unready(agreement)
        now = paper(agreement, wording=wording, dated=on, schedule=schedule)
        if content_hash(now) != made_from:
            raise Refused(_("The agreement was changed just now; look at it and try once more."))
        was, agreement.state, agreement.wording = agreement.state, AgreementState.OFFERED, wording
        agreement.save(update_fields=["state", "wording"])
        version = _next_version(agreement, DocumentKind.TO_SIGN)
        document = Document.objects.create(
            agreement=agreement,
            kind=DocumentKind.TO_SIGN,
            version=version,
            file_name=f"{agreement.reference}-v{version}.pdf",
            content=content,
            sha256=hashlib.sha256(content).hexdigest(),
            pages=count_pages(content),
            dated=on,
            made_by=by,
        )
        note(agreement, was=was, why=_("Offered: %s") % document.file_name, by=by)
    return document


def _refuse_unready(agreement: Agreement) -> None:
    refuse_after_signing(agreement)
    unnamed = [one for one in missing_signatures(agreement) if one.party is None]
    if unnamed:
        raise Refused("; ".join(one.words for one in unnamed) + ".")
    if not instruments.INSTRUMENTS[agreement.instrument].covers_sites:
        return
    sites = list(agreement.sites.prefetch_related("basins"))
    if not sites:
        raise Refused(_("Say first which site the agreement is about."))
    for site in sites:
        if not site.basins.all():
            raise Refused(_("Say first what will be built at %s.") % site.code)


def _next_version(agreement: Agreement, kind: str) -> int:
    newest = agreement.documents.filter(kind=kind).aggregate(newest=Max("version"))["newest"]
    return (newest or 0) + 1


def record_signature(
    *,
    party: Party,
    document: Document,
    method: str = SigningMethod.PAPER,
    signed_on: date,
    typed_name: str,
    original_kept_at: str = "",
    scan: bytes | None = None,
    scan_name: str = "",
    by: User | None = None,
) -> Signature:
    """Write down that a party signed this very document. With the last one asked, the agreement comes into force.

    `scan` is the signed page as PDF, PNG or JPEG; the same file given for two signers is kept once.

    Raises
    ------
    Refused : the agreement is not offered, the document is not the newest one, the party has signed, the day is yet to come
        or before the document was made, the name or the place of the paper is missing, or the scan is no such file.
    """
    typed_name, original_kept_at = " ".join(typed_name.split()), original_kept_at.strip()
    _refuse_incomplete(method, typed_name, original_kept_at)
    refuse_future(signed_on, _("The day of a signature is not in the future."))
    read = read_scan(scan) if scan is not None else None
    try:
        with transaction.atomic():
            agreement = locked(party.agreement)
            _refuse_signing(agreement, party, document, signed_on)
            signature = Signature.objects.create(
                party=party,
                document=document,
                method=method,
                signed_on=signed_on,
                typed_name=typed_name,
                original_kept_at=original_kept_at,
                scan=_keep_scan(agreement, scan, read, scan_name, signed_on, by) if read else None,
                recorded_by=by,
            )
            words = {"party": party, "day": day_text(signed_on)}
            note(agreement, why=_("Signed by %(party)s on %(day)s") % words, by=by)
            if not missing_signatures(agreement):
                bring_into_force(agreement, by=by)
    except IntegrityError as error:
        # Where rows cannot be locked, the unique constraint decides between two that come at once.
        if Signature.objects.filter(party=party).exists():
            raise Refused(_signed_already(party)) from error
        raise
    return signature


def _refuse_incomplete(method: str, typed_name: str, original_kept_at: str) -> None:
    if not typed_name:
        raise Refused(_("Write the name as it was signed."))
    if method == SigningMethod.PAPER and not original_kept_at:
        raise Refused(_("Say where the signed paper is kept."))


def _signed_already(party: Party) -> str:
    return _("The signature of %s has been recorded already.") % party


def _refuse_signing(
    agreement: Agreement, party: Party, document: Document, signed_on: date
) -> None:
    if Signature.objects.filter(party=party).exists():
        raise Refused(_signed_already(party))
    if agreement.state == AgreementState.DRAFT:
        raise Refused(_("%s has not been offered yet: make the document first.") % agreement)
    if agreement.state == AgreementState.ENDED:
        raise Refused(_("%s has ended; it is not signed any more.") % agreement)
    newest = agreement.documents.filter(kind=DocumentKind.TO_SIGN).defer("content").first()
    if newest is None or document.agreement_id != agreement.pk or document.pk != newest.pk:
        raise Refused(
            _("That is not the newest document of %(agreement)s; have %(file)s signed.")
            % {"agreement": agreement, "file": newest.file_name if newest else "?"}
        )
    if signed_on < document.dated:
        raise Refused(
            _("The document is of %s; it cannot have been signed before.")
            % day_text(document.dated)
        )


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
    version = _next_version(agreement, DocumentKind.SIGNED)
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


def bring_into_force(agreement: Agreement, *, by: User | None) -> None:
    """The agreement binds from now on: its days, the sites' stage, who is responsible."""
    parties = parties_of(agreement)
    facts = signers(parties)
    was = agreement.state
    begins = instruments.begins_on(facts, agreement.begins_on)
    agreement.state, agreement.begins_on = AgreementState.IN_FORCE, begins
    agreement.ends_on = instruments.ends_on(agreement.instrument, begins)
    agreement.save(update_fields=["state", "begins_on", "ends_on"])
    note(agreement, was=was, why=_("Signed by everybody it needs"), by=by)
    sites = list(agreement.sites.select_for_update().order_by("pk"))
    for site in sites:
        if site.stage == Stage.PROPOSED:
            site.stage = Stage.AGREED
            site.save(update_fields=["stage"])
            SiteEvent.objects.create(
                site=site,
                was=Stage.PROPOSED,
                became=site.stage,
                why=_("%s is in force") % agreement.reference,
                by=by,
            )
    roles = instruments.responsibilities(agreement.instrument, facts)
    for site in sites:
        for role, holder in dict.fromkeys((one.role, _holder(parties[one.index])) for one in roles):
            _start(agreement, site.pk, role, dict([holder]))


def _holder(party: Party) -> tuple[str, int]:
    if party.capacity == Capacity.AGENCY_OFFICER:
        return ("agency_id", party.agency_id)
    return ("person_id", party.person_id)


def _start(
    agreement: Agreement, site_id: int, role: ResponsibilityRole, holder: dict[str, int]
) -> None:
    begins = agreement.begins_on
    same = Responsibility.objects.filter(site_id=site_id, role=role, **holder)
    going_on = Q(ends_on__isnull=True) | Q(ends_on__gt=begins)
    hand_over(same.filter(going_on), to=agreement, on=begins)
    Responsibility.objects.create(
        site_id=site_id,
        role=role,
        agreement=agreement,
        starts_on=begins,
        ends_on=agreement.ends_on,
        **holder,
    )
