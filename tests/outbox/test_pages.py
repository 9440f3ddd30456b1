"""The coordinator's outbox pages, and the way out of reminders that anybody with the link may take."""

import io

import pypdf
import pytest
from django.core import mail
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from stewardship.outbox.delivery import deliver_due
from stewardship.outbox.models import Message, OptOut
from stewardship.outbox.writing import stop_url
from tests.outbox.conftest import queue

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("cast", "frozen_day")]


def letter(key: str = "letter", **changes) -> Message:
    facts = {"channel": "letter", "to_address": "110 Saltbush Street"}
    return queue(key, **(facts | changes))


def page(client: Client, name: str, *args, answer: int = 200, **query) -> str:
    response = client.get(reverse(f"outbox:{name}", args=args), query)
    assert response.status_code == answer
    return response.content.decode()


def pdf_text(content: bytes) -> list[str]:
    return [p.extract_text() for p in pypdf.PdfReader(io.BytesIO(content)).pages]


# -- list and detail ------------------------------------------------------------------------------------------
def test_the_list_shows_what_each_message_came_to(coordinator):
    queue("one")
    queue("two", channel="text", to_name="Bram Okello", to_address="505-555-0111")
    deliver_due()
    shown = page(coordinator, "list")
    assert "Ines Quist" in shown
    assert "Sent" in shown
    assert "No text-message service is set up here" in shown


def test_the_list_can_be_narrowed_and_searched(coordinator):
    queue("one", to_name="Ines Quist")
    queue("two", to_name="Bram Okello", message_class="notice")
    assert "Bram Okello" not in page(coordinator, "list", q="ines quist")
    assert "Ines Quist" not in page(coordinator, "list", message_class="notice")
    assert "No message fits" in page(coordinator, "list", status="failed")
    Message.objects.filter(key="two").update(status="unsure")
    shown = page(coordinator, "list", status="needs_a_person")
    assert "Bram Okello" in shown
    assert "Ines Quist" not in shown
    assert "1 message did not get through and needs you." in shown


def test_the_list_downloads_as_csv(coordinator):
    queue()
    response = coordinator.get(reverse("outbox:list"), {"_export": "csv"})
    lines = b"".join(response.streaming_content).decode("utf-8-sig").splitlines()
    assert lines[0].startswith("Queued,To,About")
    assert "Ines Quist" in lines[1]
    assert "Queued" in lines[1]
    assert "<" not in lines[1]


def test_the_list_takes_as_many_queries_for_many_messages_as_for_one(
    coordinator, django_assert_max_num_queries
):
    for n in range(30):
        queue(f"n {n}")
    # session, user, roles, program; letters waiting, needing a person; count of rows, rows
    with django_assert_max_num_queries(10):
        page(coordinator, "list")


def test_a_message_shows_its_words_before_and_after_it_goes_out(coordinator, server):
    message = queue()
    assert "as it would go out now" in page(coordinator, "detail", message.pk)
    deliver_due()
    shown = page(coordinator, "detail", message.pk)
    assert "Its exact words" in shown
    assert "0.62 in at OAK-1" in shown
    assert message.rfc_message_id.strip("<>") in shown


def test_a_message_that_cannot_be_written_says_why(coordinator):
    assert "It cannot be written as it is" in page(
        coordinator, "detail", queue(template="nowhere").pk
    )


def test_looking_changes_nothing(coordinator):
    message = letter()
    before = Message.objects.values().get(pk=message.pk)
    page(coordinator, "detail", message.pk)
    page(coordinator, "to_post")
    coordinator.get(reverse("outbox:print"))
    coordinator.get(stop_url(queue("mail")).removeprefix("http://127.0.0.1:8000"))
    assert Message.objects.values().get(pk=message.pk) == before
    assert not OptOut.objects.exists()


# -- actions --------------------------------------------------------------------------------------------------
def act(client: Client, action: str, message: Message, **data) -> str:
    response = client.post(reverse(f"outbox:{action}", args=[message.pk]), data, follow=True)
    return response.content.decode()


def test_a_failed_message_is_sent_again_from_its_page(coordinator, server):
    message = queue()
    Message.objects.update(status="failed", error="no")
    assert "It goes out with the next round." in act(coordinator, "retry", message)
    deliver_due()
    assert len(mail.outbox) == 1


def test_an_unsure_message_is_settled_from_its_page(coordinator):
    message = queue()
    Message.objects.update(status="unsure", taken_at=timezone.now())
    assert "It did arrive" in page(coordinator, "detail", message.pk)
    assert "Kept as sent." in act(coordinator, "confirm_sent", message)
    assert Message.objects.get().status == "sent"


def test_an_action_that_is_refused_says_so_and_changes_nothing(coordinator):
    message = queue()
    assert "Only an unsure message can be settled as sent." in act(
        coordinator, "confirm_sent", message
    )
    assert Message.objects.get().status == "queued"


