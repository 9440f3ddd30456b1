"""Signing by a link without a log-in: a GET changes nothing, a link opens one document once, and every other link says why not."""

import re
from datetime import timedelta

import pytest
import time_machine
from django.core import mail
from django.test import Client
from django.utils import timezone

from people.silence import fall_silent
from stewardship.agreements import services
from stewardship.agreements.models import Signature, SigningLink
from stewardship.agreements.services.links import GOOD_FOR, make_link
from stewardship.common.errors import Refused
from stewardship.outbox.delivery import deliver_due
from stewardship.outbox.models import Message
from tests import factory
from tests.agreements.conftest import offered, sign
from tests.agreements.test_signing_pages import Screen, shown, text_of

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("one_print")]


@pytest.fixture
def landlord(folk) -> Screen:
    """Odile Farrow has e-mail; a tenant signs too, and the program after both."""
    return Screen(
        *offered(folk, ("tenant", "tenant"), ("landlord", "landlord"), ("program", "program"))
    )


@pytest.fixture
def phone() -> Client:
    return Client()


def link_in(message) -> str:
    return re.search(r"http\S+(/agreements/by-link/\S+/)", message.body)[1]


def sent_link(screen: Screen, coordinator) -> str:
    coordinator.post(screen.act("link", "landlord"))
    deliver_due()
    return link_in(mail.outbox[-1])


def signing(page: str, phone: Client, name: str = "Odile Farrow") -> dict[str, str]:
    return shown(phone.get(page)) | {"agree": "on", "typed_name": name}


class TestALinkThatIsGood:
    def test_a_coordinators_click_sends_it_to_the_signer_alone(self, landlord, coordinator):
        page = sent_link(landlord, coordinator)
        (letter,) = mail.outbox
        assert letter.to == ["Odile Farrow <odile.farrow@example.org>"]
        assert "You are asked to sign it as landlord" in " ".join(letter.body.split())
        assert page in letter.alternatives[0][0]
        assert "Link sent" in text_of(coordinator.get(landlord.hub))

    def test_of_the_link_the_book_keeps_a_digest_only(self, landlord, coordinator):
        page = sent_link(landlord, coordinator)
        secret = page.rstrip("/").rpartition("/")[2]
        assert len(secret) >= 43, "256 bits in base64url (RFC 4648, section 5) are 43 characters"
        link, message = SigningLink.objects.get(), Message.objects.get()
        kept = f"{vars(link)} {vars(message)} {list(message.events.values())}"
        assert secret not in kept
        assert secret not in text_of(coordinator.get(f"/letters/{message.pk}/"))

    def test_opening_it_changes_nothing(self, landlord, coordinator, phone):
        page = sent_link(landlord, coordinator)
        assert phone.get(page).status_code == 200
        assert phone.get(page + "?language=es").status_code == 200
        assert phone.head(page).status_code == 200
        assert not landlord.signatures.exists()
        assert SigningLink.objects.get().used_at is None

    def test_it_signs_its_document_once_and_then_says_thanks(self, landlord, coordinator, phone):
        page = sent_link(landlord, coordinator)
        response = phone.post(page, signing(page, phone), follow=True)
        words = text_of(response)
        assert "Thank you, Odile" in words
        assert "give the device back" not in words
        signature = landlord.signatures.get()
        assert (signature.document, signature.recorded_by) == (landlord.document, None)
        assert SigningLink.objects.get().used_at == timezone.now()
        again = phone.post(page, {"do": "sign", "typed_name": "Odile Farrow", "agree": "on"})
        assert "Thank you, Odile" in text_of(again)
        assert landlord.signatures.count() == 1

    def test_the_page_shows_nothing_of_the_book_and_is_not_indexed(
        self, landlord, coordinator, phone
    ):
        response = phone.get(sent_link(landlord, coordinator))
        assert response["X-Robots-Tag"] == "noindex"
        assert "no-store" in response["Cache-Control"]
        words = text_of(response)
        assert "/account/login/" not in words
        assert "For the coordinator" not in words

    def test_the_very_document_is_read_without_a_log_in(self, landlord, coordinator, phone):
        page = sent_link(landlord, coordinator)
        response = phone.get(page + "document/")
        assert response.content == bytes(landlord.document.content)
        assert response["Content-Type"] == "application/pdf"

    def test_it_speaks_the_signers_language_and_switches(self, folk, landlord, coordinator, phone):
        folk.landlord.language = "es"
        folk.landlord.save()
        page = sent_link(landlord, coordinator)
        assert Message.objects.get().language == "es"
        assert phone.get(page)["Content-Language"] == "es"
        assert phone.get(page + "?language=en")["Content-Language"] == "en"

    def test_whoever_does_not_want_to_sign_says_so(self, landlord, coordinator, phone):
        page = sent_link(landlord, coordinator)
        words = text_of(phone.post(page, {"do": "decline", "why": "I sell"}, follow=True))
        assert "You did not want to sign" in words
        assert landlord.party("landlord").declined_why == "I sell"

    def test_a_slip_is_told_and_what_was_typed_stays(self, landlord, coordinator, phone):
        page = sent_link(landlord, coordinator)
        response = phone.post(page, signing(page, phone, "Ines Quist"))
        assert response.status_code == 409
        assert "The agreement names Odile Farrow" in text_of(response)
        assert 'value="Ines Quist"' in text_of(response)

    def test_a_post_from_elsewhere_signs_nothing(self, landlord, coordinator, phone):
        page = sent_link(landlord, coordinator)
        sent = signing(page, phone)
        assert Client(enforce_csrf_checks=True).post(page, sent).status_code == 403
        assert not landlord.signatures.exists()


