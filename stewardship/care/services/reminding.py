"""Telling people: who is told of a duty, at which address, in one message per address; nobody twice in a round."""

import logging
from collections import defaultdict
from collections.abc import Collection, Iterable
from dataclasses import replace
from datetime import date, datetime

from django.db import transaction
from django.db.models import Max
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from people.agents import readers_of
from people.choices import Silence
from people.models import Person, Program
from people.reach import Address, address_of, wants_none
from stewardship.agreements.models import Dispute
from stewardship.care import rules
from stewardship.care.choices import CheckReason, NeedsPerson
from stewardship.care.letters import (
    AGENCY,
    FIRST,
    SECOND,
    Telling,
    reminder_context,
    template_of,
)
from stewardship.care.models import Answer, ContactCheck, Duty, Reminder
from stewardship.care.services.asked import (
    Asked,
    Asking,
    by_themselves,
    tellable,
    who_is_asked,
)
from stewardship.care.services.book import note, put_on_list
from stewardship.care.services.contacts import open_contact_check
from stewardship.care.services.waiting import (
    due_at,
    envelope,
    letter_facts,
    not_written_to,
    rewrite,
    told_by,
)
from stewardship.common.errors import Refused
from stewardship.common.events import in_book_language
from stewardship.outbox.choices import WAITING, MessageClass
from stewardship.outbox.models import Message
from stewardship.outbox.services import queue_message

log = logging.getLogger(__name__)


def send_first_reminders(*, at: datetime) -> int:
    """Tell whoever is asked about an open duty and was not told yet. Returns how many messages were made or added to."""
    on = at.astimezone(Program.get().tz).date()
    duties = list(tellable(Duty.objects.open(), on=on).select_related("site"))
    told = set(
        Reminder.objects.filter(duty__in=duties, round=FIRST).values_list("duty_id", "person_id")
    )
    tellings = []
    for asking in who_is_asked(duties, on=on):
        fresh = [one for one in asking.asked if (asking.duty.pk, one.person.pk) not in told]
        tellings += _reachable(asking, fresh, on=on)
    return _tell(tellings, round=FIRST, at=at)


def remind(
    *,
    duty: Duty,
    round: int,
    at: datetime,
    people: Iterable[Person] | None = None,
    told_before: Collection[int] | None = None,
    by=None,
) -> list[Message]:
    """Tell people of one duty, once per person and round. Without `people`: whoever is asked and has not answered; of these only
    those with a key in `told_before`, if it is given.

    Raises
    ------
    Refused
        The duty is not open any more.
    """
    if duty.state != "open":
        raise Refused(_("This duty is not open any more."))
    on = at.astimezone(Program.get().tz).date()
    if people is None:
        (asking,) = who_is_asked([duty], on=on)
        answered = set(Answer.objects.filter(duty=duty).values_list("person_id", flat=True))
        owing = [
            one
            for one in asking.asked
            if one.person.pk not in answered
            and (told_before is None or one.person.pk in told_before)
        ]
    else:
        owing = by_themselves(people, on=on)
        asking = Asking(duty, owing)
    told = set(Reminder.objects.filter(duty=duty, round=round).values_list("person_id", flat=True))
    fresh = [one for one in owing if one.person.pk not in told]
    _tell(_reachable(asking, fresh, on=on), round=round, at=at, by=by)
    owing_pks = [one.person.pk for one in owing]
    return list(
        Message.objects.filter(
            reminders__duty=duty, reminders__round=round, reminders__person__in=owing_pks
        ).distinct()
    )


def remind_again(*, duty: Duty, at: datetime, by=None) -> list[Message]:
    """By hand, outside the hand-on steps: a further letter to those who owe the duty and have not answered.

    Raises
    ------
    Refused
        Something is disputed there, or nobody can be reached, or all have answered.
    """
    on = at.astimezone(Program.get().tz).date()
    if Dispute.objects.open(on=on).filter(site=duty.site_id).exists():
        raise Refused(_("Something is disputed there; nobody is reminded until it is settled."))
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
        Nothing reaches the person, nobody writes to them, or they were asked already.
    """
    on = at.astimezone(Program.get().tz).date()
    if Reminder.objects.filter(duty=duty, person=person).exists():
        raise Refused(_("%s has been told of this already.") % person)
    reader = readers_of([person], on=on)[person.pk]
    if reader is None:
        raise Refused(not_written_to(person))
    if wants_none(reader) or address_of(reader) is None:
        raise Refused(_("We have no way to reach %s.") % person)
    remind(duty=duty, round=FIRST, at=at, people=[person], by=by)


def send_new_link(
    *,
    duty: Duty,
    person: Person,
    at: datetime,
    address: Address | None = None,
    agent: Person | None = None,
) -> None:
    """A fresh link to the person, or to whoever answers for them, at `address` (default: where they get letters), at most once
    a day.

    Silent when there is none: the page tells nobody.
    """
    reader = agent or person
    address = address or address_of(reader)
    if address is None or duty.state != "open" or person.died_on or reader.died_on:
        return
    program = Program.get()
    day = at.astimezone(program.tz).date()
    queue_message(
        key=f"new-link-{duty.pk}-{person.pk}-{day:%Y%m%d}" + (f"-{agent.pk}" if agent else ""),
        message_class=MessageClass.ACCOUNT,
        channel=address.channel,
        to_name=reader.full_name,
        to_address=address.value,
        language=reader.language,
        template="reminder-link",
        context=reminder_context([Telling(duty, person, agent)], program=program),
        due_at=at,
    )


def _reachable(asking: Asking, fresh: list[Asked], *, on: date) -> list[tuple[Address, Telling]]:
    """Those of `fresh` whose reader a message reaches. The others become a job for the coordinator, unless they asked for
    silence; a duty of which nobody can be told stands on the coordinator's list."""
    duty, found = asking.duty, []
    for one in fresh:
        if wants_none(one.reader):
            continue
        address = address_of(one.reader)
        if address is not None:
            found.append((address, Telling(duty, one.person, one.agent, one.covers)))
        elif not _settled_since(duty, one.reader):
            open_contact_check(person=one.reader, site=None, reason=CheckReason.NO_CHANNEL)
    if not asking.asked and asking.missing:
        silent = NeedsPerson.SILENT in asking.missing
        put_on_list(duty, NeedsPerson.SILENT if silent else NeedsPerson.PAUSED, on=on)
        return found
    nobody = all(address_of(one.reader) is None for one in asking.asked)
    if nobody and not any(wants_none(one.reader) for one in asking.asked) and duty.owed_by_id:
        put_on_list(duty, NeedsPerson.NO_CHANNEL, on=on)
    return found


