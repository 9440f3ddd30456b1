"""Everybody who signed gets the signed copy in their language, on their channel, once."""

from datetime import date
from io import BytesIO

import pytest
from django.core import mail
from django.utils import timezone
from pypdf import PdfReader

from people.agents import name_agent
from people.models import ContactPoint
from people.silence import fall_silent
from stewardship.agreements import services
from stewardship.agreements.choices import DocumentKind
from stewardship.agreements.models import Document
from stewardship.agreements.sealing import seal_agreement
from stewardship.agreements.services.copies import send_copies
from stewardship.common import seal as seals
from stewardship.outbox.delivery import deliver_due
from stewardship.outbox.models import EnclosedFile, Message
from tests.agreements.conftest import in_force, offered, sign

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("one_print")]


def sealed_copy(agreement) -> Document:
    """Stands for the sealed file: what is in it is the matter of test_sealing.py."""
    document = agreement.documents.get(kind=DocumentKind.TO_SIGN)
    document.pk, document.kind = None, DocumentKind.SEALED
    document.file_name = f"{agreement.reference}-v1-signed.pdf"
    document.save()
    return document


def words(message) -> str:
    return " ".join(message.body.split())


class TestCopies:
    def test_each_signer_gets_it_on_their_channel(self, folk):
        document = sealed_copy(in_force(folk))
        messages = {m.to_name: m for m in send_copies(document=document)}
        assert {name: m.channel for name, m in messages.items()} == {
            "Ines Quist": "letter",  # she has a postal address only
            "Rosa Lind": "email",
        }
        deliver_due()
        (letter,) = mail.outbox
        assert letter.attachments == [
            ("A-2026-001-v1-signed.pdf", bytes(document.content), "application/pdf")
        ]
        assert "(agreement A-2026-001) is in force" in words(letter)
        assert "runs from Wed 1 Jul and ends on Tue 1 Jul 2031" in words(letter)

    def test_twice_is_once(self, folk):
        document = sealed_copy(in_force(folk))
        first, second = send_copies(document=document), send_copies(document=document)
        assert first == second
        assert (Message.objects.count(), EnclosedFile.objects.count()) == (2, 1)

    def test_on_paper_it_is_printed_behind_its_letter(self, folk, coordinator):
        document = sealed_copy(in_force(folk))
        send_copies(document=document)
        deliver_due()
        answer = coordinator.get("/letters/paper/letters.pdf")
        pages = [page.extract_text() for page in PdfReader(BytesIO(answer.content)).pages]
        assert len(pages) == 1 + document.pages
        assert "Your copy of agreement A-2026-001" in pages[0]
        assert f"{document.pages} pages. Keep it" in " ".join(pages[0].split())

    def test_in_the_readers_language_with_the_summary_only_where_it_is_in_it(self, folk):
        folk.program.language = "es"
        folk.program.save()
        document = sealed_copy(in_force(folk))
        send_copies(document=document)
        languages = {m.to_name: m.language for m in Message.objects.all()}
        assert languages == {"Ines Quist": "en", "Rosa Lind": "es"}
        summaries = {m.to_name: bool(m.context["summary"]) for m in Message.objects.all()}
        assert summaries == {"Ines Quist": True, "Rosa Lind": False}

    def test_a_file_is_no_text_message(self, folk):
        point = ContactPoint.objects.create(kind="phone", value="505-555-0133")
        point.people.add(folk.owner)
        folk.owner.channel = "text"
        folk.owner.save()
        document = sealed_copy(in_force(folk))
        send_copies(document=document)
        assert Message.objects.get(to_name="Ines Quist").channel == "letter"

    def test_whoever_handles_their_letters_gets_it(self, folk):
        name_agent(
            principal=folk.owner, agent=folk.landlord, scope="letters", starts_on=date(2026, 1, 1)
        )
        document = sealed_copy(in_force(folk))
        send_copies(document=document)
        message = Message.objects.get(to_name="Odile Farrow")
        assert message.context["for_another"] == "Ines Quist"

    def test_whoever_signed_for_another_gets_one_besides(self, folk):
        name_agent(
            principal=folk.owner,
            agent=folk.landlord,
            scope="signs",
            starts_on=date(2026, 1, 1),
            authority="power of attorney of 4 March 2025",
        )
        agreement, document = offered(folk)
        services.let_sign(party=agreement.parties.get(capacity="owner"), agent=folk.landlord)
        sign(agreement, document, "owner", typed_name="Odile Farrow")
        sign(agreement, document, "program")
        send_copies(document=sealed_copy(agreement))
        assert set(Message.objects.values_list("to_name", flat=True)) == {
            "Ines Quist",
            "Odile Farrow",
            "Rosa Lind",
        }

    def test_whom_nothing_reaches_is_named_once_in_the_history_and_on_the_page(
        self, folk, coordinator
    ):
        agreement = in_force(folk)
        fall_silent(person=folk.owner, why="dispute", on=date(2026, 7, 10))
        document = sealed_copy(agreement)
        for _twice in range(2):
            send_copies(document=document)
        assert [m.to_name for m in Message.objects.all()] == ["Rosa Lind"]
        said = [e.why for e in agreement.events.all() if "copy" in e.why]
        assert said == ["No address for a copy to Ines Quist: hand it over."]
        page = coordinator.get(f"/agreements/{agreement.pk}/signing/").content.decode()
        assert page.count("No copy was sent: hand it over") == 1


def test_t08_a_signer_gets_what_was_promised_and_until_when_and_the_signed_copy_without_a_log_in(
    folk, settings, tmp_path
):
    settings.SEAL_FILE, settings.SEAL_PASSPHRASE = tmp_path / "seal.p12", "gravel and willow"
    seals.make_seal(name="Palo Azul Basin Keepers: seal")
    agreement, document = offered(folk, ("landlord", "owner"), ("program", "program"))
    services.record_signature(
        party=agreement.parties.get(capacity="owner"),
        document=document,
        method="screen",
        typed_name="Odile Farrow",
        consent="I agree to sign electronically.",
        at=timezone.now(),
    )
    sign(agreement, document, "program")
    copy = seal_agreement(agreement=agreement)
    deliver_due()
    letter = next(one for one in mail.outbox if "odile.farrow@example.org" in one.to[0])
    assert "runs from" in words(letter)
    for line in agreement.wording.summary.splitlines():
        assert line.strip() in words(letter)
    ((name, content, kind),) = letter.attachments
    assert (name, kind) == (copy.file_name, "application/pdf")
    assert content == bytes(copy.content)
    pages = "\n".join(page.extract_text() for page in PdfReader(BytesIO(content)).pages)
    assert "Odile Farrow" in pages
