"""Letters of the demo's past: in the words of today's templates, recorded as sent, never really sent."""

from collections import defaultdict
from collections.abc import Iterator
from datetime import date, datetime, timedelta

from people.models import Person, Program
from people.reach import Address, address_of, wants_none
from stewardship.care.letters import AGENCY, FIRST, SECOND, Telling, reminder_context, template_of
from stewardship.care.models import Duty, HandOnStep, Reminder
from stewardship.care.services.asked import agency_contacts, who_is_asked
from stewardship.management.demo.days import Days
from stewardship.outbox.choices import Channel, MessageClass, Status
from stewardship.outbox.models import Message, MessageEvent
from stewardship.outbox.writing import write

LETTERS_MONTHS = 4  # for so long the program has sent its letters out of this book
SENT_AT = 9, 30  # hour and minute
POSTED_AT = 16, 0

Group = tuple[int, Address, str]  # round, address, language


def write_past_letters(days: Days, *, until: date) -> None:
    """What the services would have sent for the duties of the last months, up to the day before `until`."""
    since = days.months_ago(LETTERS_MONTHS)
    duties = Duty.objects.filter(opened_on__gte=since) | Duty.objects.open()
    of_day: dict[date, list[tuple[Duty, int]]] = defaultdict(list)
    for duty in duties.select_related("site", "owed_by").order_by("opened_on", "pk"):
        for round, on in _rounds(duty):
            if on < until:
                of_day[on].append((duty, round))
    program = Program.get()
    for on, told in sorted(of_day.items()):
        for (round, address, language), tellings in _groups(told, on).items():
            _write(tellings, round, address, language, days.at(on, *SENT_AT), program, days)


def _rounds(duty: Duty) -> Iterator[tuple[int, date]]:
    """The rounds in which people were told of a duty, and the day of each."""
    after = {step.action: step.after_days for step in HandOnStep.objects.filter(ends_on=None)}
    steps = [(FIRST, 0), (SECOND, after["second_reminder"])]
    if duty.site.agency_id or (duty.owed_by and duty.owed_by.agency_id):
        steps.append((AGENCY, after["agency"]))
    for round, days in steps:
        on = duty.opened_on + timedelta(days=days)
        if duty.closed_on is None or duty.closed_on >= on:
            yield round, on


def _groups(told: list[tuple[Duty, int]], on: date) -> dict[Group, list[Telling]]:
    """One letter for each round, address and language of a day."""
    groups: dict[Group, list[Telling]] = defaultdict(list)
    owing = {one.duty.pk: one.people for one in who_is_asked([d for d, _round in told], on=on)}
    for duty, round in told:
        people = _officers(duty) if round == AGENCY else owing[duty.pk]
        for person in people:
            address = None if wants_none(person) else address_of(person)
            if address:
                groups[round, address, person.language].append(Telling(duty, person))
    return groups


def _officers(duty: Duty) -> list[Person]:
    agency = (duty.owed_by.agency_id if duty.owed_by else None) or duty.site.agency_id
    return agency_contacts([agency])[agency] if agency else []


def _write(
    tellings: list[Telling],
    round: int,
    address: Address,
    language: str,
    at: datetime,
    program: Program,
    days: Days,
) -> None:
    key = f"reminder-{round}-{tellings[0].duty.pk}-{tellings[0].person.pk}"
    message = Message.objects.create(
        key=key,
        message_class=MessageClass.REMINDER,
        channel=address.channel,
        status=Status.QUEUED,
        to_name=", ".join(dict.fromkeys(one.person.full_name for one in tellings))[:160],
        to_address=address.value,
        language=language,
        template=template_of(round),
        context=reminder_context(tellings, program=program),
        rfc_message_id=f"<{key}@example.org>",
        queued_at=at,
        due_at=at,
    )
    MessageEvent.objects.create(message=message, became=Status.QUEUED, at=at)
    record_sent(message, days=days)
    Reminder.objects.bulk_create(
        Reminder(duty=one.duty, person=one.person, round=round, message=message, made_at=at)
        for one in tellings
    )


def record_sent(message: Message, *, days: Days) -> None:
    """Keep the words, and say that they went out: e-mail when it was due, paper that afternoon."""
    on_paper = message.channel == Channel.LETTER
    sent_at = message.due_at + timedelta(minutes=1)
    if on_paper:
        sent_at = days.at(message.due_at.astimezone(days.tz).date(), *POSTED_AT)
    words = write(message)
    message.subject, message.text, message.html = words.subject, words.text, words.html
    message.status, message.sent_at, message.tries = Status.SENT, sent_at, 1
    message.save(update_fields=["subject", "text", "html", "status", "sent_at", "tries"])
    MessageEvent.objects.create(
        message=message,
        was=Status.QUEUED,
        became=Status.SENT,
        why="Posted" if on_paper else "",
        at=sent_at,
    )
