"""Telling people: who is told of a duty, at which address, in one message per address; nobody twice in a round."""

import hashlib
import logging
from collections import defaultdict
from collections.abc import Iterable
from datetime import date, datetime

from django.db import transaction
from django.db.models import Exists, Max, OuterRef, QuerySet
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from people.models import Person, Program
from people.reach import Address, address_of, wants_none
from stewardship.agreements.choices import ResponsibilityRole
from stewardship.agreements.models import Responsibility
from stewardship.care import rules
from stewardship.care.choices import CheckReason, Judgement, NeedsPerson, RainAsk, Trigger
from stewardship.care.letters import (
    AGENCY,
    FIRST,
    SECOND,
    Telling,
    link_context,
    reminder_context,
    template_of,
)
from stewardship.care.models import Answer, ContactCheck, Duty, RainQuestion, Reminder
from stewardship.care.services.book import note, put_on_list
from stewardship.care.services.contacts import open_contact_check
from stewardship.common.errors import Refused
from stewardship.outbox.choices import WAITING, MessageClass
from stewardship.outbox.models import Message
from stewardship.outbox.services import queue_message, suppress_message
from stewardship.rain.models import instant
from stewardship.rain.reckoning.record import dry_gaps

log = logging.getLogger(__name__)


def send_first_reminders(*, at: datetime) -> int:
    """Tell whoever owes an open duty and was not told yet. Returns how many messages were made or added to."""
    on = at.astimezone(Program.get().tz).date()
    duties = list(tellable(Duty.objects.open()).select_related("site"))
    told = set(
        Reminder.objects.filter(duty__in=duties, round=FIRST).values_list("duty_id", "person_id")
    )
    tellings = []
    for duty, people in people_to_tell(duties, on=on):
        fresh = [person for person in people if (duty.pk, person.pk) not in told]
        tellings += _reachable(duty, fresh, everybody=people, on=on)
    return _tell(tellings, round=FIRST, at=at)


def remind(
    *,
    duty: Duty,
    round: int,
    at: datetime,
    people: Iterable[Person] | None = None,
    by=None,
) -> list[Message]:
    """Tell people of one duty, once per person and round. Without `people`: whoever owes it and has not answered.

    Raises
    ------
    Refused
        The duty is not open any more.
    """
    if duty.state != "open":
        raise Refused(_("This duty is not open any more."))
    on = at.astimezone(Program.get().tz).date()
    if people is None:
        owing = next((people for _duty, people in people_to_tell([duty], on=on)), [])
        answered = set(Answer.objects.filter(duty=duty).values_list("person_id", flat=True))
        people = [person for person in owing if person.pk not in answered]
    people = list(people)
    told = set(Reminder.objects.filter(duty=duty, round=round).values_list("person_id", flat=True))
    fresh = [person for person in people if person.pk not in told]
    _tell(_reachable(duty, fresh, everybody=people, on=on), round=round, at=at, by=by)
    return list(
        Message.objects.filter(
            reminders__duty=duty, reminders__round=round, reminders__person__in=people
        ).distinct()
    )


def remind_again(*, duty: Duty, at: datetime, by=None) -> list[Message]:
    """By hand, outside the hand-on steps: a further letter to those who owe the duty and have not answered."""
    latest = duty.reminders.exclude(round=AGENCY).aggregate(latest=Max("round"))["latest"] or 0
    following = latest + 1 if latest < SECOND else max(latest, AGENCY) + 1
    messages = remind(duty=duty, round=following, at=at, by=by)
    if not messages:
        raise Refused(_("Nobody who owes this can be reached, or all have answered."))
    return messages


def put_to(*, duty: Duty, person: Person, at: datetime, by=None) -> None:
    """Ask somebody else to do it this time. Who owes it does not change.

    Raises
    ------
    Refused
        Nothing reaches the person, or they were asked already.
    """
    if Reminder.objects.filter(duty=duty, person=person).exists():
        raise Refused(_("%s has been told of this already.") % person)
    if wants_none(person) or address_of(person) is None:
        raise Refused(_("We have no way to reach %s.") % person)
    remind(duty=duty, round=FIRST, at=at, people=[person], by=by)


def send_new_link(
    *, duty: Duty, person: Person, at: datetime, address: Address | None = None
) -> None:
    """A fresh link to the person's `address` (default: where they get letters), at most once a day.

    Silent when there is none: the page tells nobody.
    """
    address = address or address_of(person)
    if address is None or duty.state != "open":
        return
    program = Program.get()
    day = at.astimezone(program.tz).date()
    queue_message(
        key=f"new-link-{duty.pk}-{person.pk}-{day:%Y%m%d}",
        message_class=MessageClass.ACCOUNT,
        channel=address.channel,
        to_name=person.full_name,
        to_address=address.value,
        language=person.language,
        template="reminder-link",
        context=link_context(duty, person, program=program),
        due_at=at,
    )


