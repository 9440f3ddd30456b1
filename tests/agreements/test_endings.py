"""What ends agreements and responsibilities: T01 (sale), T04 and T06 (many to many), T12 (the chain on a day)."""

from datetime import date, timedelta

import pytest

from sites.choices import Stage
from stewardship.agreements import services
from stewardship.agreements.choices import AgreementState, InstrumentKind
from stewardship.agreements.models import Agreement, Responsibility
from stewardship.common.errors import Refused
from tests import factory
from tests.agreements.conftest import OFFERED_ON, in_force, offered, sign

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("one_print")]

SOLD = date(2026, 7, 10)
COVENANT = {"instrument": InstrumentKind.COVENANT}
OWNER_AND_AGENCY = (("owner", "owner"), ("officer", "agency_officer"))


def doing(site, day):
    rows = Responsibility.objects.as_of(day).filter(site=site, role="does")
    return [str(row.holder) for row in rows.order_by("pk")]


class TestT01HouseSold:
    def test_t01_a_care_agreement_lapses_and_the_site_is_listed_as_nobodys(self, folk):
        agreement = in_force(folk)
        services.mark_built(site=folk.site, on=date(2026, 7, 2))
        assert not services.sites_with_nobody(on=SOLD).exists()
        services.record_sale(agreement=agreement, on=SOLD)
        agreement.refresh_from_db()
        assert (agreement.state, agreement.ends_on) == (AgreementState.ENDED, SOLD)
        assert doing(folk.site, SOLD - timedelta(days=1)) == ["Ines Quist"]
        assert doing(folk.site, SOLD) == []
        assert list(services.sites_with_nobody(on=SOLD)) == [folk.site]
        folk.site.refresh_from_db()
        assert folk.site.stage == Stage.BUILT

    def test_t01_a_covenant_carries_over_to_the_buyer(self, folk):
        agreement = in_force(folk, *OWNER_AND_AGENCY, **COVENANT)
        services.record_sale(agreement=agreement, on=SOLD, buyer=folk.landlord)
        agreement.refresh_from_db()
        assert agreement.state == AgreementState.IN_FORCE
        assert doing(folk.site, SOLD - timedelta(days=1)) == ["Ines Quist"]
        assert doing(folk.site, SOLD) == ["Odile Farrow"]

    def test_t01_a_covenant_whose_buyer_is_not_known_leaves_a_gap_that_is_listed(self, folk):
        agreement = in_force(folk, *OWNER_AND_AGENCY, **COVENANT)
        services.mark_built(site=folk.site, on=OFFERED_ON)
        services.record_sale(agreement=agreement, on=SOLD)
        assert list(services.sites_with_nobody(on=SOLD)) == [folk.site]
        # the agency goes on inspecting under the covenant
        rows = Responsibility.objects.as_of(SOLD).filter(site=folk.site)
        assert [(row.role, row.agency) for row in rows] == [("inspects", folk.agency)]

    def test_t01_a_tenant_goes_on_under_a_covenant_while_the_house_changes_hands(self, folk):
        agreement = in_force(
            folk,
            ("tenant", "tenant"),
            ("owner", "landlord"),
            ("officer", "agency_officer"),
            **COVENANT,
        )
        services.record_sale(agreement=agreement, on=SOLD, buyer=folk.landlord)
        assert doing(folk.site, SOLD) == ["Bram Okello"]
        told = Responsibility.objects.as_of(SOLD).get(role="told")
        assert told.person == folk.landlord

    def test_t01_a_memorandum_is_untouched_by_a_sale(self, folk):
        agreement = in_force(
            folk,
            ("officer", "agency_officer"),
            ("program", "program"),
            instrument=InstrumentKind.MEMORANDUM,
        )
        with pytest.raises(Refused, match="A sale does not touch"):
            services.record_sale(agreement=agreement, on=SOLD)

    def test_a_sale_before_the_beginning_or_ahead_of_time_is_refused(self, folk):
        agreement = in_force(folk, *OWNER_AND_AGENCY, **COVENANT)
        with pytest.raises(Refused, match="before it began"):
            services.record_sale(agreement=agreement, on=OFFERED_ON - timedelta(days=1))
        with pytest.raises(Refused, match="yet to come"):
            services.record_sale(agreement=agreement, on=factory.TODAY + timedelta(days=1))