class TestALinkThatOpensNothing:
    def test_a_forged_one_or_a_part_of_one(self, landlord, coordinator, phone):
        page = sent_link(landlord, coordinator)
        for forged in (page[:-6] + "/", "/agreements/by-link/nonsense/"):
            response = phone.get(forged)
            assert response.status_code == 404
            assert "This link does not work" in text_of(response)
            assert "Send me a new link" in text_of(response)
            assert phone.post(forged, {"do": "sign"}).status_code == 404
            assert phone.get(forged + "document/").status_code == 404

    def test_one_that_has_grown_old(self, landlord, coordinator, phone):
        page = sent_link(landlord, coordinator)
        sent = signing(page, phone)
        with time_machine.travel(timezone.now() + GOOD_FOR, tick=False):
            response = phone.post(page, sent)
            assert response.status_code == 410
            assert "work for two weeks" in text_of(response)
            assert phone.get(page + "document/").status_code == 404
        assert not landlord.signatures.exists()

    def test_one_with_a_newer_one_beside_it(self, landlord, coordinator, phone):
        first = sent_link(landlord, coordinator)
        second = sent_link(landlord, coordinator)
        assert phone.get(first).status_code == 410
        assert phone.get(second).status_code == 200

    def test_one_that_was_withdrawn(self, landlord, coordinator, phone):
        page = sent_link(landlord, coordinator)
        coordinator.post(landlord.act("withdraw", "landlord"))
        assert phone.get(page).status_code == 410

    def test_one_to_an_outdated_document(self, landlord, coordinator, phone):
        page = sent_link(landlord, coordinator)
        sent = signing(page, phone)
        services.offer_agreement(agreement=landlord.agreement, on=factory.TODAY)
        response = phone.post(page, sent)
        assert response.status_code == 410
        assert "There is a newer document of this agreement" in text_of(response)
        assert not landlord.signatures.exists()

    def test_one_of_somebody_who_has_signed_on_paper_since(self, landlord, coordinator, phone):
        page = sent_link(landlord, coordinator)
        sign(landlord.agreement, landlord.document, "landlord")
        response = phone.get(page)
        assert response.status_code == 410
        assert "This is signed" in text_of(response)
        assert "Send me a new link" not in text_of(response)

    def test_one_to_an_agreement_that_has_ended(self, landlord, coordinator, phone):
        page = sent_link(landlord, coordinator)
        services.end_agreement(agreement=landlord.agreement, on=factory.TODAY, why="given up")
        response = phone.get(page)
        assert "has ended; it is not signed any more" in text_of(response)
        assert "Send me a new link" not in text_of(response)

    def test_one_that_was_used_says_thanks_for_a_while_and_then_that_it_is_signed(
        self, landlord, coordinator, phone
    ):
        page = sent_link(landlord, coordinator)
        phone.post(page, signing(page, phone))
        with time_machine.travel(timezone.now() + GOOD_FOR, tick=False):
            response = phone.get(page)
        assert response.status_code == 410
        assert "has been recorded already" in text_of(response)