def test_not_sending_needs_a_reason_and_keeps_it(coordinator, cast):
    message = queue()
    url = reverse("outbox:suppress", args=[message.pk])
    response = coordinator.post(url, {"why": " "})
    assert response.status_code == 422
    assert "Fill this in." in response.content.decode()
    assert Message.objects.get().status == "queued"
    shown = act(coordinator, "suppress", message, why="Told in person")
    assert "It will not be sent." in shown
    assert "Told in person" in shown
    assert Message.objects.get().events.last().by == cast.coordinator


@pytest.mark.parametrize("action", ["retry", "confirm_sent", "suppress"])
def test_an_action_by_get_is_not_allowed(coordinator, action):
    page(coordinator, action, queue().pk, answer=405)


# -- paper ----------------------------------------------------------------------------------------------------
def test_waiting_letters_print_as_one_pdf_by_language_and_walking_order(coordinator):
    letter("b", to_name="Second", context={"order": 2})
    letter("es", to_name="Tercera", language="es", context={"order": 1})
    letter("a", to_name="First", context={"order": 1})
    queue("by mail", to_name="Not on paper")
    response = coordinator.get(reverse("outbox:print"))
    assert response["Content-Type"] == "application/pdf"
    assert [text.split()[0] for text in pdf_text(response.content)] == [
        "First",
        "Second",
        "Tercera",
    ]


def test_posting_marks_the_printed_letters_and_leaves_later_ones(coordinator, cast):
    printed = letter("printed")
    shown = page(coordinator, "to_post")
    assert f'name="letters" value="{printed.pk}"' in shown
    late = letter("late")
    response = coordinator.post(reverse("outbox:posted"), {"letters": printed.pk}, follow=True)
    assert "1 letter kept as posted." in response.content.decode()
    printed.refresh_from_db()
    late.refresh_from_db()
    assert (printed.status, late.status) == ("sent", "queued")
    event = printed.events.last()
    assert (event.became, event.by, event.at) == ("sent", cast.coordinator, timezone.now())
    again = coordinator.post(reverse("outbox:posted"), {"letters": printed.pk}, follow=True)
    assert "is not waiting to be posted" in again.content.decode()


def test_a_posted_letter_can_be_printed_again_in_the_same_words(coordinator):
    message = letter()
    coordinator.post(reverse("outbox:posted"), {"letters": message.pk})
    Message.objects.update(to_name="Somebody Else")
    response = coordinator.get(reverse("outbox:print"), {"letters": message.pk})
    assert "Ines Quist" in pdf_text(response.content)[0]


@pytest.mark.parametrize("query", [{}, {"letters": "x,,-3"}, {"letters": "999999"}])
def test_printing_nothing_says_so(coordinator, query):
    response = coordinator.get(reverse("outbox:print"), query, follow=True)
    assert "No letter waits to be printed." in response.content.decode()


def test_printing_a_letter_that_cannot_be_written_says_why(coordinator):
    letter(template="broken")
    response = coordinator.get(reverse("outbox:print"), follow=True)
    assert "A letter could not be written:" in response.content.decode()


# -- the way out (RFC 8058) -----------------------------------------------------------------------------------
@pytest.fixture
def nobody() -> Client:
    """A mail program: no log-in, no cookies, no CSRF token."""
    return Client(enforce_csrf_checks=True)


def way_out(message: Message) -> str:
    return stop_url(message).removeprefix("http://127.0.0.1:8000")


def test_one_click_stops_reminders_without_cookies_log_in_or_redirect(nobody):
    """RFC 8058 §3.1–3.2: POST of List-Unsubscribe=One-Click; no cookies, no authorisation, no redirect."""
    waiting = queue()
    response = nobody.post(way_out(waiting), {"List-Unsubscribe": "One-Click"})
    assert response.status_code == 200
    waiting.refresh_from_db()
    assert waiting.status == "suppressed"
    assert OptOut.objects.get().address == "ines.quist@example.org"


def test_the_page_asks_first_and_a_get_stops_nothing(nobody):
    response = nobody.get(way_out(queue()))
    assert "Stop reminders?" in response.content.decode()
    assert not OptOut.objects.exists()


def test_who_stopped_reminders_can_take_that_back(nobody):
    address = way_out(queue())
    stopped = nobody.post(address, {"List-Unsubscribe": "One-Click"}).content.decode()
    assert "No more reminders" in stopped
    assert "Send me reminders again" in stopped
    assert "Stop reminders?" in nobody.post(address, {"again": "1"}).content.decode()
    assert queue("next").status == "queued"


@pytest.mark.parametrize("token", ["nonsense", "MQ:1xyz:forged"])
def test_a_forged_way_out_is_refused_in_plain_words(nobody, token):
    for ask in (nobody.get, nobody.post):
        response = ask(reverse("outbox:stop", args=[token]))
        assert response.status_code == 404
        assert "This link is not whole" in response.content.decode()
    assert not OptOut.objects.exists()