class TestT04T06ManyToMany:
    def test_t04_one_agreement_covers_both_frontages_of_a_corner_lot(self, folk):
        corner = factory.make_site("ELM-2")
        factory.make_basin(corner, plants=False)
        in_force(folk, sites=[folk.site, corner])
        for site in (folk.site, corner):
            assert doing(site, OFFERED_ON) == ["Ines Quist"]

    def test_t06_one_owner_with_five_basins_and_one_basin_of_three_owners(self, folk):
        sites = [folk.site]
        for number in range(2, 6):
            site = factory.make_site(f"OAK-{number}1")
            factory.make_basin(site, plants=False)
            sites.append(site)
        in_force(folk, sites=sites)
        assert Responsibility.objects.filter(person=folk.owner, role="does").count() == 5

        condo = factory.make_site("ELM-9")
        factory.make_basin(condo, plants=False)
        agreement = in_force_with_three_owners(folk, condo)
        assert doing(condo, OFFERED_ON) == ["Ines Quist", "Bram Okello", "Odile Farrow"]
        assert agreement.state == AgreementState.IN_FORCE


def in_force_with_three_owners(folk, site):
    agreement = services.draft_agreement(instrument="care_agreement", sites=[site])
    for person in (folk.owner, folk.tenant, folk.landlord):
        services.add_party(agreement=agreement, person=person, capacity="owner")
    services.add_party(agreement=agreement, person=folk.program, capacity="program")
    document = services.offer_agreement(agreement=agreement, on=OFFERED_ON)
    for party in agreement.parties.all():
        services.record_signature(
            party=party,
            document=document,
            signed_on=OFFERED_ON,
            typed_name=str(party.person),
            original_kept_at="Binder",
        )
    agreement.refresh_from_db()
    return agreement


def test_t12_the_chain_of_responsible_people_is_shown_as_of_any_day(folk):
    with_owner = in_force(folk)
    services.record_sale(agreement=with_owner, on=SOLD)
    second, document = offered(folk, ("landlord", "owner"), ("program", "program"))
    for capacity in ("owner", "program"):
        sign(second, document, capacity, on=date(2026, 7, 14))
    chain = Responsibility.objects.for_site(folk.site)
    assert [(str(r.holder), r.agreement, r.starts_on, r.ends_on) for r in chain] == [
        ("Ines Quist", with_owner, OFFERED_ON, SOLD),
        ("Odile Farrow", second, date(2026, 7, 14), date(2031, 7, 14)),
    ]
    assert doing(folk.site, OFFERED_ON - timedelta(days=1)) == []
    assert doing(folk.site, SOLD - timedelta(days=1)) == ["Ines Quist"]
    assert doing(folk.site, date(2026, 7, 13)) == []
    assert doing(folk.site, date(2026, 7, 14)) == ["Odile Farrow"]
    assert list(Agreement.objects.in_force(on=SOLD - timedelta(days=1))) == [with_owner]
    assert list(Agreement.objects.in_force(on=date(2026, 7, 14))) == [second]


class TestEndingAnAgreement:
    def test_an_agreed_site_goes_back_to_proposed_and_says_so(self, folk):
        agreement = in_force(folk)
        services.end_agreement(agreement=agreement, on=SOLD, why="They moved away")
        folk.site.refresh_from_db()
        assert folk.site.stage == Stage.PROPOSED
        event = folk.site.events.last()
        assert (event.was, event.became, event.why) == ("agreed", "proposed", "They moved away")

    def test_a_site_that_another_agreement_covers_stays_agreed(self, folk):
        first, _second = in_force(folk), in_force(folk)
        services.end_agreement(agreement=first, on=SOLD, why="Replaced")
        folk.site.refresh_from_db()
        assert folk.site.stage == Stage.AGREED

    def test_a_draft_is_withdrawn_and_never_counts_as_in_force(self, folk):
        agreement = services.draft_agreement(
            instrument="care_agreement", sites=[folk.site], begins_on=date(2026, 7, 1)
        )
        services.end_agreement(agreement=agreement, on=SOLD, why="Changed their mind")
        assert not Agreement.objects.in_force(on=date(2026, 7, 5)).exists()

    @pytest.mark.parametrize(
        ("on", "why", "words"),
        [
            (OFFERED_ON - timedelta(days=1), "x", "before it began"),
            (factory.TODAY + timedelta(days=1), "x", "yet to come"),
            (SOLD, "   ", "Say why"),
        ],
    )
    def test_an_end_that_cannot_be_is_refused(self, folk, on, why, words):
        agreement = in_force(folk)
        with pytest.raises(Refused, match=words):
            services.end_agreement(agreement=agreement, on=on, why=why)

    def test_it_ends_once(self, folk):
        agreement = in_force(folk)
        services.end_agreement(agreement=agreement, on=SOLD, why="Moved")
        with pytest.raises(Refused, match="has ended already"):
            services.end_agreement(agreement=agreement, on=SOLD, why="Moved")


