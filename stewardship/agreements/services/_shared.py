"""What the services have in common."""

from datetime import date

from django.db.models import Max
from django.utils.translation import gettext as _

from people.models import Program, User
from stewardship.agreements.choices import AgreementState
from stewardship.agreements.models import Agreement, AgreementEvent, Signature
from stewardship.common.errors import Refused

#: Nobody is bound yet; parties and sites may still change.
OPEN_STATES = (AgreementState.DRAFT, AgreementState.OFFERED)


def locked(agreement: Agreement) -> Agreement:
    """The agreement as it is now, held until the transaction ends."""
    return Agreement.objects.select_for_update().get(pk=agreement.pk)


def note(
    agreement: Agreement, *, why: str, by: User | None, was: str | None = None
) -> AgreementEvent:
    """An event on the agreement; without `was` its state did not change."""
    return AgreementEvent.objects.create(
        agreement=agreement,
        was=agreement.state if was is None else was,
        became=agreement.state,
        why=why[:400],
        by=by,
    )


def next_version(agreement: Agreement, kind: str) -> int:
    newest = agreement.documents.filter(kind=kind).aggregate(newest=Max("version"))["newest"]
    return (newest or 0) + 1


def refuse_future(day: date, sentence: str) -> None:
    if day > Program.get().today():
        raise Refused(sentence)


def refuse_after_signing(agreement: Agreement) -> None:
    """Nothing that somebody has signed is changed behind their back."""
    if agreement.state not in OPEN_STATES:
        raise Refused(
            _("%(agreement)s is %(state)s; write a new agreement for what has changed.")
            % {
                "agreement": agreement.reference,
                "state": agreement.get_state_display().lower(),
            }
        )
    if Signature.objects.filter(party__agreement=agreement).exists():
        raise Refused(
            _("Somebody has signed %s already. End it and write a new one for what has changed.")
            % agreement.reference
        )


def back_to_draft(agreement: Agreement, *, why: str, by: User | None) -> None:
    """An offered agreement that nobody has signed is a draft again: its document no longer says what was agreed."""
    was = agreement.state
    if was == AgreementState.OFFERED:
        agreement.state = AgreementState.DRAFT
        agreement.save(update_fields=["state"])
    note(agreement, was=was, why=why, by=by)
