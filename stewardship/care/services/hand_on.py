"""What happens next when nobody acts."""

import logging
from datetime import date, datetime

from django.db.models import Exists, Prefetch, Q

from people.models import Program
from stewardship.care import rules
from stewardship.care.choices import HandOnAction, NeedsPerson
from stewardship.care.letters import AGENCY, SECOND
from stewardship.care.models import Duty, HandOnStep, Reminder
from stewardship.care.services.asked import agency_contacts, days_stood, disputed, tellable
from stewardship.care.services.book import put_on_list
from stewardship.care.services.reminding import remind

log = logging.getLogger(__name__)


def walk_hand_on(*, on: date, at: datetime | None = None) -> int:
    """Take the hand-on steps whose day has come. Returns how many steps were taken.

    Steps count from the day a duty opened and are taken once; a late sweep takes all that are due. Days on which something was
    disputed at the site do not count, and while it is, no step is taken.
    """
    at = at or rules.start_of(on, Program.get().tz)
    steps = [
        rules.HandOn(step.action, step.after_days)
        for step in HandOnStep.objects.filter(starts_on__lte=on).filter(
            Q(ends_on=None) | Q(ends_on__gt=on)
        )
    ]
    duties = list(
        Duty.objects.open()
        .filter(~Exists(disputed(on=on)))
        .select_related("site", "owed_by")
        .prefetch_related(
            Prefetch("reminders", Reminder.objects.only("duty_id", "person_id", "round", "made_at"))
        )
        .order_by("pk")
    )
    may_tell = set(tellable(Duty.objects.open(), on=on).values_list("pk", flat=True))
    stood = days_stood(duties, until=on)
    taken = 0
    for duty in duties:
        due = rules.next_steps(
            steps,
            age_days=(on - duty.opened_on).days - stood[duty.pk],
            taken=_taken(duty),
            agency_ground=bool(_agency_pk(duty)),
        )
        for action in due:
            if action != HandOnAction.COORDINATOR and duty.pk not in may_tell:
                continue
            try:
                taken += _STEPS[action](duty, on, at)
            except Exception:
                log.exception("Step %s of duty %s not taken", action, duty.pk)
    return taken


def _taken(duty: Duty) -> set[str]:
    rounds = {reminder.round for reminder in duty.reminders.all()}
    taken = set()
    if SECOND in rounds:
        taken.add(HandOnAction.SECOND_REMINDER)
    if AGENCY in rounds:
        taken.add(HandOnAction.AGENCY)
    if duty.needs_person_since:
        taken.add(HandOnAction.COORDINATOR)
    return taken


def _agency_pk(duty: Duty) -> int | None:
    """The agency that owes the duty, or on whose ground it is."""
    return (duty.owed_by.agency_id if duty.owed_by else None) or duty.site.agency_id


def _second(duty: Duty, on: date, at: datetime) -> int:
    """Only to people who have had a first letter for some days and gave no answer."""
    zone = Program.get().tz
    told = {
        row.person_id
        for row in duty.reminders.all()
        if (on - row.made_at.astimezone(zone).date()).days >= rules.LEAST_DAYS_BETWEEN_LETTERS
    }
    return bool(told) and bool(remind(duty=duty, round=SECOND, at=at, told_before=told))


def _agency(duty: Duty, on: date, at: datetime) -> int:
    """It complains, so only once the duty is late."""
    if duty.due_on >= on:
        return 0
    contacts = agency_contacts([_agency_pk(duty)])[_agency_pk(duty)]
    told = bool(remind(duty=duty, round=AGENCY, at=at, people=contacts))
    if not told and duty.needs_person_since is None:
        put_on_list(duty, NeedsPerson.NO_CHANNEL, on=on)
    return told


def _coordinator(duty: Duty, on: date, at: datetime) -> int:
    put_on_list(duty, NeedsPerson.NO_ANSWER, on=on)
    return 1


_STEPS = {
    HandOnAction.SECOND_REMINDER: _second,
    HandOnAction.AGENCY: _agency,
    HandOnAction.COORDINATOR: _coordinator,
}
