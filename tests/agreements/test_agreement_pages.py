"""The pages for agreements: list, one agreement, recording a signature, ending; and no way around the gate in the repair pages."""

from datetime import date

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test.utils import CaptureQueriesContext

from sites.choices import Stage
from stewardship.agreements import services
from stewardship.agreements.choices import AgreementState, InstrumentKind
from stewardship.agreements.models import Agreement, Document, Signature, Wording
from tests import factory
from tests.agreements.conftest import OFFERED_ON, drafted, in_force, offered, sign
from tests.agreements.test_scans import pdf

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("one_print")]


def text_of(response) -> str:
    return " ".join(response.content.decode().split())


def posted(document, **changes) -> dict:
    return {
        "document": document.pk,
        "signed_on": OFFERED_ON.isoformat(),
        "typed_name": "Ines Quist",
        "original_kept_at": "Blue binder",
    } | changes


class TestTheList:
    def test_it_shows_states_in_words_and_what_is_missing(self, folk, coordinator):
        agreement, document = offered(folk)
        sign(agreement, document, "owner")
        page = text_of(coordinator.get("/agreements/"))
        assert agreement.reference in page
        assert "Offered" in page
        assert "the program’s signature: Rosa Lind" in page

    def test_what_is_begun_and_not_finished_waits_above(self, folk, coordinator):
        agreement = drafted(folk, ("owner", "owner"))
        page = text_of(coordinator.get("/agreements/"))
        assert "Begun and not finished" in page
        assert f"/onboard/{agreement.reference}/" in page

    @pytest.mark.parametrize(
        ("query", "found"),
        [
            ("state=offered", True),
            ("state=ended", False),
            ("instrument=care_agreement", True),
            ("instrument=covenant", False),
            ("missing=anything", True),
            ("missing=program", True),
            ("missing=tenant", False),
            ("q=quist", True),
            ("q=OAK-7", True),
            ("q=nowhere", False),
        ],
    )
    def test_the_filters(self, folk, coordinator, query, found):
        agreement, _ = offered(folk)
        response = coordinator.get(f"/agreements/?{query}")
        rows = [row.record for row in response.context["table"].rows]
        assert (agreement in rows) is found

    def test_an_agreement_whose_term_is_over_says_so(self, folk, coordinator):
        agreement = in_force(folk)
        Agreement.objects.filter(pk=agreement.pk).update(ends_on=factory.TODAY)
        assert "Ran out" in text_of(coordinator.get("/agreements/"))

    def test_more_agreements_cost_no_more_queries(self, folk, coordinator):
        drafted(folk, ("owner", "owner"))

        def count() -> int:
            with CaptureQueriesContext(connection) as seen:
                coordinator.get("/agreements/?missing=anything")
            return len(seen)

        before = count()
        for _ in range(6):
            drafted(folk, ("owner", "owner"), ("tenant", "tenant"), ("program", "program"))
        assert count() == before

    def test_it_downloads_as_csv(self, folk, coordinator):
        agreement, _ = offered(folk)
        rows = b"".join(coordinator.get("/agreements/?_export=csv").streaming_content).decode()
        assert agreement.reference in rows
        assert "Ines Quist (Owner)" in rows


class TestOneAgreement:
    def test_t08_the_plain_summary_stands_beside_the_document(self, folk, coordinator):
        agreement, document = offered(folk)
        page = text_of(coordinator.get(f"/agreements/{agreement.pk}/"))
        assert "You look after the basin beside your property" in page
        assert f"/agreements/documents/{document.pk}/" in page

    def test_it_says_what_is_missing_and_who_is_asked(self, folk, coordinator):
        agreement, _ = offered(
            folk, ("tenant", "tenant"), ("landlord", "landlord"), ("program", "program")
        )
        page = text_of(coordinator.get(f"/agreements/{agreement.pk}/"))
        assert "The landlord’s consent: Odile Farrow" in page
        assert f"/people/{folk.landlord.pk}/" in page

    def test_an_outdated_document_is_marked(self, folk, coordinator):
        agreement, _ = offered(folk)
        services.offer_agreement(agreement=agreement, on=OFFERED_ON)
        page = text_of(coordinator.get(f"/agreements/{agreement.pk}/"))
        assert page.count("outdated") == 1

    def test_strangers_and_reviewers_do_not_find_it(self, folk, client_of):
        agreement, document = offered(folk)
        for role in ("stranger", "reviewer", "volunteer", "reader"):
            for address in (
                "/agreements/",
                f"/agreements/{agreement.pk}/",
                f"/agreements/documents/{document.pk}/",
                f"/agreements/parties/{agreement.parties.first().pk}/sign/",
            ):
                assert client_of(role).get(address).status_code == 404, (role, address)


