"""The page that says who signs next, and signing on the coordinator's device handed over."""

import re
from datetime import date, timedelta

import pytest
import time_machine
from django.core.files.uploadedfile import SimpleUploadedFile
from django.utils import translation

from people.agents import name_agent
from people.models import Program
from stewardship.agreements import services
from stewardship.agreements.choices import AgreementState
from stewardship.agreements.consent import consent_of
from stewardship.agreements.models import Signature, SigningLink
from tests import factory
from tests.agreements.conftest import in_force, offered, sign

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("one_print")]


def text_of(response) -> str:
    return " ".join(response.content.decode().split())


def shown(response) -> dict[str, str]:
    """What the page's form of a signature carries."""
    form = response.context["form"]
    return {
        "do": "sign",
        "shown_document": form.initial["shown_document"],
        "shown_consent": form.initial["shown_consent"],
    }


class Screen:
    """The pages of one agreement's signers."""

    def __init__(self, agreement, document) -> None:
        self.agreement, self.document = agreement, document

    def party(self, capacity: str = "owner"):
        return self.agreement.parties.get(capacity=capacity)

    def address(self, capacity: str = "owner", page: str = "screen") -> str:
        return f"/agreements/{self.agreement.pk}/sign/{self.party(capacity).pk}/{page}/"

    @property
    def signatures(self):
        """Those of this agreement; the cast has signed others."""
        return Signature.objects.filter(party__agreement=self.agreement)

    @property
    def hub(self) -> str:
        return f"/agreements/{self.agreement.pk}/signing/"

    def act(self, action: str, capacity: str = "owner") -> str:
        return f"/agreements/parties/{self.party(capacity).pk}/{action}/"


@pytest.fixture
def screen(folk) -> Screen:
    return Screen(*offered(folk))


