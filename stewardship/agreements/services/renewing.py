"""Before an agreement runs out: letters about it, and licences that go on by themselves unless ended."""

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date, timedelta

from django.db import transaction
from django.utils.translation import gettext as _

from people.models import User
from stewardship.agreements.choices import AgreementState, Capacity
from stewardship.agreements.instruments import INSTRUMENTS, rolled_on
from stewardship.agreements.letters import renewal_key, renewal_letter
from stewardship.agreements.models import Agreement, Party
from stewardship.agreements.services._shared import locked, note
from stewardship.agreements.services.superseding import successor
from stewardship.common.errors import Refused
from stewardship.common.events import book_language
from stewardship.common.written import day_text
from stewardship.outbox.choices import Status
from stewardship.outbox.models import Message


@dataclass
class LettersSent:
    """What became of renewal letters: how many were put into the outbox, whom nothing reaches, who wants none."""

    queued: int = 0
    told_before: int = 0
    unreached: list[str] = field(default_factory=list)
    wants_none: list[str] = field(default_factory=list)


def people_to_ask(agreement: Agreement) -> list[Party]:
    """Whoever must sign the next one, besides the program itself."""
    return [
        party
        for party in agreement.parties.all()
        if party.must_sign and party.capacity != Capacity.PROGRAM
    ]


def send_renewal_letters(*, agreements: Iterable[Agreement], by: User | None = None) -> LettersSent:
    """Write to whoever signed, in their language and on their channel, once per agreement and term.

    Raises
    ------
    Refused : one of the agreements is not in force, or has no last day.
    """
    sent = LettersSent()
    for agreement in agreements:
        if agreement.state != AgreementState.IN_FORCE or not agreement.ends_on:
            raise Refused(_("%s does not run out.") % agreement.reference)
        with transaction.atomic():
            _write_about(locked(agreement), sent, by=by)
    return sent


def _write_about(agreement: Agreement, sent: LettersSent, *, by: User | None) -> None:
    parties = list(agreement.parties.select_related("person").order_by("pk"))
    people = {
        party.person_id: party.person for party in parties if party in people_to_ask(agreement)
    }
    known = set(
        Message.objects.filter(
            key__in=[renewal_key(agreement, person) for person in people.values()]
        ).values_list("key", flat=True)
    )
    told = []
    for person in people.values():
        if renewal_key(agreement, person) in known:
            sent.told_before += 1
            continue
        message = renewal_letter(agreement=agreement, person=person)
        if message is None:
            sent.unreached.append(person.full_name)
        elif message.status == Status.SUPPRESSED:
            sent.wants_none.append(person.full_name)
        else:
            sent.queued += 1
            told.append(person.full_name)
    if told:
        with book_language():
            words = {"day": day_text(agreement.ends_on), "who": ", ".join(told)}
            note(agreement, why=_("Written to that it ends on %(day)s: %(who)s") % words, by=by)


def roll_on(*, on: date) -> int:
    """Let agreements that roll on by themselves go on, from the last day of their term. Returns how many did.

    Not one that was ended, or that another takes the place of. May run at any time and twice.
    """
    rolling = [kind for kind, rules in INSTRUMENTS.items() if rules.rolls_on_years]
    due = Agreement.objects.filter(
        state=AgreementState.IN_FORCE, instrument__in=rolling, ends_on__lte=on + timedelta(days=1)
    )
    return sum(_roll_on(agreement, on=on) for agreement in due.order_by("pk"))


@transaction.atomic
def _roll_on(agreement: Agreement, *, on: date) -> bool:
    agreement = locked(agreement)
    was = agreement.ends_on
    following = successor(agreement)
    if agreement.state != AgreementState.IN_FORCE or (
        following and following.state == AgreementState.IN_FORCE
    ):
        return False
    agreement.ends_on = rolled_on(agreement.instrument, was, past=on)
    if agreement.ends_on == was:
        return False
    agreement.save(update_fields=["ends_on"])
    agreement.responsibilities.filter(ends_on=was, ended_why="").update(ends_on=agreement.ends_on)
    with book_language():
        note(agreement, why=_("Goes on until before %s") % day_text(agreement.ends_on), by=None)
    return True
