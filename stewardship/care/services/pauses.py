"""What pauses and disputes do to duties and letters: excused where everybody is excused, withdrawn where the site rests, letters
that wait taken back, all back when it is over."""

import logging
from datetime import date

from django.db import transaction
from django.utils.translation import gettext_lazy

from stewardship.agreements.models import Dispute
from stewardship.care.choices import DutyState, Judgement, Trigger
from stewardship.care.models import Duty, Reminder
from stewardship.care.services.asked import (
    excused_sites,
    person_pauses,
    resting,
    who_is_asked,
)
from stewardship.care.services.book import PASSING, lock_duty, take_off_list
from stewardship.care.services.duties import close_duty
from stewardship.care.services.waiting import renew_waiting
from stewardship.common.events import in_book_language
from stewardship.outbox.choices import WAITING

log = logging.getLogger(__name__)


def follow_pauses(*, on: date) -> int:
    """Bring open duties and letters that wait in line with the pauses and disputes of that day. Returns how many changed; a
    second time changes nothing."""
    changed = 0
    for step in (_withdraw_at_rest, _excuse, _take_back_letters, _give_back):
        changed += step(on)
    return changed


def _withdraw_at_rest(on: date) -> int:
    """What is due where the site rests; what was seen unsafe stays."""
    changed = 0
    for pause in resting(on=on).select_related("site"):
        for duty in Duty.objects.open().filter(site=pause.site):
            if duty.reason.get("judgement") == Judgement.UNSAFE:
                continue
            why = in_book_language(
                gettext_lazy("The site rests: %(why)s"), {"why": pause.why or "—"}
            )
            changed += _close(duty, DutyState.WITHDRAWN, why, on=on)
    return changed


def _excuse(on: date) -> int:
    """Looks that are due where everybody who owes them is excused; what was found wanting waits for a coordinator."""
    looks = Duty.objects.open().filter(trigger__in=[Trigger.AFTER_RAIN, Trigger.CALENDAR])
    excused = excused_sites(set(looks.values_list("site_id", flat=True)), on=on)
    changed = 0
    for duty in looks.filter(site__in=excused):
        why = in_book_language(
            gettext_lazy("Excused while %(person)s cannot"),
            {"person": excused[duty.site_id].person},
        )
        changed += _close(duty, DutyState.EXCUSED, why, on=on)
    return changed


def _close(duty: Duty, state: str, why: str, *, on: date) -> int:
    try:
        with transaction.atomic():
            duty = lock_duty(duty)
            if duty.state != DutyState.OPEN:
                return 0
            close_duty(duty, state=state, closed_on=max(on, duty.opened_on), why=why)
    except Exception:
        log.exception("Duty %s does not follow its pause", duty.pk)
        return 0
    return 1


def _take_back_letters(on: date) -> int:
    """Letters that wait for somebody who cannot any more, or about what is disputed; whoever covers gets their own."""
    waiting = Reminder.objects.filter(
        duty__in=Duty.objects.open(),
        message__status__in=WAITING,
        message__text="",
        message__html="",
    ).select_related("duty")
    site_pks = {row.duty.site_id for row in waiting}
    pauses = person_pauses(site_pks, on=on)
    held = set(
        Dispute.objects.open(on=on).filter(site__in=site_pks).values_list("site_id", flat=True)
    )
    stale = {
        row.duty
        for row in waiting
        if row.duty.site_id in held or (row.duty.site_id, row.person_id) in pauses
    }
    for duty in stale:
        try:
            with transaction.atomic():
                renew_waiting(lock_duty(duty))
        except Exception:
            log.exception("Letters of duty %s not taken back", duty.pk)
    return len(stale)


def _give_back(on: date) -> int:
    """Duties that stood on the coordinator's list only because nobody could be asked for a time, and somebody can be now."""
    listed = Duty.objects.open().filter(needs_person_why__in=PASSING).select_related("site")
    changed = 0
    for asking in who_is_asked(listed, on=on):
        if asking.asked:
            with transaction.atomic():
                duty = lock_duty(asking.duty)
                take_off_list(duty, gettext_lazy("Somebody can be asked again"))
            changed += 1
    return changed
