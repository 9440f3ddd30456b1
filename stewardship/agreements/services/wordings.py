"""Writing the next version of an instrument's text, and putting it to use."""

from datetime import date

from django.db import IntegrityError, transaction
from django.db.models import Max
from django.utils.translation import gettext as _

from people.models import Program, User
from stewardship.agreements.choices import InstrumentKind
from stewardship.agreements.models import Wording
from stewardship.agreements.texts import check_placeholders
from stewardship.common.errors import Refused


def newest_wording(instrument: str, language: str) -> Wording:
    """The newest text of an instrument that is in use, in a language; in English where there is none.

    Raises
    ------
    Refused : the instrument has no text in use.
    """
    texts = Wording.objects.in_use(on=Program.get().today()).filter(instrument=instrument)
    found = texts.filter(language=language).first() or texts.filter(language="en").first()
    if found is None:
        raise Refused(
            _("There is no wording for “%s” yet; write one first.")
            % InstrumentKind(instrument).label
        )
    return found


def begin_wording(*, instrument: str, language: str, by: User | None = None) -> Wording:
    """The version that is being written; begun as a copy of the newest one where none is."""
    texts = Wording.objects.filter(instrument=instrument, language=language)
    try:
        with transaction.atomic():
            begun = texts.filter(in_use_since__isnull=True).first()
            if begun:
                return begun
            before = texts.order_by("-version").first()
            number = texts.aggregate(newest=Max("version"))["newest"] or 0
            return Wording.objects.create(
                instrument=instrument,
                language=language,
                version=number + 1,
                title=before.title if before else str(InstrumentKind(instrument).label),
                summary=before.summary if before else "",
                body=before.body if before else "",
                in_use_since=None,
                made_by=by,
            )
    except IntegrityError:  # two began at the same moment: one row stands
        return texts.get(in_use_since__isnull=True)


def _locked(wording: Wording) -> Wording:
    return Wording.objects.select_for_update(of=("self",)).get(pk=wording.pk)


def _refuse_in_use(wording: Wording) -> None:
    if wording.in_use_since is not None:
        raise Refused(
            _("Version %d is in use and is not changed any more; write the next one.")
            % wording.version
        )


@transaction.atomic
def write_wording(*, wording: Wording, title: str, summary: str, body: str) -> Wording:
    """Change a version that nobody has been offered yet. A review of an earlier state of it no longer counts.

    Raises
    ------
    Refused : it is in use, something is empty, or a placeholder means nothing.
    """
    wording = _locked(wording)
    _refuse_in_use(wording)
    texts = {"title": " ".join(title.split()), "summary": summary.strip(), "body": body.strip()}
    for text in texts.values():
        if not text:
            raise Refused(_("A wording has a title, a summary and a text."))
        check_placeholders(text)
    if any(getattr(wording, field) != text for field, text in texts.items()):
        for field, text in texts.items():
            setattr(wording, field, text)
        wording.reviewed_by, wording.reviewed_on = "", None
        wording.save()
    return wording


@transaction.atomic
def use_wording(*, wording: Wording, on: date) -> Wording:
    """From that day, documents are made in this version; documents that were made before stay as they are.

    Raises
    ------
    Refused : it is in use already, or the day has passed.
    """
    wording = _locked(wording)
    _refuse_in_use(wording)
    if on < Program.get().today():
        raise Refused(_("That day has passed; give today or a later day."))
    if not wording.body or not wording.summary:
        raise Refused(_("A wording has a title, a summary and a text."))
    wording.in_use_since = on
    wording.save(update_fields=["in_use_since"])
    return wording


@transaction.atomic
def note_review(*, wording: Wording, by_whom: str, on: date) -> Wording:
    """That counsel has read this version, who and when.

    Raises
    ------
    Refused : nobody is named, or the day is yet to come.
    """
    wording = _locked(wording)
    by_whom = " ".join(by_whom.split())
    if not by_whom:
        raise Refused(_("Say who has reviewed it."))
    if on > Program.get().today():
        raise Refused(_("That day is yet to come."))
    wording.reviewed_by, wording.reviewed_on = by_whom[:160], on
    wording.save(update_fields=["reviewed_by", "reviewed_on"])
    return wording


@transaction.atomic
def drop_wording(*, wording: Wording) -> None:
    """Throw away a version that is being written.

    Raises
    ------
    Refused : it is in use.
    """
    wording = _locked(wording)
    _refuse_in_use(wording)
    wording.delete()
