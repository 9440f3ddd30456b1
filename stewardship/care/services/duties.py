"""Closing duties by hand, and keeping up with who owes them."""

import logging
from datetime import date, timedelta

from django.db import transaction
from django.db.models import Q
from django.utils import timezone
from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from stewardship.agreements.models import Dispute
from stewardship.care import rules
from stewardship.care.choices import DutyState, RainAsk, RainDecision
from stewardship.care.models import Duty, RainQuestion
from stewardship.care.services.book import lock_duty, note, owed_on
from stewardship.care.services.waiting import renew_waiting
from stewardship.common.errors import Refused
from stewardship.common.written import day_text

log = logging.getLogger(__name__)


def close_duty(duty: Duty, *, state: str, closed_on: date, why: str | Promise, by=None) -> None:
    """From open to `state`, inside the caller's transaction with the duty locked. Letters that wait are taken back."""
    if state == DutyState.MET:
        move_by_dispute(duty, until=closed_on)
    was, duty.state, duty.closed_on = duty.state, state, closed_on
    duty.save(update_fields=["state", "closed_on"])
    note(duty, why, was=was, by=by)
    RainQuestion.objects.open().filter(duty=duty, ask=RainAsk.NEEDLESS).update(
        decision=RainDecision.OVERTAKEN, decided_at=timezone.now()
    )
    renew_waiting(duty)


def move_by_dispute(duty: Duty, *, until: date) -> int:
    """The open duty, locked, gets back the days for which a dispute that still stands has held its clocks up to `until`."""
    standing = Dispute.objects.filter(site=duty.site_id, closed_on=None).first()
    if standing is None:
        return 0
    days = rules.days_stood([(standing.opened_on, None)], since=duty.opened_on, until=until)
    if days:
        duty.due_on += timedelta(days=days)
        duty.save(update_fields=["due_on"])
        note(
            duty,
            gettext_lazy("Due on %(day)s: the clocks stood still for %(days)s days"),
            words={"day": day_text(duty.due_on), "days": days},
        )
    return days


def excuse_duty(*, duty: Duty, why: str, on: date, by=None) -> Duty:
    """It was owed, and is not asked for this time.

    Raises
    ------
    Refused
        The duty is not open, or no reason is given.
    """
    return _close_by_hand(duty, DutyState.EXCUSED, why=why, on=on, by=by)


def withdraw_duty(*, duty: Duty, why: str, on: date, by=None) -> Duty:
    """It should not have been opened.

    Raises
    ------
    Refused
        The duty is not open, or no reason is given.
    """
    return _close_by_hand(duty, DutyState.WITHDRAWN, why=why, on=on, by=by)


def follow_responsibility(*, on: date) -> int:
    """Open duties whose ower's responsibility has ended, or that nobody owed, go to whoever is responsible now.

    Nobody now: nobody, and the duty stands on the list of those without a responsible party. Returns how many changed.
    """
    stale = Duty.objects.open().filter(Q(owed_by=None) | Q(owed_by__ends_on__lte=on))
    changed = 0
    for duty in stale.order_by("pk"):
        try:
            with transaction.atomic():
                changed += _follow(duty, on=on)
        except Exception:
            log.exception("Duty %s does not follow its responsibility", duty.pk)
    return changed


def _follow(duty: Duty, *, on: date) -> bool:
    duty = lock_duty(duty)
    owed_by = owed_on(duty.site, on)
    if duty.state != DutyState.OPEN or duty.owed_by == owed_by:
        return False
    duty.owed_by = owed_by
    duty.save(update_fields=["owed_by"])
    if owed_by:
        note(duty, gettext_lazy("Owed by %(who)s now"), words={"who": owed_by.holder})
    else:
        note(duty, gettext_lazy("Nobody is responsible any more"))
    renew_waiting(duty)
    return True


def _close_by_hand(duty: Duty, state: str, *, why: str, on: date, by=None) -> Duty:
    if not why.strip():
        raise Refused(_("Say why in a few words."))
    with transaction.atomic():
        duty = lock_duty(duty)
        if duty.state != DutyState.OPEN:
            raise Refused(_("This duty is not open any more."))
        close_duty(duty, state=state, closed_on=on, why=why.strip(), by=by)
    return duty