class TestTheScreenHandedOver:
    def test_it_shows_the_agreement_and_nothing_else_of_the_book(self, screen, coordinator):
        response = coordinator.get(screen.address())
        words = text_of(response)
        assert "Contents" not in words
        assert 'href="/today/"' not in words
        assert set(re.findall(r'href="(/[^"]+)"', words)) - {"/static/"} <= {
            *(link for link in re.findall(r'href="(/static[^"]+)"', words)),
            f"/agreements/documents/{screen.document.pk}/",
            screen.hub,
        }
        assert screen.document.sha256 in words

    def test_summary_and_wording_are_read_on_the_page(self, screen, coordinator):
        words = text_of(coordinator.get(screen.address()))
        for line in screen.document.sheet["summary"]:
            assert line in words.replace("&#x27;", "'")
        blocks = screen.document.sheet["blocks"]
        assert blocks
        assert blocks[-1]["text"][:40] in words
        assert "OAK-7 A" in words

    def test_a_signer_is_told_what_consent_means_but_not_to_have_counsel_review(
        self, screen, coordinator
    ):
        words = text_of(coordinator.get(screen.address()))
        # 15 USC 7001(c)(1)(B)-(C): paper as a choice, withdrawal, scope, updating addresses, paper copies and their cost,
        # what is needed to read it
        for told in (
            "You may sign on paper instead. It costs nothing",
            "Until you press the button you can change your mind",
            "This consent is for signing this one agreement",
            "Has your address changed",
            "on paper whenever you ask, at no cost",
            "something that opens a PDF",
        ):
            assert told in words
        assert "have counsel review" not in words
        assert "have counsel review" in text_of(coordinator.get(screen.hub))

    def test_signing_ends_with_thanks_and_asks_to_give_the_device_back(self, screen, coordinator):
        opened = coordinator.get(screen.address())
        sent = shown(opened) | {"agree": "on", "typed_name": "Ines Quist"}
        response = coordinator.post(screen.address(), sent, follow=True)
        words = text_of(response)
        assert "Thank you, Ines" in words
        assert "Please give the device back" in words
        assert "Others have still to sign" in words
        signature = screen.signatures.get()
        assert signature.consent == opened.context["consent"].text
        assert signature.consent.endswith("is my signature, as on paper.")
        assert (signature.document, signature.recorded_by.email) == (
            screen.document,
            "rosa.lind@example.org",
        )

    def test_the_last_one_is_told_that_it_is_in_force(self, screen, coordinator):
        sign(screen.agreement, screen.document, "owner")
        address = screen.address("program")
        sent = shown(coordinator.get(address)) | {"agree": "on", "typed_name": "Rosa Lind"}
        assert "Everybody has signed" in text_of(coordinator.post(address, sent, follow=True))
        screen.agreement.refresh_from_db()
        assert screen.agreement.state == AgreementState.IN_FORCE

    def test_in_spanish_the_words_agreed_to_are_spanish_words(self, folk, screen, coordinator):
        folk.owner.language = "es"
        folk.owner.save()
        opened = coordinator.get(screen.address())
        assert opened["Content-Language"] == "es"
        assert '<html lang="es">' in text_of(opened)
        sent = shown(opened) | {"agree": "on", "typed_name": "Ines Quist"}
        coordinator.post(screen.address(), sent)
        with translation.override("es"):
            assert screen.signatures.get().consent == consent_of(Program.get()).text

    def test_the_language_can_be_switched_and_the_document_keeps_its_own(self, screen, coordinator):
        response = coordinator.get(screen.address() + "?language=es")
        words = text_of(response)
        assert '<html lang="es">' in words
        assert response.context["translated"], "the summary in Spanish, as a help"
        whole = words[words.index('<div lang="en">') : words.index('id="sign"')]
        assert "What this covers" in whole, "in its own language, headings and all"
        assert f'action="{screen.address()}?language=es#sign"' in words
        assert coordinator.get(screen.address() + "?language=xx")["Content-Language"] == "en"

    def test_without_tick_or_name_each_is_told_at_its_field_and_what_was_typed_stays(
        self, screen, coordinator
    ):
        opened = shown(coordinator.get(screen.address()))
        response = coordinator.post(screen.address(), opened | {"typed_name": "Ines Quist"})
        assert response.status_code == 422
        assert response.context["form"].errors == {
            "agree": ["Tick this first, or ask to sign on paper."]
        }
        assert 'value="Ines Quist"' in text_of(response)
        response = coordinator.post(screen.address(), opened | {"agree": "on", "typed_name": " "})
        assert response.context["form"].errors == {
            "typed_name": ["Type your name: that is your signature."]
        }
        assert not screen.signatures.exists()

    def test_the_name_of_somebody_else_is_refused_in_a_sentence(self, screen, coordinator):
        sent = shown(coordinator.get(screen.address())) | {
            "agree": "on",
            "typed_name": "Bram Okello",
        }
        response = coordinator.post(screen.address(), sent)
        assert response.status_code == 409
        assert "The agreement names Ines Quist" in text_of(response)
        assert 'value="Bram Okello"' in text_of(response)

    def test_a_page_that_shows_an_outdated_document_signs_nothing(self, screen, coordinator):
        sent = shown(coordinator.get(screen.address())) | {
            "agree": "on",
            "typed_name": "Ines Quist",
        }
        newer = services.offer_agreement(agreement=screen.agreement, on=factory.TODAY)
        # one print serves all in these tests, so that the bytes have to be made another's
        newer.sha256 = "1" * 64
        newer.save()
        response = coordinator.post(screen.address(), sent)
        words = text_of(response)
        assert response.status_code == 422
        assert "has changed since this page was opened. Read it once more" in words
        assert 'value="Ines Quist"' in words
        assert "checked" not in words
        assert not screen.signatures.exists()
        again = shown(response) | {
            "agree": "on",
            "typed_name": "Ines Quist",
            "shown_document": "1" * 64,
        }
        assert coordinator.post(screen.address(), again).status_code == 302
        assert screen.signatures.get().document == newer

    def test_a_consent_worded_otherwise_is_not_taken_for_this_one(self, screen, coordinator):
        sent = shown(coordinator.get(screen.address())) | {
            "agree": "on",
            "typed_name": "Ines Quist",
            "shown_consent": "0" * 64,
        }
        response = coordinator.post(screen.address(), sent)
        assert "has changed since this page was opened" in text_of(response)
        assert not screen.signatures.exists()

    def test_two_tabs_signing_make_one_signature_and_the_second_is_told(self, screen, coordinator):
        first = shown(coordinator.get(screen.address())) | {
            "agree": "on",
            "typed_name": "Ines Quist",
        }
        assert coordinator.post(screen.address(), first).status_code == 302
        second = coordinator.post(screen.address(), first)
        assert second.status_code == 409
        assert "The signature of Ines Quist (Owner) has been recorded already" in text_of(second)
        assert screen.signatures.count() == 1

    def test_what_stands_in_the_way_is_told_without_the_books_words(
        self, folk, screen, coordinator
    ):
        factory.make_basin(folk.site, "B", plants=False)
        response = coordinator.get(screen.address())
        assert response.status_code == 409
        assert "You get a new one to sign" in text_of(response)
        assert "offer a new one" in text_of(coordinator.get(screen.hub))

    def test_whoever_does_not_want_to_sign_says_so_there(self, screen, coordinator):
        response = coordinator.post(
            screen.address(), {"do": "decline", "why": "too near the gate"}, follow=True
        )
        assert "You did not want to sign" in text_of(response)
        assert "Please give the device back" in text_of(response)
        assert screen.party().declined_why == "too near the gate"
        assert "declined" in text_of(coordinator.get(screen.hub))

    def test_strangers_and_other_agreements_parties_are_not_found(self, folk, screen, coordinator):
        other = in_force(folk)
        party = other.parties.first().pk
        assert (
            coordinator.get(f"/agreements/{screen.agreement.pk}/sign/{party}/screen/").status_code
            == 404
        )
        assert coordinator.get(screen.address(page="thanks")).status_code == 404