class TestRecordingASignature:
    @pytest.fixture
    def party(self, folk):
        agreement, self.document = offered(folk)
        return agreement.parties.get(capacity="owner")

    def test_the_last_one_brings_it_into_force_and_offers_to_build(self, folk, coordinator, party):
        agreement = party.agreement
        sign(agreement, self.document, "program")
        scan = SimpleUploadedFile("signed.pdf", pdf(5), "application/pdf")
        response = coordinator.post(
            f"/agreements/parties/{party.pk}/sign/",
            posted(self.document, scan=scan),
            follow=True,
        )
        assert "Everybody has signed" in text_of(response)
        assert "Mark as built" in text_of(response)
        agreement.refresh_from_db()
        assert agreement.state == AgreementState.IN_FORCE
        assert Signature.objects.get(party=party).scan.pages == 5

    def test_a_get_changes_nothing(self, coordinator, party):
        before = Signature.objects.count(), Document.objects.count()
        assert coordinator.get(f"/agreements/parties/{party.pk}/sign/").status_code == 200
        assert (Signature.objects.count(), Document.objects.count()) == before

    def test_a_scan_that_is_none_is_told_at_the_field_and_nothing_typed_is_lost(
        self, coordinator, party
    ):
        scan = SimpleUploadedFile("signed.pdf", b"not really", "application/pdf")
        response = coordinator.post(
            f"/agreements/parties/{party.pk}/sign/", posted(self.document, scan=scan)
        )
        assert response.context["form"].errors["scan"] == [
            "That file is no PDF, PNG or JPEG; scan or photograph the page."
        ]
        assert "Blue binder" in text_of(response)
        assert not Signature.objects.filter(party=party).exists()

    def test_two_tabs_record_one_signature(self, coordinator, party):
        address = f"/agreements/parties/{party.pk}/sign/"
        coordinator.get(address), coordinator.get(address)
        assert coordinator.post(address, posted(self.document)).status_code == 302
        second = coordinator.post(address, posted(self.document))
        assert "has been recorded already" in text_of(second)
        assert Signature.objects.filter(party=party).count() == 1

    def test_a_tab_that_shows_an_outdated_document_is_refused(self, coordinator, party):
        newer = services.offer_agreement(agreement=party.agreement, on=OFFERED_ON)
        response = coordinator.post(f"/agreements/parties/{party.pk}/sign/", posted(self.document))
        assert f"have {newer.file_name} signed" in text_of(response)
        assert not Signature.objects.filter(party=party).exists()

    def test_one_scan_may_serve_the_next_signer(self, coordinator, party):
        scan = SimpleUploadedFile("signed.pdf", pdf(5), "application/pdf")
        coordinator.post(f"/agreements/parties/{party.pk}/sign/", posted(self.document, scan=scan))
        kept = Document.objects.get(kind="signed")
        other = party.agreement.parties.get(capacity="program")
        coordinator.post(
            f"/agreements/parties/{other.pk}/sign/",
            posted(self.document, typed_name="Rosa Lind", same_scan=kept.pk),
        )
        assert Signature.objects.get(party=other).scan == kept


class TestEndingAndSelling:
    def test_an_end_with_its_reason(self, folk, coordinator):
        agreement = in_force(folk)
        coordinator.post(
            f"/agreements/{agreement.pk}/end/", {"on": "2026-07-10", "why": "They moved away"}
        )
        agreement.refresh_from_db()
        assert (agreement.state, agreement.ended_why) == (AgreementState.ENDED, "They moved away")

    def test_an_end_without_a_reason_or_before_it_began_is_told_at_the_field(
        self, folk, coordinator
    ):
        agreement = in_force(folk)
        for data, field in (
            ({"on": "2026-07-10", "why": ""}, "why"),
            ({"on": "2026-06-01", "why": "x"}, "on"),
        ):
            response = coordinator.post(f"/agreements/{agreement.pk}/end/", data)
            assert response.status_code == 422
            assert field in response.context["form"].errors

    def test_t01_a_sale_says_what_the_instrument_does(self, folk, coordinator):
        lapsing = in_force(folk)
        response = coordinator.post(
            f"/agreements/{lapsing.pk}/sale/", {"sold_on": "2026-07-10"}, follow=True
        )
        assert "lapsed with the sale" in text_of(response)
        carrying = in_force(
            folk,
            ("owner", "owner"),
            ("officer", "agency_officer"),
            instrument=InstrumentKind.COVENANT,
        )
        response = coordinator.post(
            f"/agreements/{carrying.pk}/sale/",
            {"sold_on": "2026-07-10", "buyer": folk.landlord.pk},
            follow=True,
        )
        assert "Odile Farrow takes over from the day of the sale." in text_of(response)


