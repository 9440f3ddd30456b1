"""Nobody writes to somebody any more: what waits for them stops at once, and what they owe comes to the coordinator."""

from dataclasses import dataclass
from datetime import date

from django.db import transaction
from django.db.models import Q, QuerySet
from django.utils.translation import gettext as _

from people import silence
from people.choices import Channel, ContactKind, Silence
from people.models import ContactPoint, Person, User
from people.services import NEEDS
from stewardship.agreements.choices import ResponsibilityRole
from stewardship.agreements.models import Responsibility
from stewardship.care.choices import NeedsPerson
from stewardship.care.models import Duty, Reminder
from stewardship.care.services.asked import who_is_asked
from stewardship.care.services.book import lock_sites, put_on_list
from stewardship.care.services.waiting import may_be_read, not_written_to, take_back_from
from stewardship.outbox.choices import NEEDS_A_PERSON, WAITING, MessageClass
from stewardship.outbox.models import Message
from stewardship.outbox.services import stop_letters_to


@dataclass(frozen=True)
class Stopping:
    """What stops when nobody writes to somebody any more: letters that have not arrived, duties that lose their reader."""

    letters: list[Message]
    duties: list[Duty]
    #: who handles their letters, who they handle letters for, what they answer for
    ties: list[str]


def what_would_stop(person: Person, *, on: date) -> Stopping:
    """For the page that asks before it is written down."""
    ties = [
        *(str(row) for row in person.agents.on(on)),
        *(str(row) for row in person.acts_for.on(on)),
        *(str(row) for row in person.speaks_for.on(on)),
    ]
    return Stopping(
        list(_letters_of(person).order_by("due_at", "pk")),
        list(_duties_of(person, on=on).select_related("site").order_by("due_on", "pk")),
        ties,
    )


def stop_writing(
    *, person: Person, why: str, on: date, note: str = "", by: User | None = None
) -> Person:
    """Nobody writes to them from that day. Letters that have not arrived are stopped at once and none is made later; duties
    about which nobody else can be asked stand on the coordinator's list.

    Raises
    ------
    Refused : as `people.silence.fall_silent`.
    """
    with transaction.atomic():
        # Sites and duties before the person, as everywhere: a letter just being made is found and stopped.
        duties = list(_duties_of(person, on=on).order_by("pk"))
        lock_sites({duty.site_id for duty in duties})
        duties = list(
            Duty.objects.open()
            .select_for_update(of=("self",))
            .select_related("site")
            .filter(pk__in=[duty.pk for duty in duties])
            .order_by("pk")
        )
        person = silence.fall_silent(person=person, why=why, on=on, note=note, by=by)
        _stop_letters(person, by=by)
        for asking in who_is_asked(duties, on=on):
            if not asking.asked:
                put_on_list(asking.duty, NeedsPerson.SILENT, on=on)
    return person


def record_death(*, person: Person, on: date, note: str = "", by: User | None = None) -> Person:
    """Somebody died on that day. As `stop_writing`; nothing is sent to anybody about it.

    Raises
    ------
    Refused : it is written down already, or the day is yet to come.
    """
    return stop_writing(person=person, why=Silence.DIED, on=on, note=note, by=by)


def stop_letters_of_silent() -> int:
    """What was meant for silent people and has not gone out, however it came there. Returns how many letters that were."""
    silent = Person.objects.exclude(silent_since=None)
    named = Reminder.objects.filter(message__status__in=WAITING)
    found = silent.filter(
        Q(reminders__in=named.filter(agent=None))
        | Q(reminders_for_others__in=named)
        | Q(reminders__in=named, died_on__isnull=False)
    )
    stopped = 0
    for person in found.distinct():
        if any(_still_theirs(person)):
            with transaction.atomic():
                stopped += _stop_letters(person)
    return stopped


