"""Files that go out with messages, and keys of links that nobody but the recipient reads."""

from io import BytesIO

import pytest
from django.core import mail
from django.db import IntegrityError, transaction
from django.urls import reverse
from pypdf import PdfReader, PdfWriter

from stewardship.outbox.delivery import deliver_due
from stewardship.outbox.models import EnclosedFile, Enclosure, Message
from stewardship.outbox.services import Enclosed, suppress_message
from tests.outbox.conftest import LETTERS, queue

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("cast", "frozen_day")]

KEY = "wkJ-3kq_key-of-a-link"


def pdf(pages: int = 1) -> bytes:
    writer, content = PdfWriter(), BytesIO()
    for _page in range(pages):
        writer.add_blank_page(200, 200)
    writer.write(content)
    return content.getvalue()


def put(key: str, **changes) -> Message:
    return queue(key, **({"message_class": "account", "template": "plain"} | changes))


@pytest.fixture(autouse=True)
def link_letter(monkeypatch):
    for name in ("subject.txt", "body.txt", "body.html"):
        monkeypatch.setitem(LETTERS, f"letters/link-{name}", "Read it at https://x/{{ secret }}/")


def test_an_enclosure_is_attached_to_the_e_mail_byte_for_byte(server):
    content = pdf()
    put("copy", enclosed=[Enclosed("A-7.pdf", content)])
    deliver_due()
    (sent,) = mail.outbox
    assert sent.attachments == [("A-7.pdf", content, "application/pdf")]


def test_the_same_file_is_kept_once_however_many_carry_it(server):
    one = Enclosed("A-7.pdf", pdf())
    for key in ("first", "second", "second"):
        put(key, enclosed=[one])
    assert (EnclosedFile.objects.count(), Enclosure.objects.count()) == (1, 2)


def test_an_enclosure_is_printed_behind_its_letter(coordinator):
    for key, pages in (("one", 2), ("two", 3)):
        put(
            key,
            channel="letter",
            to_address="110 Saltbush Street",
            template="after-rain",
            context={"site": "OAK-7"},
            enclosed=[Enclosed("A-7.pdf", pdf(pages))],
        )
    answer = coordinator.get(reverse("outbox:print"))
    words = [page.extract_text() for page in PdfReader(BytesIO(answer.content)).pages]
    assert ["OAK-7" in page for page in words] == [True, False, False, True, False, False, False]


def test_the_page_of_a_message_hands_out_what_goes_with_it(coordinator):
    content = pdf()
    message = put("copy", enclosed=[Enclosed("A-7.pdf", content)])
    page = coordinator.get(reverse("outbox:detail", args=[message.pk])).content.decode()
    address = reverse("outbox:enclosure", args=[message.enclosures.get().pk])
    assert f'href="{address}">A-7.pdf' in page
    assert coordinator.get(address).content == content


def test_the_key_of_a_link_reaches_the_recipient_and_stands_in_no_kept_words(server, coordinator):
    message = put("link", template="link", secret=KEY)
    seen = coordinator.get(reverse("outbox:detail", args=[message.pk])).content.decode()
    deliver_due()
    (sent,) = mail.outbox
    assert f"https://x/{KEY}/" in sent.body
    assert f"https://x/{KEY}/" in sent.alternatives[0][0]
    message.refresh_from_db()
    assert (message.status, message.secret) == ("sent", "")
    assert KEY not in seen + message.text + message.html + message.subject
    assert "https://x/[•••]/" in message.text


def test_a_repeat_carries_the_same_key(server):
    message = put("link", template="link", secret=KEY)
    server.answers = [ConnectionResetError()]
    deliver_due()
    message.refresh_from_db()
    assert (message.status, message.secret) == ("queued", KEY)
    deliver_due()
    assert KEY in mail.outbox[-1].body


def test_a_key_that_is_not_sent_is_forgotten(server):
    message = put("link", template="link", secret=KEY)
    suppress_message(message=message, why="signed on paper meanwhile")
    assert Message.objects.get().secret == ""
    with pytest.raises(IntegrityError), transaction.atomic():
        Message.objects.filter(pk=message.pk).update(secret=KEY)
