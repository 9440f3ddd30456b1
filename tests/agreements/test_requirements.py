"""What an agreement needs besides signatures: asked for, there, run out, renewed; incomplete as a named state."""

from datetime import date, timedelta

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import IntegrityError, transaction

from people.models import Organisation
from stewardship.agreements import services
from stewardship.agreements.choices import DocumentKind, InstrumentKind
from stewardship.agreements.lacks import incomplete_words, lacks
from stewardship.agreements.models import Agreement, Requirement
from stewardship.common.errors import Refused
from tests import factory
from tests.agreements.conftest import OFFERED_ON, drafted, in_force, offered, sign
from tests.agreements.test_scans import pdf

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("one_print")]

COVENANT = {"instrument": InstrumentKind.COVENANT}
OWNER_AND_AGENCY = (("owner", "owner"), ("officer", "agency_officer"))
TODAY = factory.TODAY


def text_of(response) -> str:
    return " ".join(response.content.decode().split())


@pytest.fixture
def covenant(folk):
    return in_force(folk, *OWNER_AND_AGENCY, **COVENANT)


@pytest.fixture
def number(covenant) -> Requirement:
    return covenant.requirements.get(kind="recording")


class TestWhatInstrumentsAskFor:
    def test_a_covenant_asks_for_the_recorders_number_within_14_days(self, number):
        # Henderson NC, Code of Ordinances § 42-240.3: the recorded copy is back within 14 days
        assert number.due_on == OFFERED_ON + timedelta(days=14)

    def test_a_licence_asks_an_organisation_for_its_insurance_and_a_home_for_nothing(self, folk):
        licence = {"instrument": InstrumentKind.LICENCE}
        home = in_force(folk, *OWNER_AND_AGENCY, **licence)
        assert not home.requirements.exists()
        body = Organisation.objects.create(name="Alder Row Owners", kind="condo")
        draft = services.draft_agreement(sites=[folk.site], **licence)
        services.add_party(agreement=draft, person=folk.owner, capacity="owner", organisation=body)
        services.add_party(agreement=draft, person=folk.officer, capacity="agency_officer")
        document = services.offer_agreement(agreement=draft, on=OFFERED_ON)
        for capacity in ("owner", "agency_officer"):
            sign(draft, document, capacity)
        (asked,) = draft.requirements.all()
        assert (asked.kind, asked.due_on) == ("insurance", OFFERED_ON + timedelta(days=30))
        # the organisation holds the ground, not the person who signed for it
        assert draft.responsibilities.get(role="does").organisation == body

    def test_a_care_agreement_asks_for_nothing_besides(self, folk):
        assert not in_force(folk).requirements.exists()


class TestIncompleteIsANamedState:
    def test_in_words_with_what_is_missing_and_who_is_asked(self, covenant):
        assert incomplete_words(lacks(covenant, on=TODAY)) == (
            "Incomplete: missing Recorder’s number; asked: Sam Orr"
        )

    def test_a_missing_signature_is_one_too(self, folk):
        agreement, document = offered(folk)
        sign(agreement, document, "program")
        assert incomplete_words(lacks(agreement, on=TODAY)) == (
            "Incomplete: missing the owner’s signature; asked: Ines Quist"
        )

    def test_on_its_page_in_the_list_at_the_site_and_on_today(self, folk, covenant, coordinator):
        whole = in_force(folk)
        words = "Incomplete: missing Recorder’s number; asked: Sam Orr."
        for address in (f"/agreements/{covenant.pk}/", "/sites/OAK-7/", "/today/"):
            assert words in text_of(coordinator.get(address)), address
        response = coordinator.get("/agreements/?state=incomplete")
        assert [row.record for row in response.context["table"].rows] == [covenant]
        assert "Incomplete" in text_of(response)
        response = coordinator.get("/agreements/?missing=recording")
        assert [row.record for row in response.context["table"].rows] == [covenant]
        assert "Incomplete" not in text_of(coordinator.get(f"/agreements/{whole.pk}/"))

    def test_an_ended_agreement_lacks_nothing(self, covenant):
        services.end_agreement(agreement=covenant, on=TODAY, why="Replaced")
        covenant.refresh_from_db()
        assert lacks(covenant, on=TODAY) == []


