"""Exhibit D: the works as they stand, from the measures in the book, made when somebody asks for it."""

import hashlib
from dataclasses import dataclass
from datetime import date

from django.db import transaction
from django.utils import translation
from django.utils.translation import gettext as _

from people.models import Program, User
from sites.choices import Stage
from stewardship.agreements.choices import DocumentKind
from stewardship.agreements.documents_facts import long_date, party_lines
from stewardship.agreements.documents_sheet import PartyLine, Works, short_hash
from stewardship.agreements.documents_works import sites_of, works_of
from stewardship.agreements.models import Agreement, Document
from stewardship.agreements.services._shared import locked, next_version, note, refuse_future
from stewardship.common.errors import Refused
from stewardship.common.events import book_language
from stewardship.common.pdf import count_pages, render_pdf

TEMPLATE = "agreements/as_built.html"


@dataclass(frozen=True, slots=True)
class AsBuilt:
    """What stands on the pages, in the agreement's language."""

    reference: str
    language: str
    dated: str
    program: str
    built: tuple[tuple[str, str], ...]
    parties: tuple[PartyLine, ...]
    works: Works


def as_built_document(*, agreement: Agreement, on: date, by: User | None = None) -> Document:
    """The works of the agreement's built sites as they stand, dated that day, as a new version; shown to the parties afterwards.

    Asked for twice on a day on which nothing has changed, it is the same document.

    Raises
    ------
    Refused : the day is yet to come, or nothing is built under the agreement.
    """
    refuse_future(on, _("A document is not dated ahead; give today or an earlier day."))
    sheet = _sheet(agreement, on)
    context = {"sheet": sheet, "short_hash": short_hash(sheet), "program": Program.get()}
    # It takes a moment, so it is made before anything is locked.
    content = render_pdf(TEMPLATE, context, language=sheet.language)
    sha256 = hashlib.sha256(content).hexdigest()
    with transaction.atomic():
        agreement = locked(agreement)
        newest = agreement.documents.filter(kind=DocumentKind.AS_BUILT).first()
        if newest and newest.sha256 == sha256:
            return newest
        version = next_version(agreement, DocumentKind.AS_BUILT)
        document = Document.objects.create(
            agreement=agreement,
            kind=DocumentKind.AS_BUILT,
            version=version,
            file_name=f"{agreement.reference}-as-built-v{version}.pdf",
            content=content,
            sha256=sha256,
            pages=count_pages(content),
            dated=on,
            made_by=by,
        )
        with book_language():
            note(agreement, why=_("Works as built: %s") % document.file_name, by=by)
    return document


def _sheet(agreement: Agreement, on: date) -> AsBuilt:
    program = Program.get()
    sites = [site for site in sites_of(agreement) if site.stage == Stage.BUILT]
    if not sites:
        raise Refused(_("Nothing is built yet under %s.") % agreement)
    with translation.override(agreement.language):
        return AsBuilt(
            reference=agreement.reference,
            language=agreement.language,
            dated=long_date(on),
            program=program.name,
            built=tuple((site.code, long_date(site.built_on)) for site in sites),
            parties=tuple(party_lines(agreement, on=on)),
            works=works_of(sites, program.units, on=on, built=True),
        )
