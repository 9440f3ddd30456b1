"""T01: the house was sold. The page says before the click what the instrument will do; the letter, the gap, the next draft."""

from datetime import date, timedelta

import pytest
from django.utils import translation

from sites.choices import Stage
from stewardship.agreements import services
from stewardship.agreements.choices import AgreementState, InstrumentKind
from stewardship.agreements.models import Agreement, Responsibility
from stewardship.common.errors import Refused
from stewardship.outbox.models import Message
from stewardship.outbox.writing import write
from tests import factory
from tests.agreements.conftest import OFFERED_ON, in_force, sign

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("one_print")]

SOLD = date(2026, 7, 10)
COVENANT = {"instrument": InstrumentKind.COVENANT}
OWNER_AND_AGENCY = (("owner", "owner"), ("officer", "agency_officer"))


def text_of(response) -> str:
    return " ".join(response.content.decode().split())


def doing(site, day) -> list[str]:
    rows = Responsibility.objects.as_of(day).filter(site=site, role="does")
    return [str(row.holder) for row in rows.order_by("pk")]


class TestBeforeTheClick:
    def test_t01_the_page_of_a_covenant_says_that_the_new_owner_will_owe_it(
        self, folk, coordinator
    ):
        agreement = in_force(folk, *OWNER_AND_AGENCY, **COVENANT)
        page = text_of(coordinator.get(f"/agreements/{agreement.pk}/sale/"))
        assert (
            "what was owed by Ines Quist is owed by the new owner from the day of the sale" in page
        )
        assert "While the new owner is not known, nobody is responsible" in page
        agreement.refresh_from_db()
        assert agreement.state == AgreementState.IN_FORCE

    def test_t01_the_page_of_a_care_agreement_says_that_it_lapses(self, folk, coordinator):
        agreement = in_force(folk)
        services.mark_built(site=folk.site, on=OFFERED_ON)
        page = text_of(coordinator.get(f"/agreements/{agreement.pk}/sale/"))
        assert "lapses with a sale" in page
        assert "From that day nobody is responsible at OAK-7, until somebody signs." in page

    def test_t01_a_memorandum_says_that_a_sale_changes_nothing(self, folk, coordinator):
        agreement = in_force(
            folk,
            ("officer", "agency_officer"),
            ("program", "program"),
            instrument=InstrumentKind.MEMORANDUM,
        )
        address = f"/agreements/{agreement.pk}/sale/"
        assert "changes nothing" in text_of(coordinator.get(address))
        response = coordinator.post(address, {"sold_on": SOLD.isoformat()})
        assert response.status_code == 422
        assert "A sale does not touch this kind of agreement" in text_of(response)


class TestTheNewOwner:
    def test_t01_one_click_ends_it_drafts_the_next_one_and_writes_to_the_buyer(
        self, folk, coordinator
    ):
        agreement = in_force(folk)
        services.mark_built(site=folk.site, on=OFFERED_ON)
        response = coordinator.post(
            f"/agreements/{agreement.pk}/sale/",
            {"sold_on": SOLD.isoformat(), "buyer": folk.landlord.pk, "draft_next": "on"},
            follow=True,
        )
        draft = Agreement.objects.get(supersedes=agreement)
        assert response.redirect_chain[-1][0] == f"/agreements/{draft.pk}/"
        assert "A letter to Odile Farrow is in the outbox." in text_of(response)
        assert [(p.person, p.capacity) for p in draft.parties.all()] == [
            (folk.landlord, "owner"),
            (folk.program, "program"),
        ]
        assert list(draft.sites.all()) == [folk.site]
        agreement.refresh_from_db()
        assert (agreement.state, agreement.ends_on) == (AgreementState.ENDED, SOLD)
        # the gap stands open until the buyer has signed, and the picture of the chain says so
        assert list(services.sites_with_nobody(on=SOLD)) == [folk.site]
        site_page = text_of(coordinator.get("/sites/OAK-7/"))
        assert "nobody did the work" in site_page

    def test_t01_the_letter_says_what_the_sale_did_in_the_language_of_who_reads_it(self, folk):
        agreement = in_force(folk, *OWNER_AND_AGENCY, **COVENANT)
        sold = services.record_sale(agreement=agreement, on=SOLD, buyer=folk.landlord)
        assert sold.letter.channel == "email"
        written = write(sold.letter)
        assert "became yours on Fri 10 Jul" in written.text
        assert f"Agreement {agreement.reference} (recorded covenant) came with it" in written.text
        lapsed = in_force(folk)
        told = services.record_sale(agreement=lapsed, on=SOLD, buyer=folk.landlord)
        assert "ended with the sale: you owe nothing by it" in write(told.letter).text

    def test_t01_the_letter_is_written_once(self, folk):
        agreement = in_force(folk, *OWNER_AND_AGENCY, **COVENANT)
        services.record_sale(agreement=agreement, on=SOLD, buyer=folk.landlord)
        services.record_sale(agreement=agreement, on=SOLD, buyer=folk.landlord)
        assert Message.objects.filter(template="new-owner").count() == 1

    def test_t01_a_buyer_on_paper_gets_a_letter_on_paper(self, folk):
        buyer = factory.make_person("Ada", "Birch", postal="9 Alder Row", channel="letter")
        agreement = in_force(folk, *OWNER_AND_AGENCY, **COVENANT)
        sold = services.record_sale(agreement=agreement, on=SOLD, buyer=buyer)
        assert sold.letter.channel == "letter"
        assert "Ada" in write(sold.letter).html

    def test_t01_a_buyer_whom_nothing_reaches_is_told_to_the_coordinator(self, folk, coordinator):
        buyer = factory.make_person("Ada", "Birch")
        agreement = in_force(folk, *OWNER_AND_AGENCY, **COVENANT)
        response = coordinator.post(
            f"/agreements/{agreement.pk}/sale/",
            {"sold_on": SOLD.isoformat(), "buyer": buyer.pk},
            follow=True,
        )
        assert "Nothing reaches Ada Birch: no letter was written." in text_of(response)
        assert doing(folk.site, SOLD) == ["Ada Birch"]

    def test_t01_a_buyer_who_becomes_known_later_fills_the_gap_from_the_day_given(
        self, folk, coordinator
    ):
        agreement = in_force(folk, *OWNER_AND_AGENCY, **COVENANT)
        services.mark_built(site=folk.site, on=OFFERED_ON)
        services.record_sale(agreement=agreement, on=SOLD)
        assert doing(folk.site, SOLD) == []
        day = date(2026, 7, 14)
        coordinator.post(
            f"/agreements/{agreement.pk}/new-owner/",
            {"on": day.isoformat(), "buyer": folk.landlord.pk},
        )
        assert doing(folk.site, day - timedelta(days=1)) == []
        assert doing(folk.site, day) == ["Odile Farrow"]
        with pytest.raises(Refused, match="Nobody is missing"):
            services.name_new_owner(agreement=agreement, buyer=folk.tenant, on=day)