class TestItIsThere:
    def test_with_its_number_and_scan_the_agreement_is_complete(
        self, covenant, number, coordinator
    ):
        scan = SimpleUploadedFile("recorded.pdf", pdf(3), "application/pdf")
        response = coordinator.post(
            f"/agreements/asked/{number.pk}/",
            {"on": "2026-07-14", "number": "2026-004711", "paper": scan},
            follow=True,
        )
        page = text_of(response)
        assert "Incomplete" not in page
        assert "2026-004711" in page
        paper = covenant.documents.get(kind=DocumentKind.SUPPORT)
        assert (paper.pages, paper.content_type) == (3, "application/pdf")
        assert "There: Recorder’s number, number 2026-004711" in page

    def test_a_scan_that_is_none_is_told_at_the_field_and_the_number_stays(
        self, number, coordinator
    ):
        scan = SimpleUploadedFile("recorded.pdf", b"hello", "application/pdf")
        response = coordinator.post(
            f"/agreements/asked/{number.pk}/",
            {"on": "2026-07-14", "number": "2026-004711", "paper": scan},
        )
        assert response.status_code == 422
        assert "paper" in response.context["form"].errors
        assert "2026-004711" in text_of(response)
        number.refresh_from_db()
        assert number.met_on is None

    @pytest.mark.parametrize(
        ("facts", "words"),
        [
            ({"on": TODAY + timedelta(days=1), "number": "1"}, "yet to come"),
            ({"on": TODAY}, "number under which the recorder keeps it"),
            ({"on": TODAY, "number": "1", "valid_until": OFFERED_ON}, "no longer valid"),
        ],
    )
    def test_what_cannot_be_is_refused(self, number, facts, words):
        with pytest.raises(Refused, match=words):
            services.meet_requirement(requirement=number, **facts)

    def test_a_certificate_runs_out_and_is_renewed_and_the_old_day_stays_in_the_history(
        self, folk, coordinator
    ):
        agreement = in_force(folk)
        asked = services.add_requirement(agreement=agreement, kind="insurance")
        with pytest.raises(Refused, match="until when the certificate is valid"):
            services.meet_requirement(requirement=asked, on=TODAY)
        services.meet_requirement(
            requirement=asked, on=date(2026, 7, 2), number="P-1", valid_until=date(2026, 7, 14)
        )
        (lack,) = lacks(Agreement.objects.with_signing().get(pk=agreement.pk), on=TODAY)
        assert str(lack) == "Insurance certificate, ran out Tue 14 Jul: Ines Quist"
        with pytest.raises(Refused, match="valid until Tue 14 Jul is here already"):
            services.meet_requirement(
                requirement=asked, on=date(2026, 7, 10), valid_until=date(2026, 7, 13)
            )
        services.meet_requirement(requirement=asked, on=TODAY, valid_until=date(2027, 7, 14))
        said = [event.why for event in agreement.events.all()]
        assert any("valid until Tue 14 Jul" in why for why in said)
        assert any("valid until Wed 14 Jul 2027" in why for why in said)
        assert not lacks(Agreement.objects.with_signing().get(pk=agreement.pk), on=TODAY)


class TestAskingAndDropping:
    def test_something_of_ones_own_is_asked_for_in_words(self, folk, coordinator):
        agreement = drafted(folk, ("owner", "owner"))
        address = f"/agreements/{agreement.pk}/ask/"
        response = coordinator.post(address, {"kind": "other", "words": " "})
        assert "Say in a few words what is needed." in text_of(response)
        coordinator.post(
            address, {"kind": "other", "words": "Bank’s consent", "due_on": "2026-08-01"}
        )
        assert "Bank’s consent: Ines Quist" in text_of(
            coordinator.get(f"/agreements/{agreement.pk}/")
        )
        assert "asked for already" in text_of(
            coordinator.post(address, {"kind": "other", "words": "bank’s consent"})
        )

    def test_not_needed_after_all_with_a_reason(self, covenant, number, coordinator):
        address = f"/agreements/asked/{number.pk}/drop/"
        assert coordinator.post(address, {"why": ""}).status_code == 422
        coordinator.post(address, {"why": "The county waives it"})
        assert not covenant.requirements.exists()
        assert "The county waives it" in covenant.events.last().why

    def test_what_is_there_is_not_dropped(self, number):
        services.meet_requirement(requirement=number, on=TODAY, number="1")
        with pytest.raises(Refused, match="is there already"):
            services.drop_requirement(requirement=number, why="x")

    def test_nothing_is_asked_under_an_ended_agreement(self, covenant, number):
        services.end_agreement(agreement=covenant, on=TODAY, why="x")
        with pytest.raises(Refused, match="has ended"):
            services.add_requirement(agreement=covenant, kind="consent")
        with pytest.raises(Refused, match="has ended"):
            services.meet_requirement(requirement=number, on=TODAY, number="1")


class TestTheConstraintsBothWays:
    def test_the_kind_is_known(self, covenant):
        for kind in ("consent", "insurance", "recording", "transfer"):
            Requirement.objects.create(agreement=covenant, kind=kind)
        with pytest.raises(IntegrityError), transaction.atomic():
            Requirement.objects.create(agreement=covenant, kind="blessing")

    def test_something_else_says_what(self, covenant):
        Requirement.objects.create(agreement=covenant, kind="other", words="Bank’s consent")
        with pytest.raises(IntegrityError), transaction.atomic():
            Requirement.objects.create(agreement=covenant, kind="other")

    def test_it_is_not_valid_until_before_it_was_there(self, number):
        rows = Requirement.objects.filter(pk=number.pk)
        rows.update(met_on=TODAY, valid_until=TODAY)
        rows.update(met_on=TODAY, valid_until=None)
        with pytest.raises(IntegrityError), transaction.atomic():
            rows.update(met_on=TODAY, valid_until=TODAY - timedelta(days=1))
