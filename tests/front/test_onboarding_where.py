"""Step 2 of taking on a household: the place, its parcels, what others call it."""

import re

import pytest

from sites.models import Parcel, Site
from sites.ties import Elsewhere, set_external_ids
from tests import factory
from tests.front.walk import WHERE, at, begin, text_of, up_to_works

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen_day")]


def test_a_site_without_coordinates_is_saved_and_says_what_that_costs(coordinator):
    agreement = begin(coordinator)
    response = coordinator.post(at(agreement, "where"), WHERE | {"lat": "", "lon": ""}, follow=True)
    assert "the rain there cannot be worked out until it has" in text_of(response)
    assert not Site.objects.get(code="YUC-3").has_place


def test_half_a_place_is_told_at_the_field(coordinator):
    agreement = begin(coordinator)
    response = coordinator.post(at(agreement, "where"), WHERE | {"lon": ""})
    assert "lon" in response.context["form"].errors
    assert "30 Yucca Lane" in text_of(response)


def test_the_next_free_code_is_offered(coordinator):
    factory.make_site("YUC-09")
    agreement = begin(coordinator)
    form = coordinator.get(at(agreement, "where")).context["form"]
    assert form["code"].value() == "YUC-10"


def test_t04_a_corner_lot_gets_its_second_frontage(coordinator):
    agreement = begin(coordinator)
    coordinator.post(at(agreement, "where"), WHERE)
    coordinator.post(at(agreement, "where") + "?site=new", WHERE | {"code": "YUC-4"})
    assert {s.code for s in agreement.sites.all()} == {"YUC-3", "YUC-4"}


def test_going_back_corrects_the_same_site(coordinator):
    agreement = begin(coordinator)
    coordinator.post(at(agreement, "where"), WHERE)
    coordinator.post(at(agreement, "where"), WHERE | {"address": "32 Yucca Lane"})
    assert agreement.sites.get().address == "32 Yucca Lane"


def test_a_site_in_the_book_is_taken_and_left(coordinator):
    site = factory.make_site("OAK-9")
    agreement = begin(coordinator)
    coordinator.post(at(agreement, "where"), {"do": "take", "existing": site.pk})
    assert agreement.sites.get() == site
    coordinator.post(at(agreement, "where"), {"do": "leave", "site": "OAK-9"})
    assert not agreement.sites.exists()
    assert Site.objects.filter(code="OAK-9").exists()


def test_a_site_that_somebody_looks_after_cannot_be_taken(coordinator):
    taken = factory.make_built_site("OAK-8")
    factory.make_site("OAK-9")
    agreement = begin(coordinator)
    response = coordinator.post(at(agreement, "where"), {"do": "take", "existing": taken.pk})
    assert response.status_code == 200
    assert "Sites that somebody looks after are not listed" in text_of(response)
    assert not agreement.sites.exists()


def rows(prefix: str, *given: dict, initial: int = 0) -> dict[str, str]:
    """Rows of a page's part as a browser sends them."""
    sent = {f"{prefix}-TOTAL_FORMS": len(given), f"{prefix}-INITIAL_FORMS": initial}
    for n, row in enumerate(given):
        sent |= {f"{prefix}-{n}-{name}": value for name, value in row.items()}
    return sent


def ties(along=(), elsewhere=(), initial=(0, 0)) -> dict[str, str]:
    return rows("parcel", *along, initial=initial[0]) | rows(
        "elsewhere", *elsewhere, initial=initial[1]
    )


TWO_LOTS = (
    {"number": "1-012-34", "county": "Palo Azul", "share_percent": "60"},
    {"number": "1-012-35", "county": "Palo Azul", "share_percent": "40"},
)


def test_t04_a_site_lies_along_two_parcels_with_their_shares(coordinator):
    agreement = begin(coordinator)
    coordinator.post(at(agreement, "where"), WHERE | ties(TWO_LOTS))
    site = Site.objects.get(code="YUC-3")
    assert [(tie.parcel.number, tie.share_percent) for tie in site.along.all()] == [
        ("1-012-34", 60),
        ("1-012-35", 40),
    ]
    # the lots were joined: one row is emptied, the other says so
    joined = ({**TWO_LOTS[0], "share_percent": "100"}, {"number": "", "share_percent": ""})
    coordinator.post(at(agreement, "where"), WHERE | ties(joined, initial=(2, 0)))
    assert [tie.share_percent for tie in site.along.all()] == [100]
    assert Parcel.objects.filter(number="1-012-35").exists()
    assert "parcels" in site.events.last().why


