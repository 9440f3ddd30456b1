"""Agreements that were signed on paper before this book was kept."""

import hashlib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date

from django.db import transaction
from django.utils.translation import gettext as _

from people.models import Agency, Organisation, Person, Program, User
from sites.models import Site
from stewardship.agreements.choices import (
    AgreementState,
    Capacity,
    DocumentKind,
    SigningMethod,
)
from stewardship.agreements.models import Agreement, Document, Signature
from stewardship.agreements.services._shared import note
from stewardship.agreements.services.drafting import add_party, draft_agreement
from stewardship.agreements.services.ending import end_agreement
from stewardship.agreements.services.starting import bring_into_force
from stewardship.agreements.standing import missing_signatures
from stewardship.common.errors import Refused
from stewardship.common.events import book_language
from stewardship.common.written import day_text


@dataclass(frozen=True, slots=True)
class Signed:
    """Somebody named in it: in what capacity, for whom, and when and under what name they signed (None: not yet)."""

    person: Person
    capacity: str
    signed_on: date | None = None
    typed_name: str = ""
    agency: Agency | None = None
    organisation: Organisation | None = None


@transaction.atomic
def bring_in(
    *,
    reference: str,
    instrument: str,
    language: str,
    sites: Iterable[Site],
    signed: Sequence[Signed],
    kept_at: str,
    begins_on: date | None = None,
    ends_on: date | None = None,
    ended_why: str = "",
    source: str = "",
    by: User | None = None,
) -> Agreement:
    """Write down an agreement whose paper is elsewhere; in force with every signature it needs, ended if it has run out.

    The document of such an agreement is a note of what the list said (`source`) and where the paper is.

    Raises
    ------
    Refused : the reference is taken, days are out of order, or a signature cannot be.
    """
    _refuse_days(signed, begins_on, ends_on)
    if not kept_at.strip():
        raise Refused(_("Say where the signed paper is kept."))
    agreement = draft_agreement(
        reference=reference,
        instrument=instrument,
        sites=sites,
        language=language,
        begins_on=begins_on,
        by=by,
    )
    parties = []
    for one in signed:
        party = add_party(
            agreement=agreement,
            person=one.person,
            capacity=one.capacity,
            agency=one.agency,
            by=by,
        )
        if one.organisation:
            party.organisation = one.organisation
            party.save(update_fields=["organisation"])
        parties.append((one, party))
    today = Program.get().today()
    run_out = ended_why or _("Had run out when it was brought in")
    if not any(one.signed_on for one in signed):
        if ends_on and ends_on <= today:
            end_agreement(agreement=agreement, on=ends_on, why=run_out, by=by)
        return agreement
    document = _note_of(agreement, source=source, kept_at=kept_at, signed=signed, by=by)
    agreement.refresh_from_db()
    was, agreement.state = agreement.state, AgreementState.OFFERED
    agreement.save(update_fields=["state"])
    with book_language():
        words = _("Brought in from a list; the paper: %s") % kept_at
        note(agreement, was=was, why=words, by=by)
    for one, party in parties:
        if one.signed_on:
            Signature.objects.create(
                party=party,
                document=document,
                method=SigningMethod.PAPER,
                signed_on=one.signed_on,
                typed_name=(one.typed_name or one.person.full_name)[:160],
                original_kept_at=kept_at[:200],
                recorded_by=by,
            )
    if missing_signatures(agreement):
        return agreement
    bring_into_force(agreement, by=by)
    if ends_on and ends_on != agreement.ends_on:
        agreement.ends_on = ends_on
        agreement.save(update_fields=["ends_on"])
        agreement.responsibilities.update(ends_on=ends_on)
    if agreement.ends_on and agreement.ends_on <= today:
        end_agreement(agreement=agreement, on=agreement.ends_on, why=run_out, by=by)
    return agreement


def _refuse_days(signed: Sequence[Signed], begins_on: date | None, ends_on: date | None) -> None:
    today = Program.get().today()
    days = [one.signed_on for one in signed if one.signed_on]
    if any(day > today for day in days):
        raise Refused(_("The day of a signature is not in the future."))
    if begins_on and days and begins_on < max(days):
        raise Refused(
            _("It cannot begin on %(begins)s: the last signature is of %(signed)s.")
            % {"begins": day_text(begins_on), "signed": day_text(max(days))}
        )
    begins = begins_on or max(days, default=None)
    if ends_on and begins and ends_on <= begins:
        raise Refused(
            _("It cannot end on %(ends)s, before it began on %(begins)s.")
            % {"ends": day_text(ends_on), "begins": day_text(begins)}
        )


def _note_of(
    agreement: Agreement, *, source: str, kept_at: str, signed: Sequence[Signed], by: User | None
) -> Document:
    lines = [
        _("Agreement %s, brought in from a list.") % agreement.reference,
        _("The signed paper is kept elsewhere: %s") % kept_at,
        "",
        *(
            f"{one.person.full_name}, {Capacity(one.capacity).label}: "
            f"{one.signed_on.isoformat() if one.signed_on else '–'}"
            for one in signed
        ),
        "",
        source,
    ]
    content = "\n".join(map(str, lines)).encode()
    return Document.objects.create(
        agreement=agreement,
        kind=DocumentKind.BROUGHT_IN,
        version=1,
        file_name=f"{agreement.reference}-list.txt",
        content_type="text/plain; charset=utf-8",
        content=content,
        sha256=hashlib.sha256(content).hexdigest(),
        pages=1,
        dated=max(one.signed_on for one in signed if one.signed_on),
        made_by=by,
    )
