"""T13: the works were revoked, moved, rebuilt or dug up. The site is retired or rests; somebody is asked to put it back."""

from datetime import date, timedelta

import pytest
from django.db import IntegrityError, transaction

from sites.choices import Stage
from stewardship.agreements import services
from stewardship.agreements.choices import AgreementState
from stewardship.agreements.models import RestorationClaim
from stewardship.care.models import Duty
from stewardship.common.errors import Refused
from tests import factory
from tests.agreements.conftest import OFFERED_ON, in_force

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("one_print")]

BUILT, GONE = date(2026, 7, 2), date(2026, 7, 10)
TODAY = factory.TODAY


def text_of(response) -> str:
    return " ".join(response.content.decode().split())


@pytest.fixture
def built(folk):
    agreement = in_force(folk)
    services.mark_built(site=folk.site, on=BUILT)
    folk.site.refresh_from_db()
    return agreement


class TestRetired:
    def test_t13_the_page_says_before_the_click_what_ends(self, folk, built, coordinator):
        factory.make_duty(folk.site)
        page = text_of(coordinator.get("/sites/OAK-7/retire/"))
        assert "What is owed there by Ines Quist ends that day." in page
        assert "1 open duty is withdrawn." in page
        assert f"{built.reference} covers nothing else and ends with it." in page
        folk.site.refresh_from_db()
        assert folk.site.stage == Stage.BUILT

    def test_t13_everything_owed_there_ends_and_the_history_stays(self, folk, built, coordinator):
        duty = factory.make_duty(folk.site)
        coordinator.post("/sites/OAK-7/retire/", {"on": GONE.isoformat(), "why": "Street rebuilt"})
        folk.site.refresh_from_db()
        assert (folk.site.stage, folk.site.retired_on) == (Stage.RETIRED, GONE)
        event = folk.site.events.last()
        assert (event.was, event.became, event.why) == ("built", "retired", "Street rebuilt")
        row = built.responsibilities.get()
        assert row.ends_on == GONE
        built.refresh_from_db()
        assert (built.state, built.ends_on) == (AgreementState.ENDED, GONE)
        duty = Duty.objects.get(pk=duty.pk)
        assert duty.state == "withdrawn"
        assert duty.events.last().why == "The site is retired: Street rebuilt"
        assert not services.sites_with_nobody(on=TODAY).exists()
        page = text_of(coordinator.get("/sites/OAK-7/"))
        assert "Street rebuilt" in page
        assert "Ines Quist" in page

    def test_t13_an_agreement_goes_on_at_its_other_sites(self, folk):
        other = factory.make_site("ELM-2")
        factory.make_basin(other, plants=False)
        agreement = in_force(folk, sites=[folk.site, other])
        for site in (folk.site, other):
            services.mark_built(site=site, on=BUILT)
        services.retire_site(site=folk.site, on=GONE, why="Utility dug it up")
        agreement.refresh_from_db()
        assert agreement.state == AgreementState.IN_FORCE
        assert "OAK-7 is retired: Utility dug it up" in [e.why for e in agreement.events.all()]
        assert [row.site for row in agreement.responsibilities.as_of(TODAY)] == [other]

    def test_a_site_that_was_never_built_is_given_up(self, folk):
        agreement = in_force(folk)
        site = services.retire_site(site=folk.site, on=GONE, why="Permit revoked")
        assert (site.stage, site.built_on) == (Stage.RETIRED, None)
        agreement.refresh_from_db()
        assert agreement.state == AgreementState.ENDED

    @pytest.mark.parametrize(
        ("day", "why", "words"),
        [
            (TODAY + timedelta(days=1), "x", "yet to come"),
            (OFFERED_ON, "x", "cannot have gone before"),
            (GONE, " ", "Say why"),
        ],
    )
    def test_what_cannot_be_is_refused(self, folk, built, day, why, words):
        with pytest.raises(Refused, match=words):
            services.retire_site(site=folk.site, on=day, why=why)

    def test_once(self, folk, built, coordinator):
        services.retire_site(site=folk.site, on=GONE, why="x")
        with pytest.raises(Refused, match="is retired already"):
            services.retire_site(site=folk.site, on=GONE, why="x")
        assert "is retired already" in text_of(coordinator.get("/sites/OAK-7/retire/"))


