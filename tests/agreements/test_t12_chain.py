"""T12: the chain of responsible parties as a picture with words, as of any day, with gaps, pauses and disputes."""

from datetime import date

import pytest

from stewardship.agreements import services
from stewardship.agreements.chain import nobody_spans, site_chain
from stewardship.agreements.choices import InstrumentKind
from stewardship.agreements.models import Dispute, Pause, Responsibility
from tests import factory
from tests.agreements.conftest import in_force, offered, sign

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("one_print")]

SOLD, SIGNED = date(2026, 7, 8), date(2026, 7, 12)


def text_of(response) -> str:
    return " ".join(response.content.decode().split())


@pytest.fixture
def sold_and_signed_anew(folk):
    first = in_force(folk)
    services.mark_built(site=folk.site, on=date(2026, 7, 2))
    services.record_sale(agreement=first, on=SOLD)
    second, document = offered(folk, ("landlord", "owner"), ("program", "program"))
    for capacity in ("owner", "program"):
        sign(second, document, capacity, on=SIGNED)
    return folk.site


def chain(site, on=factory.TODAY, **kwargs):
    held = list(Responsibility.objects.for_site(site))
    return site_chain(site, held, on=on, today=factory.TODAY, **kwargs)


def test_t12_rows_gaps_and_what_held_on_a_day(sold_and_signed_anew):
    site = sold_and_signed_anew
    site.refresh_from_db()
    made = chain(site)
    assert [row.words for row in made.rows] == [
        "Ines Quist, does the work",
        "Odile Farrow, does the work",
        "Nobody",
    ]
    assert made.gaps == [(SOLD, SIGNED)]
    assert made.said == "Odile Farrow: does the work"
    assert chain(site, on=date(2026, 7, 9)).said == "nobody did the work"
    assert chain(site, on=date(2026, 7, 7)).said == "Ines Quist: does the work"
    assert chain(site, on=date(2026, 6, 1)).said == "nobody was responsible"
    # bars stand in the order of time, one where the other ends
    first, second, gap = (row.bars[0] for row in made.rows)
    assert first.x < gap.x < second.x
    assert first.x + first.width == pytest.approx(gap.x, abs=0.11)
    assert gap.x + gap.width == pytest.approx(second.x, abs=0.11)


def test_t12_the_site_page_shows_it_as_of_any_day_and_as_a_table(sold_and_signed_anew, coordinator):
    page = text_of(coordinator.get("/sites/OAK-7/?on=2026-07-09"))
    assert "Thu 9 Jul</time> (the dark stroke): nobody did the work." in page
    assert "The same as a table" in page
    assert page.count("nobody did the work") == 2
    assert 'class="chain-nobody"' in page


def test_t12_pauses_and_disputes_stand_in_the_chain(folk, sold_and_signed_anew, coordinator):
    site = sold_and_signed_anew
    Pause.objects.create(
        site=site,
        kind="person",
        person=folk.landlord,
        cover=folk.tenant,
        starts_on=date(2026, 7, 13),
        effect="owed",
    )
    Dispute.objects.create(site=site, opened_on=date(2026, 7, 14), claim="Not mine")
    page = text_of(coordinator.get("/sites/OAK-7/"))
    assert "Odile Farrow cannot; covered by Bram Okello" in page
    assert 'class="chain-disputed"' in page


def test_a_retired_site_has_no_gap_after_its_end(folk):
    in_force(folk)
    services.mark_built(site=folk.site, on=date(2026, 7, 2))
    site = services.retire_site(site=folk.site, on=date(2026, 7, 10), why="Street rebuilt")
    held = list(Responsibility.objects.for_site(site))
    assert nobody_spans(site, held, today=factory.TODAY) == []


def test_the_agreement_page_shows_who_held_what_under_it(folk, coordinator):
    agreement = in_force(
        folk,
        ("owner", "owner"),
        ("officer", "agency_officer"),
        instrument=InstrumentKind.COVENANT,
    )
    page = text_of(coordinator.get(f"/agreements/{agreement.pk}/"))
    assert "Ines Quist, does the work, OAK-7" in page
    assert "Stormwater Office, inspects, OAK-7" in page


def test_a_site_without_anybody_ever_has_no_picture(folk):
    assert chain(folk.site) is None