def people_to_tell(duties: Iterable[Duty], *, on: date) -> list[tuple[Duty, list[Person]]]:
    """Each duty with whoever does the work at its site on that day; of an agency, those who have an office there.

    Left out: who has said that the site is not theirs, until a coordinator has found out.
    """
    duties = list(duties)
    held = list(
        Responsibility.objects.as_of(on)
        .filter(role=ResponsibilityRole.DOES, site__in={duty.site_id for duty in duties})
        .order_by("starts_on", "pk")
    )
    people = {p.pk: p for p in _with_addresses({r.person_id for r in held if r.person_id})}
    officers = agency_contacts({r.agency_id for r in held if r.agency_id})
    at_site: dict[int, dict[int, Person]] = defaultdict(dict)
    for responsibility in held:
        if responsibility.person_id:
            found = [people[responsibility.person_id]]
        else:
            found = officers[responsibility.agency_id]
        at_site[responsibility.site_id].update((person.pk, person) for person in found)
    gone = set(
        ContactCheck.objects.open()
        .filter(reason=CheckReason.NOT_MINE, site__in=at_site)
        .values_list("site_id", "person_id")
    )
    return [
        (
            duty,
            [p for p in at_site[duty.site_id].values() if (duty.site_id, p.pk) not in gone],
        )
        for duty in duties
    ]


def agency_contacts(agency_pks: Iterable[int]) -> dict[int, list[Person]]:
    """By agency: its people with an office there."""
    contacts: dict[int, list[Person]] = defaultdict(list)
    people = Person.objects.filter(agency__in=agency_pks).exclude(agency_office="")
    for person in people.select_related("household").prefetch_related("contact_points"):
        contacts[person.agency_id].append(person)
    return contacts


def renew_waiting(duty: Duty) -> None:
    """After a duty has changed: letters of it that wait are written anew, or taken back when nothing in them is owed.

    Called inside the transaction that changed the duty. A letter that is going out or is written already stays as it is.
    """
    program = Program.get()
    # Locked: its sender, and whoever changes another duty that it tells of, wait until this one is settled.
    waiting = (
        Message.objects.select_for_update()
        .filter(pk__in=Reminder.objects.filter(duty=duty).values("message"))
        .filter(status__in=WAITING, text="", html="")
        .order_by("pk")
    )
    for message in waiting:
        rows = list(
            message.reminders.select_related("duty__site", "person__household").order_by("pk")
        )
        gone = set(
            ContactCheck.objects.open()
            .filter(reason=CheckReason.NOT_MINE, person__in={row.person_id for row in rows})
            .values_list("site_id", "person_id")
        )
        standing = [
            Telling(row.duty, row.person)
            for row in rows
            if row.duty.state == "open"
            and (row.duty.site_id, row.person_id) not in gone
            and not _complains_early(row, program)
        ]
        if standing:
            _rewrite(message, standing, program=program)
        else:
            is_open = any(row.duty.state == "open" for row in rows if row.round == AGENCY)
            why = _("Nothing in it is late.") if is_open else _("Nothing in it is open any more.")
            suppress_message(message=message, why=why)


def _complains_early(row: Reminder, program: Program) -> bool:
    """Whether a letter to an agency complains of a duty whose day, as it is known now, had not passed when it was made."""
    return row.round == AGENCY and row.duty.due_on >= row.made_at.astimezone(program.tz).date()


def tellable(duties: QuerySet[Duty]) -> QuerySet[Duty]:
    """Not those that a person has to look at first, nor a calendar round where the rain asks for a look already."""
    needless = RainQuestion.objects.open().filter(duty=OuterRef("pk"), ask=RainAsk.NEEDLESS)
    rained = Duty.objects.open().filter(site=OuterRef("site"), trigger=Trigger.AFTER_RAIN)
    return (
        duties.filter(~Exists(needless))
        .exclude(Exists(rained), trigger=Trigger.CALENDAR)
        .exclude(trigger=Trigger.FINDING, reason__judgement=Judgement.UNSAFE)
    )


def _with_addresses(person_pks: Iterable[int]) -> QuerySet[Person]:
    return (
        Person.objects.filter(pk__in=person_pks)
        .select_related("household")
        .prefetch_related("contact_points")
    )


def _reachable(
    duty: Duty, fresh: list[Person], *, everybody: list[Person], on: date
) -> list[tuple[Address, Telling]]:
    """Those of `fresh` that a message reaches. The others become a job for the coordinator, unless they asked for silence."""
    found = []
    for person in fresh:
        if wants_none(person):
            continue
        address = address_of(person)
        if address is not None:
            found.append((address, Telling(duty, person)))
        elif not _settled_since(duty, person):
            open_contact_check(person=person, site=None, reason=CheckReason.NO_CHANNEL)
    nobody = all(address_of(person) is None for person in everybody)
    if nobody and not any(wants_none(person) for person in everybody) and duty.owed_by_id:
        put_on_list(duty, NeedsPerson.NO_CHANNEL, on=on)
    return found