class TestResting:
    def test_t13_a_site_that_rests_asks_nothing_and_says_so(self, folk, built, coordinator):
        duty = factory.make_duty(folk.site)
        page = text_of(coordinator.get("/sites/OAK-7/rest/"))
        assert "Nothing is due there meanwhile" in page
        coordinator.post(
            "/sites/OAK-7/rest/",
            {"starts_on": TODAY.isoformat(), "ends_on": "2026-09-01", "why": "Street rebuilt"},
        )
        assert folk.site.pauses.get().kind == "works"
        page = text_of(coordinator.get("/sites/OAK-7/"))
        assert "The site rests" in page
        assert Duty.objects.get(pk=duty.pk).state == "withdrawn"

    def test_days_in_the_wrong_order_are_told_and_nothing_is_lost(self, folk, built, coordinator):
        response = coordinator.post(
            "/sites/OAK-7/rest/",
            {"starts_on": "2026-09-01", "ends_on": "2026-08-01", "why": "Street rebuilt"},
        )
        assert response.status_code == 422
        page = text_of(response)
        assert "The last day is before the first." in page
        assert "Street rebuilt" in page


class TestPuttingItBack:
    def test_t13_a_claim_is_made_and_settled_on_the_site_page(self, folk, built, coordinator):
        coordinator.post(
            "/sites/OAK-7/put-back/",
            {"on": GONE.isoformat(), "against": "Gas utility", "what": "Curb, inlet, four plants"},
        )
        claim = RestorationClaim.objects.get()
        page = text_of(coordinator.get("/sites/OAK-7/"))
        assert "Gas utility is asked to put back" in page
        assert "not settled" in page
        coordinator.post(
            f"/sites/put-back/{claim.pk}/", {"on": TODAY.isoformat(), "outcome": "Rebuilt"}
        )
        page = text_of(coordinator.get("/sites/OAK-7/"))
        assert "not settled" not in page
        assert "Settled with Gas utility: Rebuilt" in page

    def test_what_cannot_be_is_refused(self, folk):
        make = {"site": folk.site, "against": "Gas utility", "what": "Curb", "on": GONE}
        for change, words in (
            ({"against": " "}, "Say who is asked"),
            ({"what": " "}, "Say who is asked"),
            ({"on": TODAY + timedelta(days=1)}, "yet to come"),
        ):
            with pytest.raises(Refused, match=words):
                services.claim_restoration(**make | change)
        claim = services.claim_restoration(**make)
        settle = {"claim": claim, "on": TODAY, "outcome": "Rebuilt"}
        for change, words in (
            ({"outcome": " "}, "how it was settled"),
            ({"on": GONE - timedelta(days=1)}, "asked on Fri 10 Jul only"),
            ({"on": TODAY + timedelta(days=1)}, "yet to come"),
        ):
            with pytest.raises(Refused, match=words):
                services.settle_claim(**settle | change)
        services.settle_claim(**settle)
        with pytest.raises(Refused, match="settled already"):
            services.settle_claim(**settle)


class TestTheConstraintsBothWays:
    def test_a_claim_says_of_whom_and_what(self, folk):
        facts = {"site": folk.site, "against": "Gas utility", "what": "Curb", "made_on": GONE}
        RestorationClaim.objects.create(**facts)
        for name in ("against", "what"):
            with pytest.raises(IntegrityError), transaction.atomic():
                RestorationClaim.objects.create(**facts | {name: ""})

    def test_it_is_settled_after_it_was_made(self, folk):
        facts = {"site": folk.site, "against": "Gas utility", "what": "Curb", "made_on": GONE}
        RestorationClaim.objects.create(**facts, settled_on=GONE)
        with pytest.raises(IntegrityError), transaction.atomic():
            RestorationClaim.objects.create(**facts, settled_on=GONE - timedelta(days=1))
