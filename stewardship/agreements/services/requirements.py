"""What an agreement needs besides signatures: asked for, there, renewed, not needed after all."""

import hashlib
from datetime import date, timedelta

from django.db import transaction
from django.utils.text import slugify
from django.utils.translation import gettext as _

from people.models import User
from stewardship.agreements import instruments
from stewardship.agreements.choices import AgreementState, DocumentKind, RequirementKind
from stewardship.agreements.models import Agreement, Document, Requirement
from stewardship.agreements.scans import read_scan
from stewardship.agreements.services._shared import locked, next_version, note, refuse_future
from stewardship.common.errors import Refused
from stewardship.common.events import book_language
from stewardship.common.written import day_text


def ask_usual(agreement: Agreement, *, by: User | None = None) -> list[Requirement]:
    """Ask for the papers that the instrument usually needs and nobody has asked for yet. Inside the caller's transaction."""
    have = set(agreement.requirements.values_list("kind", flat=True))
    of_organisation = agreement.parties.filter(organisation__isnull=False).exists()
    return [
        add_requirement(
            agreement=agreement,
            kind=paper.kind,
            due_on=agreement.begins_on + timedelta(days=paper.within_days),
            by=by,
        )
        for paper in instruments.INSTRUMENTS[agreement.instrument].papers
        if paper.kind not in have and (of_organisation or not paper.of_organisations)
    ]


@transaction.atomic
def add_requirement(
    *,
    agreement: Agreement,
    kind: str,
    words: str = "",
    due_on: date | None = None,
    by: User | None = None,
) -> Requirement:
    """Something that this agreement needs, by that day where there is one.

    Raises
    ------
    Refused : the agreement has ended, it is asked for already, or nothing says what it is.
    """
    agreement = locked(agreement)
    _refuse_ended(agreement)
    words = " ".join(words.split())
    if kind == RequirementKind.OTHER and not words:
        raise Refused(_("Say in a few words what is needed."))
    if agreement.requirements.filter(kind=kind, words__iexact=words, met_on__isnull=True).exists():
        raise Refused(_("That is asked for already."))
    requirement = Requirement.objects.create(
        agreement=agreement, kind=kind, words=words[:200], due_on=due_on
    )
    with book_language():
        note(agreement, why=_("Asked for: %s") % requirement, by=by)
    return requirement


@transaction.atomic
def meet_requirement(
    *,
    requirement: Requirement,
    on: date,
    number: str = "",
    valid_until: date | None = None,
    paper: bytes | None = None,
    paper_name: str = "",
    by: User | None = None,
) -> Requirement:
    """It is there since that day, or there anew: what it was before stays in the agreement's history. `paper`: its scan.

    Raises
    ------
    Refused : the agreement has ended, the day is yet to come, the last day of validity is missing, before that day or no
        later than the one that is known, the recorder's number is missing, or the paper is no PDF, PNG or JPEG.
    """
    requirement = Requirement.objects.select_related("agreement").get(pk=requirement.pk)
    agreement = locked(requirement.agreement)
    requirement = Requirement.objects.select_for_update(of=("self",)).get(pk=requirement.pk)
    _refuse_ended(agreement)
    refuse_future(on, _("That day is yet to come; write it down when it is there."))
    number = " ".join(number.split())
    if requirement.kind == RequirementKind.RECORDING and not number:
        raise Refused(_("Give the number under which the recorder keeps it."))
    if requirement.kind == RequirementKind.INSURANCE and not valid_until:
        raise Refused(_("Say until when the certificate is valid."))
    if valid_until and valid_until < on:
        raise Refused(_("It was no longer valid on that day."))
    if (
        requirement.met_on
        and valid_until
        and requirement.valid_until
        and (valid_until <= requirement.valid_until)
    ):
        raise Refused(
            _("One that is valid until %s is here already.") % day_text(requirement.valid_until)
        )
    requirement.met_on, requirement.valid_until = on, valid_until
    requirement.number = number[:80]
    if paper is not None:
        requirement.document = _keep(agreement, requirement, paper, paper_name, on, by)
    requirement.save()
    with book_language():
        note(agreement, why=_there(requirement), by=by)
    return requirement


def _there(requirement: Requirement) -> str:
    said = [_("There: %s") % requirement]
    if requirement.number:
        said.append(_("number %s") % requirement.number)
    if requirement.valid_until:
        said.append(_("valid until %s") % day_text(requirement.valid_until))
    if requirement.document:
        said.append(requirement.document.file_name)
    return ", ".join(said)


def _keep(
    agreement: Agreement,
    requirement: Requirement,
    content: bytes,
    name: str,
    day: date,
    by: User | None,
) -> Document:
    read = read_scan(content)
    stem = slugify(name.rsplit("/", 1)[-1].rsplit(".", 1)[0])[:60] or requirement.kind
    return Document.objects.create(
        agreement=agreement,
        kind=DocumentKind.SUPPORT,
        version=next_version(agreement, DocumentKind.SUPPORT),
        file_name=f"{agreement.reference}-{stem}.{read.suffix}",
        content_type=read.content_type,
        content=content,
        sha256=hashlib.sha256(content).hexdigest(),
        pages=read.pages,
        dated=day,
        made_by=by,
    )


@transaction.atomic
def drop_requirement(*, requirement: Requirement, why: str, by: User | None = None) -> None:
    """It is not needed after all. What is there already stays.

    Raises
    ------
    Refused : it is there already, or no reason is given.
    """
    why = " ".join(why.split())
    if not why:
        raise Refused(_("Say why, in a few words."))
    requirement = Requirement.objects.select_related("agreement").get(pk=requirement.pk)
    agreement = locked(requirement.agreement)
    if requirement.met_on:
        raise Refused(_("It is there already, and stays in the book."))
    with book_language():
        words = {"what": requirement, "why": why}
        note(agreement, why=_("Not needed after all: %(what)s (%(why)s)") % words, by=by)
    requirement.delete()


def _refuse_ended(agreement: Agreement) -> None:
    if agreement.state == AgreementState.ENDED:
        raise Refused(_("%s has ended; nothing is asked for any more.") % agreement.reference)