class TestTheSellerOwesUntilProof:
    @pytest.fixture
    def agreement(self, folk):
        draft = services.draft_agreement(instrument="covenant", sites=[folk.site])
        for who, capacity in OWNER_AND_AGENCY:
            services.add_party(agreement=draft, person=getattr(folk, who), capacity=capacity)
        services.change_draft(agreement=draft, terms={"seller_owes_until_proof": True})
        document = services.offer_agreement(agreement=draft, on=OFFERED_ON)
        for capacity in ("owner", "agency_officer"):
            sign(draft, document, capacity)
        return draft

    def test_t01_without_proof_the_seller_goes_on_owing_and_the_proof_is_asked_for(
        self, folk, coordinator, agreement
    ):
        address = f"/agreements/{agreement.pk}/sale/"
        assert "without the proof, the work goes on being owed by Ines Quist" in text_of(
            coordinator.get(address)
        )
        posted = {"sold_on": SOLD.isoformat(), "buyer": folk.landlord.pk}
        coordinator.post(address, posted)
        assert doing(folk.site, factory.TODAY) == ["Ines Quist"]
        page = text_of(coordinator.get(f"/agreements/{agreement.pk}/"))
        assert "Proof of the transfer: Ines Quist" in page
        again = coordinator.post(address, posted)
        assert "it waits for the proof of the transfer" in text_of(again)
        coordinator.post(address, posted | {"proven": "on"})
        assert doing(folk.site, SOLD) == ["Odile Farrow"]
        assert agreement.requirements.get(kind="transfer").met_on == SOLD


class TestOneOfSeveralHouses:
    def test_t01_only_the_site_beside_the_sold_house_changes_hands(self, folk):
        other = factory.make_site("ELM-2")
        factory.make_basin(other, plants=False)
        agreement = in_force(folk, *OWNER_AND_AGENCY, sites=[folk.site, other], **COVENANT)
        for site in (folk.site, other):
            services.mark_built(site=site, on=OFFERED_ON)
        services.record_sale(agreement=agreement, on=SOLD, buyer=folk.landlord, sites=[folk.site])
        assert doing(folk.site, SOLD) == ["Odile Farrow"]
        assert doing(other, SOLD) == ["Ines Quist"]

    def test_t01_a_care_agreement_lapses_for_the_sold_house_and_goes_on_for_the_other(self, folk):
        other = factory.make_site("ELM-2")
        factory.make_basin(other, plants=False)
        agreement = in_force(folk, sites=[folk.site, other])
        with pytest.raises(Refused, match="OAK-7 is not built"):
            services.record_sale(agreement=agreement, on=SOLD, sites=[folk.site])
        for site in (folk.site, other):
            services.mark_built(site=site, on=OFFERED_ON)
        services.record_sale(agreement=agreement, on=SOLD, sites=[folk.site])
        agreement.refresh_from_db()
        assert agreement.state == AgreementState.IN_FORCE
        assert (doing(folk.site, SOLD), doing(other, SOLD)) == ([], ["Ines Quist"])