class TestWhoSignsNext:
    def test_it_says_whose_turn_it_is_and_who_waits(self, screen, coordinator):
        words = text_of(coordinator.get(screen.hub))
        assert words.index("may sign now") < words.index("signs later")
        assert "Rosa Lind (Program) signs after the others. Still to sign: Ines Quist" in words
        assert words.count("Sign on this device") == 1
        assert "No e-mail reaches them" in words, "Ines Quist has a postal address only"

    def test_a_decline_in_the_future_is_told_at_its_form_and_stays_typed(self, screen, coordinator):
        prefix = f"decline-{screen.party().pk}"
        response = coordinator.post(
            screen.act("decline"), {f"{prefix}-on": "2026-09-01", f"{prefix}-why": "too near"}
        )
        assert response.status_code == 422
        assert "is not in the future" in text_of(response)
        assert 'value="too near"' in text_of(response)

    def test_declining_and_asking_again(self, screen, coordinator):
        prefix = f"decline-{screen.party().pk}"
        coordinator.post(
            screen.act("decline"), {f"{prefix}-on": "2026-07-10", f"{prefix}-why": "too near"}
        )
        words = text_of(coordinator.get(screen.hub))
        assert "too near" in words
        assert "Sign on this device" not in words
        coordinator.post(screen.act("again"))
        assert "Sign on this device" in text_of(coordinator.get(screen.hub))

    def test_somebody_with_the_right_signs_for_them(self, folk, screen, coordinator):
        name_agent(
            principal=folk.owner,
            agent=folk.tenant,
            scope="signs",
            starts_on=date(2026, 1, 1),
            authority="power of attorney of 4 March 2025",
        )
        assert "power of attorney of 4 March 2025" in text_of(coordinator.get(screen.hub))
        coordinator.post(screen.act("agent"), {f"agent-{screen.party().pk}-agent": folk.tenant.pk})
        words = text_of(coordinator.get(screen.address()))
        assert "Bram Okello" in words
        assert "for Ines Quist: power of attorney of 4 March 2025" in words

    def test_letting_the_offer_stand(self, screen, coordinator):
        address = f"/agreements/{screen.agreement.pk}/stands/"
        response = coordinator.post(address, {"until": "2026-07-01"})
        assert response.status_code == 422
        assert "That day has passed" in text_of(response)
        coordinator.post(address, {"until": "2026-07-16"})
        assert "The offer stands until" in text_of(coordinator.get(screen.hub))
        with time_machine.travel(factory.at(factory.TODAY + timedelta(days=2)), tick=False):
            words = text_of(coordinator.get(screen.hub))
            assert "Let it stand longer" in words
            assert "This offer stood until" in text_of(coordinator.get(screen.address()))

    def test_an_action_nobody_knows_is_not_found(self, screen, coordinator):
        assert coordinator.post(screen.act("frobnicate")).status_code == 404

    def test_it_takes_as_many_queries_for_many_parties_as_for_few(
        self, folk, coordinator, django_assert_max_num_queries
    ):
        few = Screen(
            *offered(folk, ("tenant", "tenant"), ("landlord", "landlord"), ("program", "program"))
        )
        with django_assert_max_num_queries(60):
            coordinator.get(few.hub)


def test_a_scan_that_is_neither_pdf_nor_picture_is_refused_and_nothing_typed_is_lost(
    screen, coordinator
):
    scan = SimpleUploadedFile("signed.pdf", b"PK\x03\x04 a zip", "application/pdf")
    response = coordinator.post(
        f"/agreements/parties/{screen.party().pk}/sign/",
        {
            "document": screen.document.pk,
            "signed_on": "2026-07-02",
            "typed_name": "Ines Quist",
            "original_kept_at": "Blue binder",
            "scan": scan,
        },
    )
    words = text_of(response)
    assert "That file is no PDF, PNG or JPEG; scan or photograph the page." in words
    assert 'value="Blue binder"' in words
    assert not screen.signatures.exists()
    assert not SigningLink.objects.exists()