def _settled_since(duty: Duty, person: Person) -> bool:
    """Whether a coordinator has found out, since this duty opened, that nothing reaches the person."""
    opened_at = rules.start_of(duty.opened_on, Program.get().tz)
    return ContactCheck.objects.filter(
        person=person, reason=CheckReason.NO_CHANNEL, closed_at__gte=opened_at
    ).exists()


def _tell(tellings: list[tuple[Address, Telling]], *, round: int, at: datetime, by=None) -> int:
    """One message per address and language, on paper per envelope. One that goes wrong does not stop the rest."""
    groups: dict[tuple, list[tuple[Address, Telling]]] = defaultdict(list)
    for address, telling in tellings:
        reader = telling.reader
        key = (address.channel, address.normal, reader.language, *envelope(address, reader))
        groups[key].append((address, telling))
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
    """Queue the message to one address, unless all were told meanwhile. The rows of the duties, then of the people, are the
    lock: who falls silent meanwhile is not written to."""
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
    silent = _silent_now({pk for t in tellings for pk in (t.person.pk, t.reader.pk)})
    tellings = [
        replace(t, duty=locked[t.duty.pk])
        for t in tellings
        if t.duty.pk in locked
        and (t.duty.pk, t.person.pk) not in told
        and not (t.reader.pk in silent or silent.get(t.person.pk) == Silence.DIED)
    ]
    if not tellings:
        return 0
    program = Program.get()
    message = _waiting_message(address, round, tellings[0].reader)
    if message is None:
        message = queue_message(
            message_class=MessageClass.REMINDER,
            due_at=due_at([t.duty for t in tellings], at=at, program=program),
            **letter_facts(address, tellings, round=round, program=program),
        )
    else:
        rows = message.reminders.select_related(
            "duty__site", "person__household", "agent__household"
        ).order_by("pk")
        on = at.astimezone(program.tz).date()
        before = [told_by(row, on=on) for row in rows]
        rewrite(message, [*before, *tellings], program=program)
    Reminder.objects.bulk_create(
        Reminder(
            duty=t.duty, person=t.person, agent=t.agent, round=round, message=message, made_at=at
        )
        for t in tellings
    )
    for telling in tellings:
        _note_told(telling, round, by=by)
    return 1


def _silent_now(person_pks: set[int]) -> dict[int, str]:
    """Who of them nobody writes to, and why; their rows are held, so that nobody falls silent before the letter is made."""
    rows = Person.objects.select_for_update(no_key=True).filter(pk__in=person_pks).order_by("pk")
    return {pk: why for pk, why in rows.values_list("pk", "silent_why") if why}


_TOLD = {
    FIRST: gettext_lazy("First letter to %(person)s"),
    SECOND: gettext_lazy("Another letter to %(person)s"),
    AGENCY: gettext_lazy("Agency contact told: %(person)s"),
}


def _note_told(telling: Telling, round: int, *, by=None) -> None:
    said = {"person": telling.person}
    why = in_book_language(_TOLD.get(round, _TOLD[SECOND]), said)
    if telling.agent:
        through = gettext_lazy("%(told)s, through %(agent)s")
        why = in_book_language(through, {"told": why, "agent": telling.agent})
    if telling.covers:
        covers = gettext_lazy("%(told)s, who covers for %(absent)s")
        why = in_book_language(covers, {"told": why, "absent": telling.covers})
    note(telling.duty, why, by=by)


def _waiting_message(address: Address, round: int, reader: Person) -> Message | None:
    """A reminder of this round to the same readers' address that waits and is not written yet: it takes further duties in."""
    same = (
        Message.objects.select_for_update()
        .filter(
            status__in=WAITING,
            channel=address.channel,
            to_address=address.value,
            template=template_of(round),
            language=reader.language,
            text="",
            html="",
            pk__in=Reminder.objects.filter(round=round, message__status__in=WAITING).values(
                "message"
            ),
        )
        .order_by("pk")
    )
    wanted = envelope(address, reader)
    for message in same:
        row = message.reminders.select_related("person__household", "agent__household").first()
        if envelope(address, row.agent or row.person) == wanted:
            return message
    return None