def test_shares_of_more_than_the_whole_frontage_are_refused_and_nothing_is_lost(coordinator):
    agreement = begin(coordinator)
    much = ({**TWO_LOTS[0], "share_percent": "80"}, {**TWO_LOTS[1], "share_percent": "30"})
    response = coordinator.post(at(agreement, "where"), WHERE | ties(much))
    page = text_of(response)
    assert "add up to 110 %" in page
    assert "1-012-35" in page
    assert not Site.objects.filter(code="YUC-3").exists()


def test_t47_two_agencies_call_one_basin_differently_and_either_name_finds_it(coordinator):
    agreement = up_to_works(coordinator)
    site = Site.objects.get(code="YUC-3")
    basin = site.basins.get()
    lists = (
        {"kept_by": "Streets inventory", "value": "SB-0417", "basin": basin.pk},
        {"kept_by": "Stormwater assets", "value": "GI-88", "basin": basin.pk},
    )
    coordinator.post(at(agreement, "where"), WHERE | ties(elsewhere=lists))
    assert {(one.kept_by, one.value) for one in basin.external_ids.all()} == {
        ("Streets inventory", "SB-0417"),
        ("Stormwater assets", "GI-88"),
    }
    for name in ("sb-0417", "GI-88"):
        assert "YUC-3" in text_of(coordinator.get("/sites/", {"q": name}))
    assert "YUC-3" not in text_of(coordinator.get("/sites/", {"q": "GI-89"}))
    page = text_of(coordinator.get("/sites/YUC-3/"))
    assert "SB-0417 (YUC-3 A)" in page
    assert "GI-88 (YUC-3 A)" in page


def test_t47_one_identifier_never_means_two_things(coordinator):
    other = factory.make_site("OAK-9", lat=34.6, address="1 Mesa Road")
    set_external_ids(site=other, elsewhere=[Elsewhere("Streets inventory", "SB-1")])
    agreement = begin(coordinator)
    same = ({"kept_by": "streets inventory", "value": "SB-1"},)
    response = coordinator.post(at(agreement, "where"), WHERE | ties(elsewhere=same))
    assert "in the list of Streets inventory means OAK-9 already" in text_of(response)
    assert not Site.objects.filter(code="YUC-3").exists()


def test_half_a_row_is_told_at_its_field(coordinator):
    agreement = begin(coordinator)
    response = coordinator.post(
        at(agreement, "where"),
        WHERE | ties(({"county": "Palo Azul"},), ({"kept_by": "Streets inventory"},)),
    )
    page = text_of(response)
    assert "Give the parcel’s number, or leave the row empty." in page
    assert "The list and the name there go together." in page


def test_the_map_shows_what_is_known_and_the_place_that_is_typed(coordinator, cast):
    factory.make_gauge("MESA")
    agreement = begin(coordinator)
    page = coordinator.get(at(agreement, "where"))
    ground = page.context["ground"]
    assert {"OAK-1", "MESA"} <= set(re.findall(r"<title>(.*?)</title>", ground.svg))
    assert ground.south < cast.site.lat < ground.north
    assert ground.west < cast.site.lon < ground.east
    coordinator.post(at(agreement, "where"), WHERE)
    again = coordinator.get(at(agreement, "where")).context["ground"]
    assert "YUC-3" not in again.svg
    assert "translate(-100" not in again.svg


def test_a_book_without_any_place_has_no_map_and_still_takes_numbers(coordinator, cast):
    Site.objects.update(lat=None, lon=None)
    agreement = begin(coordinator)
    assert coordinator.get(at(agreement, "where")).context["ground"] is None
    coordinator.post(at(agreement, "where"), WHERE)
    assert Site.objects.get(code="YUC-3").has_place


def test_coordinates_far_from_everything_are_doubted_but_kept(coordinator):
    agreement = begin(coordinator)
    response = coordinator.post(at(agreement, "where"), WHERE | {"lon": "106.2451"}, follow=True)
    assert "Are its coordinates right?" in text_of(response)
    assert Site.objects.get(code="YUC-3").lon == pytest.approx(106.2451)


def test_a_second_frontage_starts_from_what_the_first_one_says(coordinator, cast):
    agreement = begin(coordinator)
    coordinator.post(at(agreement, "where"), WHERE | {"agency": cast.agency.pk, "then": "another"})
    form = coordinator.get(at(agreement, "where") + "?site=new").context["form"]
    assert form["agency"].value() == cast.agency.pk
    assert form["address"].value() == "30 Yucca Lane"
    assert form["code"].value() == "YUC-4"
