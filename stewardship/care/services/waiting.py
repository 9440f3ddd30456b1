"""Letters that wait: written anew when what they tell of changes, taken back when nobody has to read them."""

import hashlib
from datetime import date, datetime

from django.db.models import Max, Q
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from people.models import Person, Program
from people.reach import Address
from stewardship.agreements.models import Dispute
from stewardship.care import rules
from stewardship.care.choices import CheckReason
from stewardship.care.letters import AGENCY, Telling, reminder_context, template_of
from stewardship.care.models import ContactCheck, Duty, Reminder
from stewardship.care.services.asked import person_pauses
from stewardship.care.services.book import note
from stewardship.outbox.choices import NEEDS_A_PERSON, WAITING, Channel
from stewardship.outbox.models import Message
from stewardship.outbox.services import suppress_message
from stewardship.rain.models import instant
from stewardship.rain.reckoning.record import dry_gaps


def renew_waiting(duty: Duty) -> None:
    """After a duty has changed: letters of it that wait are written anew, or taken back when nothing in them is owed.

    Called inside the transaction that changed the duty. A letter that is going out or is written already stays as it is.
    """
    # Locked: its sender, and whoever changes another duty that it tells of, wait until this one is settled.
    waiting = (
        Message.objects.select_for_update()
        .filter(pk__in=Reminder.objects.filter(duty=duty).values("message"))
        .filter(status__in=WAITING, text="", html="")
        .order_by("pk")
    )
    for message in waiting:
        _renew(message)


def take_back_from(person: Person) -> int:
    """What has not arrived and was meant for somebody whom nobody writes to any more: written anew for the others who read
    it, else not sent. Returns how many letters that were.

    Called inside the transaction that writes the silence down. Written letters too: their words name the person.
    """
    own = Reminder.objects.filter(person=person)
    if not person.died_on:  # who handles their letters goes on reading them
        own = own.filter(agent=None)
    own = own | Reminder.objects.filter(agent=person)
    messages = (
        Message.objects.select_for_update()
        .filter(pk__in=own.values("message"), status__in=[*WAITING, *NEEDS_A_PERSON])
        .order_by("pk")
    )
    count = 0
    for message in messages:
        _renew(message, words_too=True)
        count += 1
    return count


def _renew(message: Message, *, words_too: bool = False) -> None:
    program = Program.get()
    rows = list(
        message.reminders.select_related(
            "duty__site", "person__household", "agent__household"
        ).order_by("pk")
    )
    today = program.today()
    gone = set(
        ContactCheck.objects.open()
        .filter(reason=CheckReason.NOT_MINE, person__in={row.person_id for row in rows})
        .values_list("site_id", "person_id")
    )
    resting = _resting(rows, on=today)
    standing = [
        told_by(row, on=today)
        for row in rows
        if row.duty.state == "open"
        and may_be_read(row)
        and (row.duty.site_id, row.person_id) not in gone
        and row.pk not in resting
        and not _complains_early(row, program)
    ]
    if standing:
        rewrite(message, standing, program=program, words_too=words_too)
    else:
        suppress_message(message=message, why=_why_not(rows))
    # Not told yet: when the pause is over or the dispute settled, they are.
    for row in rows:
        if row.duty.state == "open" and row.pk in resting:
            note(
                row.duty,
                gettext_lazy("Letter to %(person)s taken back"),
                words={"person": row.person},
            )
            row.delete()


def _resting(rows: list[Reminder], *, on: date) -> set[int]:
    """Which of them tell of a site where something is disputed that day, or somebody who cannot."""
    site_pks = {row.duty.site_id for row in rows}
    pauses = person_pauses(site_pks, on=on)
    disputed = set(
        Dispute.objects.open(on=on).filter(site__in=site_pks).values_list("site_id", flat=True)
    )
    return {
        row.pk
        for row in rows
        if row.duty.site_id in disputed or (row.duty.site_id, row.person_id) in pauses
    }


def may_be_read(row: Reminder) -> bool:
    """Whether what was made for this person may still go out to whoever reads it."""
    if row.agent:
        return not row.agent.is_silent and row.person.died_on is None
    return not row.person.is_silent


