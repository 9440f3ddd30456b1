"""The works differ from the signed drawing: they are written down as they stand, and shown to everybody who signed."""

from dataclasses import dataclass
from datetime import date

from django.db import IntegrityError, transaction
from django.utils.translation import gettext as _

from people.models import User
from sites.choices import Stage
from stewardship.agreements.choices import AgreementState, Capacity, DocumentKind
from stewardship.agreements.documents_as_built import as_built_document
from stewardship.agreements.models import Acknowledgement, Agreement, Document, Party
from stewardship.agreements.services._shared import locked, note, refuse_future
from stewardship.agreements.services.ending import refuse_empty, refuse_not_in_force
from stewardship.agreements.works import works_mark
from stewardship.common.errors import Refused
from stewardship.common.events import book_language
from stewardship.common.written import day_text


@dataclass(frozen=True)
class AsBuilt:
    """The newest paper on the works as built, and who has seen it and who has not."""

    document: Document
    seen: list[Acknowledgement]
    unseen: list[Party]


def write_as_built(
    *, agreement: Agreement, on: date, what: str, by: User | None = None
) -> Document:
    """Write down the works as they stand, and what is different from what was signed. Care has run on them all along.

    Raises
    ------
    Refused : it is not in force, nothing is built under it, it is not said what is different, or the day is yet to come.
    """
    what = refuse_empty(what)
    refuse_not_in_force(agreement)
    document = as_built_document(agreement=agreement, on=on, by=by)
    with transaction.atomic():
        agreement = locked(agreement)
        Document.objects.filter(pk=document.pk).update(works_sha256=works_mark(agreement))
        with book_language():
            note(agreement, why=_("Built otherwise than drawn: %s") % what, by=by)
    return document


@transaction.atomic
def acknowledge(
    *, party: Party, document: Document, on: date, how: str, by: User | None = None
) -> Acknowledgement:
    """A party has seen the works as built.

    Raises
    ------
    Refused : it is no such document of their agreement, or not the newest; they have seen it; it is not said how; the day is
        yet to come or before the document.
    """
    how = " ".join(how.split())
    if not how:
        raise Refused(_("Say how they have seen it, in a few words."))
    agreement = locked(party.agreement)
    refuse_future(on, _("That day is yet to come; write it down when they have seen it."))
    newest = as_built_of(agreement)
    if newest is None or newest.document.pk != document.pk:
        raise Refused(_("That is not the newest paper on the works as built."))
    if on < document.dated:
        raise Refused(
            _("The paper is of %s; it cannot have been seen before.") % day_text(document.dated)
        )
    try:
        with transaction.atomic():
            seen = Acknowledgement.objects.create(
                party=party, document=document, on=on, how=how[:200], recorded_by=by
            )
    except IntegrityError as error:
        raise Refused(_("%s has seen it already.") % party.person) from error
    with book_language():
        words = {"party": party, "day": day_text(on), "how": how}
        note(
            agreement,
            why=_("%(party)s has seen the works as built, %(day)s: %(how)s") % words,
            by=by,
        )
    return seen


def as_built_of(agreement: Agreement) -> AsBuilt | None:
    """The newest paper on the works as built and how far it has been shown; None: there is none. Reads only."""
    document = (
        agreement.documents.filter(kind=DocumentKind.AS_BUILT).defer("content", "sheet").first()
    )
    if document is None:
        return None
    seen = list(document.acknowledgements.select_related("party__person"))
    told = {one.party_id for one in seen}
    parties = agreement.parties.filter(must_sign=True).exclude(capacity=Capacity.PROGRAM)
    return AsBuilt(
        document, seen, [p for p in parties.select_related("person") if p.pk not in told]
    )


def differs(agreement: Agreement) -> bool:
    """Something is built under the agreement, and it is not what was signed nor what was shown as built. Reads only."""
    if agreement.state != AgreementState.IN_FORCE:
        return False
    if not agreement.sites.filter(stage=Stage.BUILT).exists():
        return False
    known = (
        agreement.documents.filter(kind__in=[DocumentKind.TO_SIGN, DocumentKind.AS_BUILT])
        .exclude(works_sha256="")
        .values_list("works_sha256", flat=True)
    )
    known = set(known)
    return bool(known) and works_mark(agreement) not in known