class TestATenantMovesOut:
    @pytest.fixture
    def agreement(self, folk):
        return in_force(
            folk, ("tenant", "tenant"), ("landlord", "landlord"), ("program", "program")
        )

    def test_the_landlord_does_the_work_from_that_day(self, folk, coordinator, agreement):
        assert doing(folk.site, SOLD) == ["Bram Okello"]
        page = text_of(coordinator.get(f"/agreements/{agreement.pk}/tenant-out/"))
        assert "What was promised by Bram Okello ends that day" in page
        coordinator.post(
            f"/agreements/{agreement.pk}/tenant-out/",
            {"on": SOLD.isoformat(), "owner_does": "owner"},
        )
        assert doing(folk.site, SOLD - timedelta(days=1)) == ["Bram Okello"]
        assert doing(folk.site, SOLD) == ["Odile Farrow"]
        assert not Responsibility.objects.as_of(SOLD).filter(role="told").exists()
        agreement.refresh_from_db()
        assert agreement.state == AgreementState.IN_FORCE

    def test_or_nobody_does_and_the_site_is_listed(self, folk, agreement):
        services.mark_built(site=folk.site, on=OFFERED_ON)
        services.record_tenant_out(agreement=agreement, on=SOLD, owner_does=False)
        assert list(services.sites_with_nobody(on=SOLD)) == [folk.site]

    def test_a_new_tenant_is_drafted_into_the_next_agreement(self, folk, coordinator, agreement):
        ada = factory.make_person("Ada", "Birch", email="ada.birch@example.org")
        coordinator.post(
            f"/agreements/{agreement.pk}/tenant-out/",
            {"on": SOLD.isoformat(), "owner_does": "owner", "tenant": ada.pk},
        )
        draft = Agreement.objects.get(supersedes=agreement)
        assert {(p.person, p.capacity) for p in draft.parties.all()} == {
            (ada, "tenant"),
            (folk.landlord, "landlord"),
            (folk.program, "program"),
        }

    def test_twice_is_refused_in_words(self, agreement):
        services.record_tenant_out(agreement=agreement, on=SOLD)
        with pytest.raises(Refused, match="No tenant does the work"):
            services.record_tenant_out(agreement=agreement, on=SOLD)


class TestT02ConsentWithdrawn:
    def test_t02_the_agreement_ends_and_nothing_may_be_built_any_more(self, folk, coordinator):
        agreement = in_force(
            folk, ("tenant", "tenant"), ("landlord", "landlord"), ("program", "program")
        )
        page = text_of(coordinator.get(f"/agreements/{agreement.pk}/consent/"))
        assert "A tenant cannot bind the ground alone" in page
        assert "Nothing may be built at OAK-7 until somebody signs." in page
        coordinator.post(
            f"/agreements/{agreement.pk}/consent/",
            {"on": SOLD.isoformat(), "why": "Wants a driveway there"},
        )
        folk.site.refresh_from_db()
        assert folk.site.stage == Stage.PROPOSED
        with pytest.raises(Refused, match="No agreement covers OAK-7"):
            services.mark_built(site=folk.site, on=factory.TODAY)
        assert "The landlord withdrew their consent: Wants a driveway there" in text_of(
            coordinator.get(f"/agreements/{agreement.pk}/")
        )

    def test_nobody_withdraws_what_nobody_gave(self, folk):
        agreement = in_force(folk)
        with pytest.raises(Refused, match="No landlord has signed"):
            services.withdraw_consent(agreement=agreement, on=SOLD, why="x")


class TestReleased:
    def test_an_end_says_from_what_somebody_is_released(self, folk, coordinator):
        agreement = in_force(folk)
        coordinator.post(
            f"/agreements/{agreement.pk}/end/",
            {
                "on": SOLD.isoformat(),
                "why": "Too old for it",
                "released": "All care; the plants stay",
            },
        )
        page = text_of(coordinator.get(f"/agreements/{agreement.pk}/"))
        assert "Released: All care; the plants stay" in page

    def test_of_several_built_sites_one_may_be_released(self, folk):
        other = factory.make_site("ELM-2")
        factory.make_basin(other, plants=False)
        agreement = in_force(folk, sites=[folk.site, other])
        for site in (folk.site, other):
            services.mark_built(site=site, on=OFFERED_ON)
        services.release(agreement=agreement, on=SOLD, why="Given to the agency", sites=[other])
        agreement.refresh_from_db()
        assert agreement.state == AgreementState.IN_FORCE
        assert (doing(folk.site, SOLD), doing(other, SOLD)) == (["Ines Quist"], [])


def test_events_are_written_in_the_language_of_the_book_whoever_clicks(folk):
    with translation.override("es"):
        agreement = in_force(folk, *OWNER_AND_AGENCY, **COVENANT)
        services.record_sale(agreement=agreement, on=SOLD)
        services.end_agreement(agreement=agreement, on=SOLD, why="Fin", released="todo")
    words = [event.why for event in agreement.events.all()]
    assert words[0] == "Drafted"
    assert "Signed by everybody it needs" in words
    assert "The property was sold" in words
    assert words[-1] == "Released: todo"
    ended = agreement.responsibilities.filter(ended_why="The property was sold")
    assert ended.exists()
