"""Sends what is due. A message is claimed in a short transaction, sent outside any, and its outcome written in another.

queued → sending → sent | queued again later | failed | unsure

A sender that dies leaves its message `sending`; after STUCK_AFTER it becomes `unsure`, since nobody can tell whether it went
out. A notice then waits for a person. Anything else is sent once more under the same Message-ID, by which mail programs know
a repeat.
"""

import contextlib
import logging
import smtplib
import time
from collections import Counter
from collections.abc import Callable
from datetime import timedelta
from typing import Any

from django.core.mail import get_connection
from django.db import transaction
from django.db.models import F, QuerySet
from django.utils import timezone
from django.utils.translation import gettext as _

from stewardship.common.errors import Refused
from stewardship.outbox.choices import MessageClass, Status
from stewardship.outbox.leaving import objection_to
from stewardship.outbox.models import Message, MessageEvent
from stewardship.outbox.sender import sender
from stewardship.outbox.services import (
    keep_words,
    stop_message,
    suppress_message,
    wants_no_reminders,
)
from stewardship.outbox.smtp_replies import (
    Reply,
    Verdict,
    before_handing_over,
    while_handing_over,
)
from stewardship.outbox.writing import email_of, write

log = logging.getLogger(__name__)

BATCH = 50  # messages a sweep takes at most; the next sweep follows seconds later
WORK_S = 120  # [s] a sweep takes no further message after so long; well under the task's time limit
STUCK_AFTER = timedelta(minutes=15)  # longer than any task may run (CELERY_TASK_TIME_LIMIT, 9 min)
#: Waits after the first, second, … temporary failure. Growing, as RFC 5321 §4.5.4.1 advises; the lengths are our judgement.
RETRY_AFTER = (
    timedelta(minutes=5),
    timedelta(minutes=30),
    timedelta(hours=2),
    timedelta(hours=8),
)


def deliver_due(*, limit: int = BATCH) -> Counter[str]:
    """Settle what got stuck, write letters that wait for paper, send e-mail that is due.

    Returns how many messages came to which status. One bad message never stops the rest.
    """
    done: Counter[str] = Counter()
    for pk in _pks(Message.objects.stuck_sending(since=timezone.now() - STUCK_AFTER), limit):
        done.update(_each(settle_stuck, pk))
    for pk in _pks(Message.objects.to_print().due(at=timezone.now()).filter(html=""), limit):
        done.update(_each(write_letter, pk))
    until = time.monotonic() + WORK_S
    ready = Message.objects.to_send(at=timezone.now(), reminders=reminders_may_leave())
    for pk in _pks(ready, limit):
        if time.monotonic() > until:
            break
        done.update(_each(deliver, pk))
    return done


def reminders_may_leave() -> bool:
    """Whether it is an hour, in the program's town, at which reminders go out."""
    program = sender()
    hour = timezone.now().astimezone(program.tz).hour
    return program.quiet_until_hour <= hour < program.quiet_from_hour


def deliver(pk: int) -> str | None:
    """Send one queued message. None: somebody else took it, or it may not go out now."""
    message = claim(pk)
    if message is None:
        return None
    try:
        if not message.text:  # a repeat goes out in the words of the first time
            keep_words(message, write(message))
        email = email_of(message)
        email.message()
    except Exception as error:
        log.exception("Message %s could not be written", pk)
        words = _("The message could not be written: %(text)s") % {"text": error}
        return _finish(message, Status.FAILED, why=words, error=words[:400])
    connection = get_connection()
    try:
        connection.open()
    except (OSError, smtplib.SMTPException) as error:
        return _not_sent(message, before_handing_over(error))
    try:
        connection.send_messages([email])
    except Exception as error:
        log.exception("Message %s was not handed over", pk)
        return _not_sent(message, while_handing_over(error))
    finally:
        # The server has answered; how the connection ends changes nothing any more.
        with contextlib.suppress(OSError, smtplib.SMTPException):
            connection.close()
    return _finish(message, Status.SENT, sent_at=timezone.now(), error="", error_code="", secret="")