def _still_theirs(person: Person) -> list[Reminder]:
    """Rows whose letter still names them: after it was written anew for others, it does not."""
    rows = Reminder.objects.filter(
        Q(person=person) | Q(agent=person), message__status__in=WAITING
    ).select_related("person", "agent", "message")
    return [
        row
        for row in rows
        if not may_be_read(row) and str(row.agent or row.person) in row.message.to_name
    ]


def _stop_letters(person: Person, *, by: User | None = None) -> int:
    return take_back_from(person) + stop_letters_to(
        name=person.full_name,
        addresses=_addresses(person),
        why=not_written_to(person),
        by=by,
        but_notices=person.silent_why == Silence.ASKED,
    )


def _addresses(person: Person) -> list[str]:
    found = list(person.contact_points.values_list("value", flat=True))
    return [*found, person.household.address] if person.household else found


def _letters_of(person: Person) -> QuerySet[Message]:
    """What has not arrived and is meant for them."""
    waiting = Message.objects.filter(status__in=[*WAITING, *NEEDS_A_PERSON])
    told = Reminder.objects.filter(Q(person=person) | Q(agent=person)).values("message")
    mine = Q(to_name=person.full_name, to_address__in=_addresses(person))
    return waiting.filter(Q(pk__in=told) | mine).defer("text", "html", "context")


def _duties_of(person: Person, *, on: date) -> QuerySet[Duty]:
    """Open duties at sites where they do the work that day, alone or with others."""
    held = Responsibility.objects.as_of(on).filter(role=ResponsibilityRole.DOES)
    speaks = person.speaks_for.on(on).values("organisation")
    mine = held.filter(Q(person=person) | Q(organisation__in=speaks))
    told = Reminder.objects.filter(Q(person=person) | Q(agent=person)).values("duty")
    return Duty.objects.open().filter(Q(site__in=mine.values("site")) | Q(pk__in=told)).distinct()


def why_not(message: Message) -> str:
    """What speaks against sending a message: nobody writes to its reader, or its address reaches nobody. "" for nothing.

    A notice may still go to somebody who only asked for no letters; a link goes to whoever asked for it, unless they died.
    """
    rows = list(message.reminders.select_related("person", "agent")) if message.pk else []
    blocked = [row for row in rows if not may_be_read(row)]
    if blocked and (
        len(blocked) == len(rows)
        or any(str(row.agent or row.person) in message.to_name for row in blocked)
    ):
        return not_written_to(blocked[0].person)
    if not rows and (person := _silent_reader(message)):
        return not_written_to(person)
    return _dead_address(message)


def _silent_reader(message: Message) -> Person | None:
    """The silent person whose name and address a message bears, if nobody else has both."""
    namesakes = [person for person in _people_at(message) if person.full_name == message.to_name]
    if not namesakes or not all(person.is_silent for person in namesakes):
        return None
    person = namesakes[0]
    if person.silent_why == Silence.ASKED and message.message_class != MessageClass.REMINDER:
        return None
    if not person.died_on and message.message_class == MessageClass.ACCOUNT:
        return None
    return person


def _people_at(message: Message) -> QuerySet[Person]:
    kind = NEEDS[Channel(message.channel)]
    at = Q(
        contact_points__kind=kind,
        contact_points__normal=ContactPoint.normalise(kind, message.to_address),
    )
    if kind == ContactKind.POSTAL:
        at |= Q(household__address=message.to_address)
    return Person.objects.known().filter(at).distinct()


def _dead_address(message: Message) -> str:
    kind = NEEDS[Channel(message.channel)]
    normal = ContactPoint.normalise(kind, message.to_address)
    dead = ContactPoint.objects.filter(kind=kind, normal=normal).exclude(dead_since=None).first()
    if dead is None:
        return ""
    return _("%(address)s reaches nobody any more: %(why)s.") % {
        "address": " ".join(dead.value.split()),
        "why": dead.dead_why.rstrip(".") or "—",
    }
