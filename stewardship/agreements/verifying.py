"""What can be shown of a file that is said to be a signed copy. Reads only."""

import hashlib
from dataclasses import dataclass

from django.utils import timezone
from django.utils.translation import gettext as _

from people.models import Program
from stewardship.agreements.choices import DocumentKind
from stewardship.agreements.models import Document
from stewardship.common.errors import Refused
from stewardship.common.seal import Seal, read_seal
from stewardship.common.written import day_text


@dataclass(frozen=True, slots=True)
class Shown:
    """One thing that was looked at."""

    good: bool
    words: str


def look_at(content: bytes) -> list[Shown]:
    """The seal, its certificate, the bytes in the book, the pages that were signed: each with a sentence."""
    try:
        seal = read_seal(content)
    except Refused as refusal:
        return [Shown(False, str(refusal)), _in_book(content)]
    if seal is None:
        return [Shown(False, _("There is no seal on this file.")), _in_book(content)]
    return [_unchanged(seal), _by_whom(seal), _in_book(content), *_signed_pages(content)]


def _unchanged(seal: Seal) -> Shown:
    if not seal.intact:
        return Shown(False, _("The seal is broken: the file was changed after it was sealed."))
    if seal.sealed_at is None:
        return Shown(True, _("The seal is intact: nothing in the file has changed since."))
    local = timezone.localtime(seal.sealed_at, Program.get().tz)
    return Shown(
        True,
        _("The seal is intact: nothing in the file has changed since %(day)s, %(time)s.")
        % {"day": day_text(local.date()), "time": f"{local:%H:%M} ({local.tzinfo})"},
    )


def _by_whom(seal: Seal) -> Shown:
    facts = {"holder": seal.holder, "print": seal.fingerprint}
    if seal.ours:
        return Shown(
            True, _("Sealed by this program: “%(holder)s”, certificate SHA-256 %(print)s.") % facts
        )
    return Shown(
        False,
        _(
            "Sealed by somebody else: “%(holder)s”, certificate SHA-256 %(print)s is none of this program’s."
        )
        % facts,
    )


def _kept(content: bytes) -> Document | None:
    """The row of exactly these bytes; its own record of their hash has to agree."""
    sha256 = hashlib.sha256(content).hexdigest()
    rows = Document.objects.filter(sha256=sha256).select_related("agreement")
    return next((row for row in rows if bytes(row.content) == content), None)


def _in_book(content: bytes) -> Shown:
    row = _kept(content)
    if row is None:
        return Shown(False, _("The book holds no document of exactly these bytes."))
    return Shown(
        True,
        _(
            "The book holds exactly these bytes: %(kind)s of %(agreement)s, version %(version)d, %(file)s."
        )
        % {
            "kind": row.get_kind_display().lower(),
            "agreement": row.agreement,
            "version": row.version,
            "file": row.file_name,
        },
    )


def _signed_pages(content: bytes) -> list[Shown]:
    """Whether a copy that the book knows begins with the document that people signed."""
    row = _kept(content)
    if row is None or row.kind != DocumentKind.SEALED:
        return []
    signed = Document.objects.filter(
        agreement=row.agreement, kind=DocumentKind.TO_SIGN, version=row.version
    ).first()
    if signed is None or not content.startswith(bytes(signed.content)):
        return [Shown(False, _("Its pages are not those of the document that was signed."))]
    return [
        Shown(
            True,
            _("Its pages are the very document that was signed: %(file)s, SHA-256 %(sha)s.")
            % {"file": signed.file_name, "sha": signed.sha256},
        )
    ]