class TestRepairPages:
    """The admin may repair, but it opens no gate."""

    @pytest.fixture
    def repairer(self, client_of, cast):
        cast.coordinator.is_staff = cast.coordinator.is_superuser = True
        cast.coordinator.save()
        return client_of("coordinator")

    def test_every_page_opens(self, folk, repairer):
        agreement, document = offered(folk)
        signature = sign(agreement, document, "owner")
        for address in (
            "/repair/",
            "/repair/agreements/agreement/",
            f"/repair/agreements/agreement/{agreement.pk}/change/",
            "/repair/agreements/party/",
            "/repair/agreements/document/",
            f"/repair/agreements/document/{document.pk}/change/",
            f"/repair/agreements/signature/{signature.pk}/change/",
            "/repair/agreements/responsibility/",
            "/repair/agreements/wording/",
            f"/repair/agreements/wording/{agreement.wording_id}/change/",
            "/repair/people/person/",
            f"/repair/people/person/{folk.owner.pk}/change/",
            "/repair/people/user/",
            "/repair/people/user/add/",
            "/repair/people/contactpoint/",
        ):
            assert repairer.get(address).status_code == 200, address

    def test_a_site_does_not_become_built_there(self, folk, repairer):
        data = {
            "code": folk.site.code,
            "street": folk.site.street,
            "address": folk.site.address,
            "source_class": "quiet",
            "stage": "built",
            "built_on": "2026-07-01",
            "basins-TOTAL_FORMS": "0",
            "basins-INITIAL_FORMS": "0",
        }
        response = repairer.post(f"/repair/sites/site/{folk.site.pk}/change/", data)
        assert response.status_code == 302
        folk.site.refresh_from_db()
        assert (folk.site.stage, folk.site.built_on) == (Stage.PROPOSED, None)

    def test_an_agreement_does_not_come_into_force_there(self, folk, repairer):
        agreement, _ = offered(folk)
        response = repairer.post(
            f"/repair/agreements/agreement/{agreement.pk}/change/",
            {
                "reference": agreement.reference,
                "state": "in_force",
                "begins_on": "2026-07-01",
                "ended_why": "",
                "events-TOTAL_FORMS": "0",
                "events-INITIAL_FORMS": "0",
            },
        )
        assert response.status_code == 302
        agreement.refresh_from_db()
        assert agreement.state == AgreementState.OFFERED

    def test_neither_signatures_nor_parties_are_made_or_taken_away_there(self, folk, repairer):
        agreement, document = offered(folk)
        signature = sign(agreement, document, "owner")
        party = agreement.parties.first()
        for address in (
            "/repair/agreements/signature/add/",
            f"/repair/agreements/signature/{signature.pk}/delete/",
            "/repair/agreements/party/add/",
            f"/repair/agreements/party/{party.pk}/delete/",
            "/repair/agreements/agreement/add/",
            f"/repair/agreements/agreement/{agreement.pk}/delete/",
        ):
            assert repairer.post(address, {"post": "yes"}).status_code == 403, address

    def test_wordings_are_looked_at_only(self, repairer):
        wording = Wording.objects.get(instrument="covenant", language="es")
        address = f"/repair/agreements/wording/{wording.pk}/change/"
        assert repairer.get(address).status_code == 200
        assert repairer.post(address, {"title": "x"}).status_code == 403


def test_the_built_button_on_the_site_page_says_why_not(folk, coordinator):
    response = coordinator.post(f"/sites/{folk.site.code}/built/", {"on": "2026-07-02"})
    assert response.status_code == 422
    assert "No agreement covers OAK-7." in text_of(response)
    in_force(folk)
    coordinator.post(f"/sites/{folk.site.code}/built/", {"on": "2026-07-02"})
    folk.site.refresh_from_db()
    assert (folk.site.stage, folk.site.built_on) == (Stage.BUILT, date(2026, 7, 2))