class TestAskingForANewOne:
    def test_an_old_one_sends_a_new_one_to_the_address_that_we_have(
        self, landlord, coordinator, phone
    ):
        page = sent_link(landlord, coordinator)
        secret = page.rstrip("/").rpartition("/")[2]
        with time_machine.travel(timezone.now() + GOOD_FOR, tick=False):
            for _twice in range(2):
                response = phone.post("/agreements/by-link/", {"secret": secret})
                assert "is on its way" in text_of(response)
            deliver_due()
            assert len(mail.outbox) == 2, "at most one a day"
            assert phone.get(link_in(mail.outbox[-1])).status_code == 200

    def test_an_address_gets_one_for_what_it_was_asked_to_sign(self, landlord, coordinator, phone):
        sent_link(landlord, coordinator)
        phone.post("/agreements/by-link/", {"email": " Odile.Farrow@example.org "})
        deliver_due()
        assert len(mail.outbox) == 2
        assert mail.outbox[-1].to == ["Odile Farrow <odile.farrow@example.org>"]

    @pytest.mark.parametrize("email", ["nobody@example.org", "rosa.lind@example.org"])
    def test_others_learn_nothing(self, landlord, coordinator, phone, email):
        sent_link(landlord, coordinator)
        known = phone.post("/agreements/by-link/", {"email": "odile.farrow@example.org"})
        strange = phone.post("/agreements/by-link/", {"email": email})
        assert text_of(known) == text_of(strange)
        assert Message.objects.filter(template="sign-link").count() == 2

    def test_something_that_is_no_address_is_told_at_the_field(self, phone, folk):
        response = phone.post("/agreements/by-link/", {"email": "odile"})
        assert response.status_code == 422
        assert 'value="odile"' in text_of(response)

    def test_nothing_is_sent_once_it_is_signed(self, landlord, coordinator, phone):
        page = sent_link(landlord, coordinator)
        sign(landlord.agreement, landlord.document, "landlord")
        phone.post("/agreements/by-link/", {"secret": page.rstrip("/").rpartition("/")[2]})
        assert Message.objects.filter(template="sign-link").count() == 1


class TestWhoGetsNoLink:
    def test_somebody_without_e_mail(self, landlord, coordinator):
        response = coordinator.post(landlord.act("link", "tenant"), follow=True)
        assert "No e-mail reaches Bram Okello" in text_of(response)
        assert not SigningLink.objects.exists()

    def test_somebody_whose_turn_it_is_not(self, landlord, coordinator):
        response = coordinator.post(landlord.act("link", "program"), follow=True)
        assert "signs after the others" in text_of(response)
        assert not SigningLink.objects.exists()

    def test_somebody_whom_nobody_writes_to(self, folk, landlord):
        fall_silent(person=folk.landlord, why="dispute", on=factory.TODAY)
        with pytest.raises(Refused, match="No e-mail reaches Odile Farrow"):
            services.send_link(party=landlord.party("landlord"))

    def test_a_dead_address(self, folk, landlord):
        folk.landlord.contact_points.update(dead_since=factory.TODAY)
        with pytest.raises(Refused, match="No e-mail reaches"):
            services.send_link(party=landlord.party("landlord"))


def test_a_link_is_good_for_two_weeks_or_as_long_as_the_offer_stands(folk, landlord, coordinator):
    services.let_stand(agreement=landlord.agreement, until=factory.TODAY + timedelta(days=2))
    page = sent_link(landlord, coordinator)
    assert "works until Fri 17 Jul" in " ".join(mail.outbox[-1].body.split())
    with time_machine.travel(factory.at(factory.TODAY + timedelta(days=3)), tick=False):
        response = Client().get(page)
        assert response.status_code == 409
        assert "This offer stood until Fri 17 Jul" in text_of(response)


def test_a_link_used_in_two_tabs_signs_once(landlord):
    link, _secret = make_link(party=landlord.party("landlord"))
    facts = {
        "party": landlord.party("landlord"),
        "document": landlord.document,
        "method": "screen",
        "typed_name": "Odile Farrow",
        "consent": "I agree.",
        "at": timezone.now(),
        "link": link,
    }
    services.record_signature(**facts)
    with pytest.raises(Refused, match="has been recorded already"):
        services.record_signature(**facts)
    other, _secret = make_link(party=landlord.party("tenant"))
    services.decline(party=landlord.party("tenant"), on=factory.TODAY)
    services.ask_again(party=landlord.party("tenant"))
    facts |= {"party": landlord.party("tenant"), "typed_name": "Bram Okello", "link": other}
    with pytest.raises(Refused, match="opens nothing any more"):
        services.record_signature(**facts)
    assert Signature.objects.filter(party__agreement=landlord.agreement).count() == 1
