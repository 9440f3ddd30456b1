"""Sending: the words, the headers, the answers of a mail server, crashes, hours."""

import smtplib
from datetime import date, timedelta
from email import message_from_bytes, policy

import pytest
import time_machine
from django.core import mail
from django.utils import timezone

from stewardship.outbox.delivery import RETRY_AFTER, STUCK_AFTER, claim, deliver_due
from stewardship.outbox.models import Message
from stewardship.outbox.services import stop_reminders
from stewardship.outbox.tasks import sweep_outbox
from tests import factory
from tests.outbox.conftest import queue

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("program", "frozen_day")]


def fresh(message: Message) -> Message:
    return Message.objects.get(pk=message.pk)


def became(message: Message) -> list[str]:
    return list(message.events.values_list("became", flat=True))


def test_a_due_message_goes_out_once(server):
    message = queue()
    sweep_outbox()
    sweep_outbox()
    assert len(mail.outbox) == 1
    message = fresh(message)
    assert (message.status, message.tries, message.sent_at) == ("sent", 1, timezone.now())
    assert became(message) == ["queued", "sending", "sent"]


def test_a_message_waits_for_its_time(server, frozen_day):
    queue(due_at=timezone.now() + timedelta(minutes=10))
    deliver_due()
    assert not mail.outbox
    frozen_day.shift(timedelta(minutes=10))
    deliver_due()
    assert len(mail.outbox) == 1


def test_the_letter_is_written_for_its_reader(server, settings):
    settings.SITE_URL = "https://book.example.org"
    message = queue(context={"site": "Oak & Elm", "inches": "0.62"})
    deliver_due()
    email = mail.outbox[0].message()
    assert email["Subject"] == "Palo Azul Basin Keepers: Sites & Oak & Elm"
    assert email["To"] == "Ines Quist <ines.quist@example.org>"
    assert email["From"] == "Palo Azul Basin Keepers <rillbook@example.org>"
    assert email["Reply-To"] == "keepers@example.org"
    text, html = (part.get_content() for part in _parts(email))
    # plain text is not escaped, HTML is; the zone is the program's
    assert text.startswith("Ines Quist, it's 0.62 in at Oak & Elm — MDT")
    assert html.strip() == "<p>Ines Quist: Oak &amp; Elm</p>"
    message = fresh(message)
    assert message.subject == email["Subject"]
    assert message.text.strip() == text.strip()


@pytest.mark.parametrize("language", ["en", "es"])
def test_the_letter_is_in_the_readers_language(server, language):
    queue(template="spoken", language=language)
    deliver_due()
    assert mail.outbox[0].subject == f"Spoken in {language}"
    assert mail.outbox[0].body.strip() == f"Words in {language}"


def test_automatic_mail_says_so_and_keeps_its_message_id(server):
    """RFC 3834 §5 (Auto-Submitted), RFC 5322 §3.6.4 (Message-ID)."""
    message = queue()
    deliver_due()
    email = mail.outbox[0].message()
    assert email["Auto-Submitted"] == "auto-generated"
    assert email["Message-ID"] == message.rfc_message_id


def test_a_reminder_offers_one_click_to_stop_and_a_notice_does_not(server, settings):
    """RFC 2369 §3.2; RFC 8058 §3.1: one https address, and List-Unsubscribe=One-Click."""
    settings.SITE_URL = "https://book.example.org"
    queue("reminder")
    queue("notice", message_class="notice")
    deliver_due()
    reminder, notice = (email.message() for email in mail.outbox)
    assert reminder["List-Unsubscribe"].startswith("<https://book.example.org/letters/stop/")
    assert reminder["List-Unsubscribe"].endswith("/>")
    assert reminder["List-Unsubscribe-Post"] == "List-Unsubscribe=One-Click"
    assert "ines" not in reminder["List-Unsubscribe"]
    assert "List-Unsubscribe" not in notice
    assert "List-Unsubscribe-Post" not in notice


def test_a_letter_template_without_html_is_plain_text_only(server):
    queue(template="plain")
    deliver_due()
    assert mail.outbox[0].message().get_content_type() == "text/plain"


def test_a_name_with_a_comma_or_accent_stays_one_address(server):
    queue(to_name="Farrow, Odilé")
    deliver_due()
    assert mail.outbox[0].to == ['"Farrow, Odilé" <ines.quist@example.org>']
    assert mail.outbox[0].message()["To"].endswith("<ines.quist@example.org>")


@pytest.mark.parametrize(
    "bad",
    [
        {"template": "broken"},
        {"template": "nowhere"},
        {"to_name": "Ines\nBcc: all@example.org"},
    ],
)
def test_one_message_that_cannot_be_written_never_stops_the_rest(server, bad):
    bad_one, good = queue("bad", **bad), queue("good")
    deliver_due()
    bad_one = fresh(bad_one)
    assert bad_one.status == "failed"
    assert bad_one.error.startswith("The message could not be written:")
    assert fresh(good).status == "sent"
    assert [email.to for email in mail.outbox] == [["Ines Quist <ines.quist@example.org>"]]


