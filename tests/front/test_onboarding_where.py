"""Step 2 of taking on a household: the place, its parcels, what others call it."""

import pytest

from sites.models import Site
from tests import factory
from tests.front.walk import WHERE, at, begin, text_of

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