class TestEndingOneResponsibility:
    def test_it_ends_on_its_day_and_leaves_an_event(self, folk):
        agreement = in_force(folk)
        row = services.end_responsibility(
            responsibility=agreement.responsibilities.get(), on=SOLD, why="Too old for it"
        )
        assert (row.ends_on, row.ended_why) == (SOLD, "Too old for it")
        assert doing(folk.site, SOLD) == []
        assert "Too old for it" in agreement.events.last().why

    def test_it_does_not_end_twice_or_before_it_began(self, folk):
        row = in_force(folk).responsibilities.get()
        with pytest.raises(Refused, match="before it began"):
            services.end_responsibility(
                responsibility=row, on=OFFERED_ON - timedelta(days=1), why="x"
            )
        services.end_responsibility(responsibility=row, on=SOLD, why="x")
        with pytest.raises(Refused, match="had ended already"):
            services.end_responsibility(responsibility=row, on=SOLD, why="x")


class TestTheGateInTheService:
    def test_a_signed_agreement_lets_the_site_be_built_and_starts_the_plants_clock(self, folk):
        in_force(folk)
        site = services.mark_built(site=folk.site, on=date(2026, 7, 8))
        assert (site.stage, site.built_on) == (Stage.BUILT, date(2026, 7, 8))
        assert site.basins.get().phase_from == date(2026, 7, 8)
        assert (site.events.last().was, site.events.last().became) == ("agreed", "built")

    @pytest.mark.parametrize("day", [OFFERED_ON - timedelta(days=1)])
    def test_not_before_the_agreement_begins(self, folk, day):
        in_force(folk)
        with pytest.raises(Refused, match="begins on Wed 1 Jul"):
            services.mark_built(site=folk.site, on=day)

    def test_not_in_the_future(self, folk):
        in_force(folk)
        with pytest.raises(Refused, match="yet to come"):
            services.mark_built(site=folk.site, on=factory.TODAY + timedelta(days=1))

    def test_not_without_any_agreement_nor_twice(self, folk):
        with pytest.raises(Refused, match="No agreement covers OAK-7"):
            services.mark_built(site=folk.site, on=OFFERED_ON)
        in_force(folk)
        services.mark_built(site=folk.site, on=OFFERED_ON)
        with pytest.raises(Refused, match="is built already"):
            services.mark_built(site=folk.site, on=OFFERED_ON)

    def test_not_when_nothing_is_written_down_of_the_works(self, folk):
        agreement = in_force(folk)
        bare = factory.make_site("ELM-4", stage=Stage.AGREED)
        agreement.sites.add(bare)
        with pytest.raises(Refused, match="Nothing is written down yet"):
            services.mark_built(site=bare, on=OFFERED_ON)

    def test_not_under_a_helper_agreement(self, folk):
        in_force(
            folk,
            ("tenant", "helper"),
            ("program", "program"),
            instrument=InstrumentKind.HELPER,
        )
        with pytest.raises(Refused, match="nothing is built under it"):
            services.mark_built(site=folk.site, on=OFFERED_ON)

    def test_not_after_the_agreement_ran_out(self, folk):
        agreement = in_force(folk)
        Agreement.objects.filter(pk=agreement.pk).update(ends_on=date(2026, 7, 8))
        with pytest.raises(Refused, match="ran out on"):
            services.mark_built(site=folk.site, on=date(2026, 7, 8))
