"""Property: whatever sweeps, crashes and mail servers do in whatever order, nothing is lost and nothing doubled."""

import contextlib
import smtplib
from collections import Counter
from datetime import timedelta

import time_machine
from django.core import mail
from django.test import override_settings
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.django import TestCase

from stewardship.outbox.delivery import STUCK_AFTER, deliver_due
from stewardship.outbox.models import Message
from tests import factory
from tests.outbox.conftest import Server, queue


class Killed(BaseException):
    """The worker is gone from one moment to the next: nothing after this line of its code runs."""


def kill() -> None:
    raise Killed


def taken_then_killed() -> None:
    """The server takes the message, and the worker dies before it can write that down."""
    mail.outbox.append(Server.current)
    raise Killed


def sweep() -> None:
    """One worker's sweep. If it is killed, that is the end of that worker only."""
    with contextlib.suppress(Killed):
        deliver_due()


def not_now() -> None:
    raise smtplib.SMTPDataError(451, b"later")


def broken() -> None:
    raise smtplib.SMTPServerDisconnected("gone")


def taken_then_broken() -> None:
    mail.outbox.append(Server.current)
    broken()


#: What may happen when a message is handed over. Only those in UNSURE leave open whether it went out.
EVENTS = {
    "taken": lambda: None,
    "another sweep meanwhile": sweep,
    "refused for now": not_now,
    "killed before": kill,
    "killed after": taken_then_killed,
    "broken before": broken,
    "broken after": taken_then_broken,
}
UNSURE = {"killed before", "killed after", "broken before", "broken after"}


class Recording(Server):
    """Says which message is being handed over, and counts what became unsure."""

    unsure: Counter[str] = Counter()

    def send_messages(self, emails) -> int:
        Server.current = emails[0]
        if Recording.story:
            event = Recording.story.pop(0)
            if event in UNSURE:
                Recording.unsure[emails[0].message()["Message-ID"]] += 1
            Server.answers = [EVENTS[event]]
        return super().send_messages(emails)


@override_settings(EMAIL_BACKEND="tests.outbox.test_crashes.Recording")
class NothingLostNothingDoubled(TestCase):
    @settings(max_examples=60, deadline=None)
    @given(
        classes=st.lists(
            st.sampled_from(["reminder", "notice", "account"]), min_size=1, max_size=4
        ),
        story=st.lists(st.sampled_from(sorted(EVENTS)), max_size=10),
        waits=st.lists(st.sampled_from([0, 1, 5, 16, 60, 600]), min_size=1, max_size=8),
    )
    def test_any_order_of_sweeps_crashes_and_answers(self, classes, story, waits):
        mail.outbox.clear()
        Recording.story, Recording.unsure = list(story), Counter()
        with time_machine.travel(factory.at(factory.TODAY), tick=False) as clock:
            factory.make_program(quiet_until_hour=0, quiet_from_hour=24)
            messages = [
                queue(str(n), message_class=c, template="plain") for n, c in enumerate(classes)
            ]
            for minutes in waits:
                sweep()
                clock.shift(timedelta(minutes=minutes))
            Recording.story.clear()
            for _ in range(12):  # and then the world calms down
                sweep()
                clock.shift(STUCK_AFTER + timedelta(hours=10))
        sent = Counter(email.message()["Message-ID"] for email in mail.outbox)
        for message in messages:
            message.refresh_from_db()
            times, unsure = sent[message.rfc_message_id], Recording.unsure[message.rfc_message_id]
            if not unsure:
                assert (message.status, times) == ("sent", 1)
            elif message.message_class == "notice":
                assert message.status == "unsure"
                assert times <= 1
            else:
                # once more and no more: after a second doubt a person decides
                assert message.status == ("sent" if unsure == 1 else "unsure")
                assert times <= 2
        assert sum(sent.values()) <= len(messages) + sum(Recording.unsure.values())
        assert not Message.objects.filter(status__in=["queued", "sending"]).exists()