# -- what the mail server says (RFC 5321 §4.2: 4yz try again, 5yz do not; enhanced codes RFC 3463) ---------------
def refused_recipient(code: int, text: bytes) -> smtplib.SMTPRecipientsRefused:
    return smtplib.SMTPRecipientsRefused({"ines.quist@example.org": (code, text)})


@pytest.mark.parametrize(
    ("error", "code", "bounced"),
    [
        (refused_recipient(550, b"5.1.1 No such user here"), "5.1.1", True),
        (refused_recipient(550, b"5.2.1 Mailbox disabled"), "5.2.1", True),
        (refused_recipient(550, b"no such user"), "550", True),
        (refused_recipient(550, b"5.7.1 Not wanted"), "5.7.1", False),
        (smtplib.SMTPDataError(554, b"5.6.0 Bad content"), "5.6.0", False),
        (smtplib.SMTPDataError(550, b"Looks like junk"), "5.0.0", False),
        (smtplib.SMTPSenderRefused(550, b"Who are you?", "rillbook@example.org"), "5.0.0", False),
        (smtplib.SMTPNotSupportedError("SMTPUTF8 not supported"), "", False),
    ],
)
def test_a_lasting_refusal_fails_at_once_and_a_dead_address_counts_as_bounced(
    server, error, code, bounced
):
    message, other = queue("one"), queue("two", to_address="bram.okello@example.org")
    server.answers = [error]
    deliver_due()
    message = fresh(message)
    assert (message.status, message.error_code, message.tries) == ("failed", code, 1)
    assert message.error
    assert list(Message.objects.bounced()) == ([message] if bounced else [])
    assert fresh(other).status == "sent"


@pytest.mark.parametrize(
    ("opening", "answers"),
    [
        ([], [refused_recipient(450, b"4.2.1 Mailbox busy")]),
        ([], [smtplib.SMTPDataError(451, b"Try later")]),
        ([ConnectionRefusedError("nobody listens")], []),
        ([TimeoutError("timed out")], []),
        ([smtplib.SMTPAuthenticationError(535, b"5.7.8 bad password")], []),
        ([smtplib.SMTPConnectError(421, b"busy")], []),
    ],
)
def test_a_passing_failure_is_tried_again_later_and_then_sent(server, frozen_day, opening, answers):
    message = queue()
    server.opening, server.answers = opening, answers
    deliver_due()
    message = fresh(message)
    assert (message.status, message.due_at) == ("queued", timezone.now() + RETRY_AFTER[0])
    assert message.error
    deliver_due()
    assert not mail.outbox
    frozen_day.shift(RETRY_AFTER[0])
    deliver_due()
    message = fresh(message)
    assert (message.status, message.error, message.tries) == ("sent", "", 2)
    assert len(mail.outbox) == 1
    assert not Message.objects.bounced()


def test_after_the_last_try_it_fails_and_needs_a_person(server, frozen_day):
    message = queue(message_class="notice")
    server.answers = [smtplib.SMTPDataError(451, b"4.3.0 Try later")] * 9
    for wait in (*RETRY_AFTER, timedelta(days=2), timedelta(days=2)):
        deliver_due()
        frozen_day.shift(wait)
    message = fresh(message)
    assert (message.status, message.tries) == ("failed", 1 + len(RETRY_AFTER))
    assert message.error == "The mail server says “later”: 451 4.3.0 Try later"
    assert list(Message.objects.needing_a_person()) == [message]


# -- nobody can tell ------------------------------------------------------------------------------------------
@pytest.mark.parametrize(
    "broken", [smtplib.SMTPServerDisconnected("gone"), TimeoutError("silent"), OSError("reset")]
)
def test_a_connection_that_breaks_while_handing_over_repeats_a_reminder_once(server, broken):
    """RFC 5321 §6.1: after a break the server may or may not have taken the message."""
    message = queue()
    server.answers = [broken]
    deliver_due()
    assert fresh(message).status == "queued"
    deliver_due()
    assert fresh(message).status == "sent"
    assert became(message) == ["queued", "sending", "unsure", "queued", "sending", "sent"]
    assert [m.message()["Message-ID"] for m in mail.outbox] == [message.rfc_message_id]


def test_a_reminder_that_is_unsure_a_second_time_waits_for_a_person(server):
    message = queue()
    server.answers = [smtplib.SMTPServerDisconnected("gone")] * 2
    for _ in range(4):
        deliver_due()
    assert fresh(message).status == "unsure"
    assert not mail.outbox


def test_an_unsure_notice_waits_for_a_person(server, frozen_day):
    message = queue(message_class="notice")
    server.answers = [smtplib.SMTPServerDisconnected("gone")]
    deliver_due()
    frozen_day.shift(timedelta(days=3))
    deliver_due()
    assert fresh(message).status == "unsure"
    assert not mail.outbox