def _settled_since(duty: Duty, person: Person) -> bool:
    """Whether a coordinator has found out, since this duty opened, that nothing reaches the person."""
    opened_at = rules.start_of(duty.opened_on, Program.get().tz)
    return ContactCheck.objects.filter(
        person=person, reason=CheckReason.NO_CHANNEL, closed_at__gte=opened_at
    ).exists()


def _tell(tellings: list[tuple[Address, Telling]], *, round: int, at: datetime, by=None) -> int:
    """One message per address and language. One that goes wrong does not stop the rest."""
    groups: dict[tuple[str, str, str], list[tuple[Address, Telling]]] = defaultdict(list)
    for address, telling in tellings:
        groups[address.channel, address.normal, telling.person.language].append((address, telling))
    made = 0
    for group in groups.values():
        try:
            with transaction.atomic():
                made += _tell_address(
                    group[0][0], [telling for _address, telling in group], round=round, at=at, by=by
                )
        except Exception:
            log.exception("Reminder of duties %s not made", [t.duty.pk for _a, t in group])
    return made


def _tell_address(
    address: Address, tellings: list[Telling], *, round: int, at: datetime, by=None
) -> int:
    """Queue the message to one address, unless all were told meanwhile. The duties' rows are the lock."""
    pks = sorted({telling.duty.pk for telling in tellings})
    locked = {
        duty.pk: duty
        for duty in Duty.objects.open()
        .select_for_update(of=("self",))
        .select_related("site")
        .filter(pk__in=pks)
        .order_by("pk")
    }
    told = set(
        Reminder.objects.filter(duty__in=locked, round=round).values_list("duty_id", "person_id")
    )
    tellings = [
        Telling(locked[t.duty.pk], t.person)
        for t in tellings
        if t.duty.pk in locked and (t.duty.pk, t.person.pk) not in told
    ]
    if not tellings:
        return 0
    program = Program.get()
    language = tellings[0].person.language
    message = _waiting_message(address, round, language)
    if message is None:
        names = list(dict.fromkeys(t.person.full_name for t in tellings))
        mark = hashlib.sha256(f"{address.channel} {address.normal}".encode()).hexdigest()[:16]
        message = queue_message(
            key=f"reminder-{round}-{tellings[0].duty.pk}-{mark}",
            message_class=MessageClass.REMINDER,
            channel=address.channel,
            to_name=", ".join(names)[:160],
            to_address=address.value,
            language=language,
            template=template_of(round),
            context=reminder_context(tellings, program=program),
            due_at=_due_at([t.duty for t in tellings], at=at, program=program),
        )
    else:
        rows = message.reminders.select_related("duty__site", "person").order_by("pk")
        before = [Telling(row.duty, row.person) for row in rows]
        _rewrite(message, [*before, *tellings], program=program)
    Reminder.objects.bulk_create(
        Reminder(duty=t.duty, person=t.person, round=round, message=message, made_at=at)
        for t in tellings
    )
    for telling in tellings:
        note(telling.duty, _TOLD.get(round, _TOLD[SECOND]), words={"person": telling.person}, by=by)
    return 1


_TOLD = {
    FIRST: gettext_lazy("First letter to %(person)s"),
    SECOND: gettext_lazy("Another letter to %(person)s"),
    AGENCY: gettext_lazy("Agency contact told: %(person)s"),
}


def _waiting_message(address: Address, round: int, language: str) -> Message | None:
    """A reminder of this round to the address that waits and is not written yet: it takes further duties in."""
    return (
        Message.objects.select_for_update()
        .filter(
            status__in=WAITING,
            channel=address.channel,
            to_address=address.value,
            template=template_of(round),
            language=language,
            text="",
            html="",
            pk__in=Reminder.objects.filter(round=round, message__status__in=WAITING).values(
                "message"
            ),
        )
        .first()
    )


def _rewrite(message: Message, tellings: list[Telling], *, program: Program) -> None:
    """New words for a message that waits; nothing happens if a sender has taken it meanwhile."""
    context = reminder_context(tellings, program=program)
    due_at = max(
        message.due_at,
        _due_at([t.duty for t in tellings], at=timezone.now(), program=program),
    )
    names = ", ".join(dict.fromkeys(t.person.full_name for t in tellings))[:160]
    Message.objects.filter(pk=message.pk, status__in=WAITING, text="", html="").update(
        context=context, due_at=due_at, to_name=names
    )


def _due_at(duties: list[Duty], *, at: datetime, program: Program) -> datetime:
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