def claim(pk: int) -> Message | None:
    """Take one queued message, if it is still there to take and may go out now."""
    now = timezone.now()
    message = Message.objects.get(pk=pk)
    if message.message_class == MessageClass.REMINDER:
        if wants_no_reminders(address=message.to_address, channel=message.channel):
            with contextlib.suppress(Refused):  # somebody else took it this very moment
                suppress_message(message=message, why=_("Asked for no more reminders."))
            return None
        if not reminders_may_leave():
            return None
    if objection := objection_to(message):
        stop_message(message=message, why=objection)
        return None
    with transaction.atomic():
        taken = Message.objects.to_send(at=now, reminders=True).filter(pk=pk)
        if not taken.update(status=Status.SENDING, taken_at=now, tries=F("tries") + 1):
            return None
        MessageEvent.objects.create(message=message, was=Status.QUEUED, became=Status.SENDING)
    message.refresh_from_db()
    return message


def settle_stuck(pk: int) -> str | None:
    """A message whose sender died: unsure; unless it is a notice, it is sent once more."""
    now = timezone.now()
    with transaction.atomic():
        message = (
            Message.objects.stuck_sending(since=now - STUCK_AFTER)
            .select_for_update()
            .filter(pk=pk)
            .first()
        )
        if message is None:
            return None
        why = _("Its sender stopped halfway; nobody can tell whether it went out.")
        return _unsure(message, why)


def write_letter(pk: int) -> str | None:
    """Fix the words of a letter that waits for paper."""
    message = Message.objects.get(pk=pk)
    if objection := objection_to(message):
        stop_message(message=message, why=objection)
        return None
    try:
        written = write(message)
    except Exception as error:
        log.exception("Letter %s could not be written", pk)
        words = _("The letter could not be written: %(text)s") % {"text": error}
        with transaction.atomic():
            changed = Message.objects.to_print().filter(pk=pk)
            if changed.update(status=Status.FAILED, error=words[:400]):
                _event(message, Status.FAILED, words)
        return Status.FAILED
    Message.objects.to_print().filter(pk=pk, html="").update(
        subject=written.subject, html=written.html
    )
    return "written"


def _not_sent(message: Message, reply: Reply) -> str | None:
    fields = {"error": reply.words[:400], "error_code": reply.code}
    if reply.verdict is Verdict.UNSURE:
        with transaction.atomic():
            mine = _mine(message).select_for_update().first()
            return _unsure(mine, reply.words) if mine else None
    if reply.verdict is Verdict.LATER and message.tries <= len(RETRY_AFTER):
        due_at = timezone.now() + RETRY_AFTER[message.tries - 1]
        return _finish(message, Status.QUEUED, why=reply.words, due_at=due_at, **fields)
    return _finish(message, Status.FAILED, why=reply.words, **fields)


def _unsure(message: Message, why: str) -> str:
    """The locked message is unsure; unless it is a notice, it is queued again, once in its life."""
    fields: dict[str, Any] = {"status": Status.UNSURE, "error": why[:400]}
    _event(message, Status.UNSURE, why)
    if message.message_class != MessageClass.NOTICE and message.retried_at is None:
        now = timezone.now()
        fields |= {"status": Status.QUEUED, "retried_at": now, "due_at": now}
        message.status = Status.UNSURE
        _event(message, Status.QUEUED, _("Sent once more under the same Message-ID"))
    Message.objects.filter(pk=message.pk).update(**fields)
    return fields["status"]


def _finish(message: Message, became: str, *, why: str = "", **fields: Any) -> str | None:
    """Write how it went, unless the message has passed into other hands since we took it."""
    with transaction.atomic():
        if not _mine(message).update(status=became, **fields):
            log.error("Message %s: outcome %s came too late to be kept", message.pk, became)
            return None
        _event(message, became, why)
    return became


def _mine(message: Message) -> QuerySet[Message]:
    """The message while nobody else has taken it: `taken_at` is the mark of this attempt. A slow sender still knows better
    than the sweep that has given it up for stuck meanwhile."""
    return Message.objects.filter(
        pk=message.pk,
        taken_at=message.taken_at,
        status__in=[Status.SENDING, Status.UNSURE, Status.QUEUED],
    )


def _event(message: Message, became: str, why: str) -> None:
    MessageEvent.objects.create(message=message, was=message.status, became=became, why=why[:400])


def _pks(messages: QuerySet[Message], limit: int) -> list[int]:
    return list(messages.values_list("pk", flat=True)[:limit])


def _each(step: Callable[[int], str | None], pk: int) -> list[str]:
    """One step for one message; what goes wrong is logged and leaves the others alone."""
    try:
        became = step(pk)
    except Exception:
        log.exception("Message %s: %s failed", pk, step.__name__)
        return ["error"]
    return [became] if became else []
