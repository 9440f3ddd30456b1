"""Verify-contact jobs: whoever moved, bounced or cannot be reached becomes one job for the coordinator."""

import logging
from datetime import date

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from people.choices import Channel
from people.models import ContactPoint, Person
from people.services import NEEDS, mark_dead
from sites.models import Site
from stewardship.care.choices import CheckReason
from stewardship.care.models import ContactCheck, Reminder
from stewardship.common.errors import Refused
from stewardship.outbox.models import Message

log = logging.getLogger(__name__)


def open_contact_check(
    *,
    person: Person,
    site: Site | None,
    reason: str,
    note: str = "",
) -> ContactCheck:
    """One open job per person, site and reason; a second cause adds its note to the first."""
    with transaction.atomic():
        # The person's row is the lock: two causes at once must find each other.
        Person.objects.select_for_update(no_key=True).get(pk=person.pk)
        check, made = ContactCheck.objects.get_or_create(
            person=person,
            site=site,
            reason=CheckReason(reason),
            closed_at=None,
            defaults={"note": note},
        )
        if not made and note and note not in check.note:
            check.note = f"{check.note}\n{note}".strip()
            check.save(update_fields=["note"])
    return check


def close_contact_check(*, check: ContactCheck, outcome: str, by=None) -> ContactCheck:
    """Close the job with what was found out.

    Raises
    ------
    Refused
        It is closed already, or nothing is said.
    """
    if not outcome.strip():
        raise Refused(_("Say in a few words what you found out."))
    with transaction.atomic():
        check = ContactCheck.objects.select_for_update(of=("self",)).get(pk=check.pk)
        if check.closed_at:
            raise Refused(_("This has been settled already."))
        check.closed_at, check.closed_by, check.outcome = timezone.now(), by, outcome.strip()
        check.save(update_fields=["closed_at", "closed_by", "outcome"])
    return check


def came_back(*, message: Message, on: date, note: str = "") -> int:
    """A letter did not arrive: its address is dead, and each of its people is to be found anew. Returns how many people."""
    kind = NEEDS[Channel(message.channel)]
    why = note or message.error or _("Mail came back")
    with transaction.atomic():
        reminders = list(
            message.reminders.select_for_update(of=("self",))
            .filter(came_back_on=None)
            .select_related("person", "agent")
            .order_by("person_id", "pk")
        )
        normal = ContactPoint.normalise(kind, message.to_address)
        for point in ContactPoint.objects.filter(kind=kind, normal=normal, dead_since=None):
            mark_dead(contact=point, on=on, why=why)
        people = list(dict.fromkeys(row.agent or row.person for row in reminders))
        for person in people:
            open_contact_check(
                person=person,
                site=None,
                reason=CheckReason.BOUNCED,
                note=f"{message.to_address}: {why}",
            )
        message.reminders.filter(pk__in=[row.pk for row in reminders]).update(came_back_on=on)
    return len(people)


def note_bounced(*, on: date) -> int:
    """Open the job for each reminder whose mail server said that nobody is there. Returns how many letters that was."""
    fresh = Reminder.objects.filter(came_back_on=None)
    count = 0
    for message in Message.objects.bounced().filter(pk__in=fresh.values("message")):
        try:
            came_back(message=message, on=on)
            count += 1
        except Exception:
            log.exception("Bounce of message %s not followed", message.pk)
    return count