def told_by(row: Reminder, *, on: date) -> Telling:
    """The telling that a row stands for; whom its person covers for that day, too."""
    pauses = person_pauses([row.duty.site_id], on=on).values()
    covers = next((p.person for p in pauses if p.cover_id == row.person_id), None)
    return Telling(row.duty, row.person, row.agent, covers)


def _why_not(rows: list[Reminder]) -> str:
    still = [row for row in rows if row.duty.state == "open"]
    if not still:
        return _("Nothing in it is open any more.")
    silent = next((row for row in still if not may_be_read(row)), None)
    if silent:
        return not_written_to(silent.person)
    if all(row.round == AGENCY for row in still):
        return _("Nothing in it is late.")
    return _("They are not asked any more.")


def not_written_to(person: Person) -> str:
    """That nothing goes to somebody. Why is nobody's business but a coordinator's, on the person's page."""
    return _("Nobody writes to %s any more.") % person


def _complains_early(row: Reminder, program: Program) -> bool:
    """Whether a letter to an agency complains of a duty whose day, as it is known now, had not passed when it was made."""
    return row.round == AGENCY and row.duty.due_on >= row.made_at.astimezone(program.tz).date()


def letter_facts(
    address: Address, tellings: list[Telling], *, round: int, program: Program
) -> dict[str, object]:
    """What the outbox is given for a new letter."""
    mark = hashlib.sha256(f"{address.channel} {address.normal}".encode()).hexdigest()[:16]
    own = envelope(address, tellings[0].reader)
    key = "-".join(map(str, ["reminder", round, tellings[0].duty.pk, mark, *own]))
    # One that was taken back, and is made again now, is another letter.
    earlier = Message.objects.filter(Q(key=key) | Q(key__startswith=f"{key}-again-")).count()
    return {
        "key": f"{key}-again-{earlier}" if earlier else key,
        "channel": address.channel,
        "to_name": names_on(address, tellings),
        "to_address": address.value,
        "language": tellings[0].reader.language,
        "template": template_of(round),
        "context": reminder_context(tellings, program=program),
    }


def envelope(address: Address, reader: Person) -> tuple[str, int] | tuple[()]:
    """Who shares a letter at one address. E-mail and text: everybody there. On paper: those of a household that wants one
    letter for all of them, else each has an envelope."""
    if address.channel != Channel.LETTER:
        return ()
    if reader.household_id and reader.household.one_letter:
        return ("h", reader.household_id)
    return ("p", reader.pk)


def names_on(address: Address, tellings: list[Telling]) -> str:
    """The name on the letter: its readers', or their household's where several of it share an envelope."""
    readers = list(dict.fromkeys(telling.reader for telling in tellings))
    if len(readers) > 1 and envelope(address, readers[0])[:1] == ("h",):
        return readers[0].household.name[:160]
    return ", ".join(reader.full_name for reader in readers)[:160]


def rewrite(
    message: Message, tellings: list[Telling], *, program: Program, words_too: bool = False
) -> None:
    """New words for a message that waits; nothing happens if a sender has taken it meanwhile.

    `words_too`: also where the exact words are kept already, or a person has to decide about it.
    """
    fields = {
        "context": reminder_context(tellings, program=program),
        "due_at": max(
            message.due_at,
            due_at([t.duty for t in tellings], at=timezone.now(), program=program),
        ),
        "to_name": names_on(Address(message.channel, message.to_address, ""), tellings),
    }
    same = Message.objects.filter(pk=message.pk)
    if words_too:
        same = same.filter(status__in=[*WAITING, *NEEDS_A_PERSON])
        fields |= {"subject": "", "text": "", "html": ""}
    else:
        same = same.filter(status__in=WAITING, text="", html="")
    same.update(**fields)


def due_at(duties: list[Duty], *, at: datetime, program: Program) -> datetime:
    """Not before the newest storm is over for good, and within the hours for reminders."""
    ends = [
        end_s
        for end_s in (duty.storms.aggregate(end=Max("end_s"))["end"] for duty in duties)
        if end_s is not None
    ]
    if ends:
        over_s = max(ends) + dry_gaps(program).at(max(ends)).dry_gap_s
        at = max(at, instant(over_s))
    return rules.allowed_moment(
        at, zone=program.tz, from_hour=program.quiet_until_hour, until_hour=program.quiet_from_hour
    )
