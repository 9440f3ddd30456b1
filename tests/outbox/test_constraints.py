"""Rules of the tables: what they let in, and what they refuse whoever writes."""

from datetime import timedelta

import pytest
from django.db import IntegrityError, transaction
from django.utils import timezone

from stewardship.outbox.models import Message, OptOut
from tests.outbox.conftest import queue

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("program")]


def refused(constraint: str, write) -> None:
    with pytest.raises(IntegrityError, match=constraint), transaction.atomic():
        write()


def update(**fields):
    return lambda: Message.objects.update(**fields)


@pytest.mark.parametrize(
    ("constraint", "fields"),
    [
        ("message_status_known", {"status": "gone"}),
        ("message_channel_known", {"channel": "pigeon"}),
        ("message_class_known", {"message_class": "advert"}),
        ("message_sent_iff_time", {"status": "sent"}),
        ("message_sent_iff_time", {"sent_at": timezone.now()}),
        ("message_sending_was_taken", {"status": "sending"}),
        ("message_has_an_address", {"to_address": ""}),
    ],
)
def test_a_message_row_that_breaks_a_rule_is_refused(constraint, fields):
    queue()
    refused(constraint, update(**fields))


@pytest.mark.parametrize(
    "fields",
    [
        {"status": "held"},
        {"status": "sent", "sent_at": timezone.now()},
        {"status": "sending", "taken_at": timezone.now()},
        {"status": "unsure", "taken_at": timezone.now()},
        {"status": "failed"},
        {"status": "suppressed"},
        {"channel": "letter"},
        {"message_class": "account"},
    ],
)
def test_a_message_row_that_keeps_the_rules_is_let_in(fields):
    queue()
    assert update(**fields)() == 1


def test_two_messages_never_share_a_key_or_a_message_id():
    one, two = queue("one"), queue("two")
    twice = "(?i)unique|duplicate"
    refused(twice, lambda: Message.objects.filter(pk=two.pk).update(key=one.key))
    refused(
        twice, lambda: Message.objects.filter(pk=two.pk).update(rfc_message_id=one.rfc_message_id)
    )


def test_one_address_opts_out_once_at_a_time_and_again_later():
    first = OptOut.objects.create(address="a@example.org", channel="email")
    refused(
        "(?i)unique|duplicate",
        lambda: OptOut.objects.create(address="a@example.org", channel="email"),
    )
    OptOut.objects.create(address="a@example.org", channel="text")
    first.ended_at = first.at + timedelta(days=1)
    first.save()
    OptOut.objects.create(address="a@example.org", channel="email")


@pytest.mark.parametrize(
    ("constraint", "fields"),
    [
        ("opt_out_channel_known", {"channel": "pigeon"}),
        ("opt_out_has_an_address", {"address": ""}),
        ("opt_out_times_in_order", {"ended_at": timezone.now() - timedelta(days=1)}),
    ],
)
def test_an_opt_out_that_breaks_a_rule_is_refused(constraint, fields):
    facts = {"address": "a@example.org", "channel": "email"} | fields
    refused(constraint, lambda: OptOut.objects.create(**facts))
