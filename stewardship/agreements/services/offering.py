"""Making the document to sign, and how long the offer stands."""

import hashlib
import json
from collections.abc import Sequence
from dataclasses import asdict
from datetime import date

from django.db import transaction
from django.utils.translation import gettext as _

from people.models import Program, User
from stewardship.agreements import instruments
from stewardship.agreements.choices import AgreementState, DocumentKind
from stewardship.agreements.documents import content_hash, paper, render
from stewardship.agreements.duties import ScheduleLine
from stewardship.agreements.models import Agreement, Document
from stewardship.agreements.services._shared import (
    locked,
    next_version,
    note,
    refuse_after_signing,
    refuse_future,
)
from stewardship.agreements.services.links import shut_links_of
from stewardship.agreements.services.wordings import newest_wording
from stewardship.agreements.standing import missing_signatures
from stewardship.agreements.works import works_mark
from stewardship.common.errors import Refused
from stewardship.common.events import book_language
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
        version = next_version(agreement, DocumentKind.TO_SIGN)
        document = Document.objects.create(
            agreement=agreement,
            kind=DocumentKind.TO_SIGN,
            version=version,
            file_name=f"{agreement.reference}-v{version}.pdf",
            content=content,
            sha256=hashlib.sha256(content).hexdigest(),
            pages=count_pages(content),
            sheet=json.loads(json.dumps(asdict(sheet))),
            works_sha256=works_mark(agreement),
            dated=on,
            made_by=by,
        )
        with book_language():
            note(agreement, was=was, why=_("Offered: %s") % document.file_name, by=by)
        _ask_everybody_anew(agreement, by=by)
    return document


def _ask_everybody_anew(agreement: Agreement, *, by: User | None) -> None:
    """Another document is another question: who declined the last one is asked again, links to it open nothing any more."""
    shut_links_of(agreement)
    for party in agreement.parties.filter(declined_on__isnull=False).select_related("person"):
        party.declined_on, party.declined_why = None, ""
        party.save(update_fields=["declined_on", "declined_why"])
        with book_language():
            note(agreement, why=_("Asked again: %s") % party, by=by)
    until = agreement.offer_until
    if until and until < Program.get().today():
        agreement.offer_until = None
        agreement.save(update_fields=["offer_until"])
        with book_language():
            note(agreement, why=_("The offer stands until: %s") % _("no limit"), by=by)


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


@transaction.atomic
def let_stand(*, agreement: Agreement, until: date | None, by: User | None = None) -> Agreement:
    """The offer can be signed until that day, included; None: without a limit.

    Raises
    ------
    Refused : the agreement is not offered, or the day has passed.
    """
    agreement = locked(agreement)
    if agreement.state != AgreementState.OFFERED:
        raise Refused(_("%s is not offered.") % agreement)
    if until and until < Program.get().today():
        raise Refused(_("That day has passed; give today or a later one."))
    agreement.offer_until = until
    agreement.save(update_fields=["offer_until"])
    with book_language():
        day = day_text(until) if until else _("no limit")
        note(agreement, why=_("The offer stands until: %s") % day, by=by)
    return agreement
