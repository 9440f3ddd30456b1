"""What may happen to a message, apart from sending it."""

from datetime import timedelta

import pytest
from django.utils import timezone

from stewardship.common.errors import Refused
from stewardship.outbox.models import Message
from stewardship.outbox.services import (
    allow_reminders,
    confirm_sent,
    mark_posted,
    retry_message,
    stop_reminders,
    suppress_message,
    walking_order,
)
from tests.outbox.conftest import queue

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("program")]


def became(message: Message) -> list[str]:
    return list(message.events.values_list("became", flat=True))


def in_status(status: str, **fields) -> Message:
    message = queue()
    if status == "sent":
        fields["sent_at"] = timezone.now()
    if status == "sending":
        fields["taken_at"] = timezone.now()
    Message.objects.filter(pk=message.pk).update(status=status, **fields)
    return message


def test_the_same_key_again_is_the_same_message():
    first = queue("storm-7/ines")
    again = queue("storm-7/ines", to_address="other@example.org")
    assert again == first
    assert again.to_address == "ines.quist@example.org"
    assert became(first) == ["queued"]


def test_every_message_has_its_own_message_id_under_our_domain(settings):
    settings.DEFAULT_FROM_EMAIL = "Keepers <letters@town.example.org>"
    ids = {queue("a").rfc_message_id, queue("b").rfc_message_id}
    assert len(ids) == 2
    assert all(i.startswith("<") and i.endswith("@town.example.org>") for i in ids)


@pytest.mark.parametrize(
    ("channel", "sentence"),
    [
        ("email", "Ines Quist has no e-mail address that works."),
        ("text", "Ines Quist has no phone number that works."),
        ("letter", "Ines Quist has no postal address that works."),
    ],
)
def test_a_person_without_an_address_is_refused_in_one_sentence(channel, sentence):
    with pytest.raises(Refused, match=sentence):
        queue(channel=channel, to_address="  ")
    assert not Message.objects.exists()


def test_an_address_that_is_none_is_refused_in_one_sentence():
    with pytest.raises(Refused, match="“ines at example”, kept for Ines Quist, is not an e-mail"):
        queue(to_address="ines at example")


def test_a_text_message_is_held_with_the_reason_in_words():
    message = queue(channel="text", to_address="505-555-0111")
    assert message.status == "held"
    assert "No text-message service" in message.error
    assert "No text-message service" in message.events.get().why


def test_after_an_opt_out_reminders_are_suppressed_and_notices_are_not():
    waiting = queue("waiting")
    notice = queue("notice", message_class="notice")
    stop_reminders(address="Ines.Quist@Example.org ", channel="email")
    waiting.refresh_from_db()
    notice.refresh_from_db()
    assert (waiting.status, notice.status) == ("suppressed", "queued")
    later = queue("later")
    assert later.status == "suppressed"
    assert later.error == "This address has asked for no more reminders."
    assert queue("later notice", message_class="notice").status == "queued"
    assert queue("other", to_address="bram.okello@example.org").status == "queued"


def test_who_wants_reminders_again_gets_the_next_one():
    stop_reminders(address="ines.quist@example.org", channel="email")
    stop_reminders(address="ines.quist@example.org", channel="email")
    allow_reminders(address="ines.quist@example.org", channel="email")
    assert queue("next").status == "queued"


@pytest.mark.parametrize("status", ["held", "queued", "failed", "unsure"])
def test_a_message_that_has_not_gone_out_can_be_suppressed(status, cast):
    message = suppress_message(message=in_status(status), why="Told in person", by=cast.coordinator)
    assert (message.status, message.error) == ("suppressed", "Told in person")
    event = message.events.last()
    assert (event.was, event.became, event.why) == (status, "suppressed", "Told in person")
    assert event.by == cast.coordinator


@pytest.mark.parametrize("status", ["sent", "sending"])
def test_a_message_that_went_out_cannot_be_suppressed(status):
    with pytest.raises(Refused, match="This message to Ines Quist has gone out already."):
        suppress_message(message=in_status(status), why="too late")


def test_suppressing_twice_changes_nothing_more():
    message = suppress_message(message=queue(), why="Told in person")
    suppress_message(message=message, why="again")
    assert became(message) == ["queued", "suppressed"]


@pytest.mark.parametrize("status", ["failed", "unsure"])
def test_a_message_that_failed_or_is_unsure_can_be_sent_again_as_the_same_message(status):
    before = in_status(status, tries=5, error="no", error_code="5.1.1")
    after = retry_message(message=before)
    assert (after.status, after.tries, after.error, after.error_code) == ("queued", 0, "", "")
    assert after.rfc_message_id == before.rfc_message_id
    assert after.due_at <= timezone.now()


@pytest.mark.parametrize("status", ["queued", "sending", "sent", "suppressed"])
def test_other_messages_cannot_be_sent_again(status):
    with pytest.raises(Refused, match="Only a message that failed"):
        retry_message(message=in_status(status))


def test_a_failed_reminder_is_not_sent_again_to_who_opted_out():
    message = in_status("failed")
    stop_reminders(address=message.to_address, channel="email")
    with pytest.raises(Refused, match="asked for no more reminders"):
        retry_message(message=message)


def test_an_unsure_message_can_be_settled_as_arrived():
    taken_at = timezone.now() - timedelta(hours=3)
    message = confirm_sent(message=in_status("unsure", taken_at=taken_at))
    assert (message.status, message.sent_at) == ("sent", taken_at)
    with pytest.raises(Refused, match="Only an unsure message"):
        confirm_sent(message=message)


def test_a_posted_letter_is_sent_by_whom_and_its_words_are_kept(cast, frozen_day):
    letter = queue(channel="letter", to_address="110 Saltbush Street")
    letter = mark_posted(message=letter, by=cast.coordinator)
    letter.refresh_from_db()
    assert (letter.status, letter.sent_at) == ("sent", timezone.now())
    assert "<h1>Ines Quist</h1><p>OAK-1</p>" in letter.html
    assert letter.events.last().by == cast.coordinator
    with pytest.raises(Refused, match="not waiting to be posted"):
        mark_posted(message=letter, by=cast.coordinator)


def test_an_e_mail_cannot_be_posted():
    with pytest.raises(Refused, match="Only letters on paper"):
        mark_posted(message=queue())


def test_letters_come_by_language_and_walking_order():
    def letter(key: str, language: str, order) -> Message:
        return queue(
            key,
            channel="letter",
            to_address="110 Saltbush Street",
            language=language,
            context={"order": order} if order is not None else {},
        )

    ten, two, es, none = (
        letter("ten", "en", 10),
        letter("two", "en", 2),
        letter("es", "es", 1),
        letter("none", "en", None),
    )
    near, far = letter("near", "en", "Saltbush 110"), letter("far", "en", "Saltbush 1010")
    assert walking_order([ten, none, es, far, near, two]) == [two, ten, near, far, none, es]