@pytest.mark.parametrize(("message_class", "sent"), [("reminder", 1), ("notice", 0)])
def test_a_message_whose_sender_died_is_unsure_after_a_while(
    server, frozen_day, message_class, sent
):
    message = queue(message_class=message_class)
    assert claim(message.pk)  # and then the sender is killed
    frozen_day.shift(STUCK_AFTER - timedelta(seconds=1))
    deliver_due()
    assert fresh(message).status == "sending"
    frozen_day.shift(timedelta(seconds=2))
    deliver_due()
    assert len(mail.outbox) == sent
    assert fresh(message).status == ("sent" if sent else "unsure")
    assert "unsure" in became(message)


def test_a_repeat_goes_out_in_the_words_of_the_first_time(server):
    message = queue()
    server.answers = [smtplib.SMTPServerDisconnected("gone")]
    deliver_due()
    factory.make_program(name="Renamed Keepers")
    deliver_due()
    assert mail.outbox[0].subject.startswith("Palo Azul Basin Keepers")
    assert mail.outbox[0].body == fresh(message).text


def test_a_slow_sender_that_was_given_up_still_settles_its_message(server, frozen_day):
    message = queue(message_class="notice")

    def slow() -> None:
        frozen_day.shift(STUCK_AFTER + timedelta(seconds=1))
        deliver_due()
        assert fresh(message).status == "unsure"

    server.answers = [slow]
    deliver_due()
    assert fresh(message).status == "sent"
    assert len(mail.outbox) == 1


def test_two_senders_never_take_the_same_message(server):
    message = queue()
    assert claim(message.pk)
    assert claim(message.pk) is None


# -- hours and opt-outs ---------------------------------------------------------------------------------------
@pytest.mark.parametrize(
    ("clock", "leaves"),
    [("08:59", False), ("09:00", True), ("18:59", True), ("19:00", False), ("00:30", False)],
)
def test_reminders_leave_only_within_the_programs_hours(server, clock, leaves):
    """Hours 9 to 19 on the clock of the program's town, which is not UTC."""
    with time_machine.travel(factory.at(date(2026, 7, 15), clock), tick=False):
        reminder = queue("reminder")
        notice = queue("notice", message_class="notice")
        deliver_due()
        assert fresh(reminder).status == ("sent" if leaves else "queued")
        assert fresh(notice).status == "sent"


def test_a_night_full_of_reminders_does_not_hold_up_a_notice(server):
    with time_machine.travel(factory.at(date(2026, 7, 15), "23:00"), tick=False):
        for n in range(5):
            queue(f"reminder {n}", due_at=timezone.now() - timedelta(hours=1))
        queue("notice", message_class="notice")
        deliver_due(limit=3)
    assert len(mail.outbox) == 1


def test_an_opt_out_that_comes_while_a_sweep_runs_still_counts(server):
    first, second = queue("first"), queue("second")
    server.answers = [lambda: stop_reminders(address=second.to_address, channel="email")]
    deliver_due()
    assert (fresh(first).status, fresh(second).status) == ("sent", "suppressed")


def test_a_sweep_takes_a_small_batch(server):
    for n in range(5):
        queue(f"n {n}")
    assert deliver_due(limit=3) == {"sent": 3}
    assert deliver_due(limit=3) == {"sent": 2}


# -- paper ----------------------------------------------------------------------------------------------------
def test_a_letter_on_paper_is_written_and_waits_for_the_printer(server):
    letter = queue(channel="letter", to_address="110 Saltbush Street")
    deliver_due()
    letter = fresh(letter)
    assert letter.status == "queued"
    assert "<h1>Ines Quist</h1>" in letter.html
    assert letter.subject
    assert not mail.outbox


def test_a_paper_letter_that_cannot_be_written_fails_with_the_reason(server):
    letter = queue(channel="letter", to_address="110 Saltbush Street", template="broken")
    deliver_due()
    letter = fresh(letter)
    assert letter.status == "failed"
    assert letter.error.startswith("The letter could not be written:")


def test_a_sweep_with_nothing_to_do_asks_four_questions(django_assert_num_queries, server):
    # stuck messages; letters without words; the program's hours; due e-mail
    with django_assert_num_queries(4):
        deliver_due()


def test_without_a_mail_server_every_letter_is_a_file_that_mail_programs_open(settings, tmp_path):
    """RFC 5322 §2.1: lines end in CRLF."""
    settings.EMAIL_BACKEND = "stewardship.outbox.mailbox.EmailBackend"
    settings.EMAIL_FILE_PATH = tmp_path / "mailbox"
    ids = {queue(f"n {n}").rfc_message_id for n in range(3)}
    deliver_due()
    files = list((tmp_path / "mailbox").iterdir())
    assert {path.suffix for path in files} == {".eml"}
    assert {message_from_bytes(path.read_bytes())["Message-ID"] for path in files} == ids
    assert all(b"\r\n" in path.read_bytes() for path in files)
    assert not any(b"\n" in path.read_bytes().replace(b"\r\n", b"") for path in files)


def _parts(email):
    parsed = message_from_bytes(email.as_bytes(), policy=policy.default)
    return [part for part in parsed.walk() if part.get_content_maintype() == "text"]
