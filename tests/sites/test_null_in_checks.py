"""A comparison with null is neither true nor false, and a check constraint lets it pass: these say the null outright."""

import pytest
from django.db import IntegrityError, transaction

from sites.choices import InletKind
from sites.models import Inlet, Site
from tests import factory

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize("place", [{"lat": 31.8}, {"lon": -107.9}])
def test_half_a_place_is_refused_by_the_database(place):
    with pytest.raises(IntegrityError, match="site_place_both_or_neither"), transaction.atomic():
        Site.objects.create(code="OAK-1", street="Oak Lane", address="1 Oak Lane", **place)


def test_a_whole_place_and_none_are_taken():
    Site.objects.create(code="OAK-1", street="Oak Lane", address="1 Oak Lane")
    Site.objects.create(code="OAK-2", street="Oak Lane", address="2 Oak Lane", lat=31.8, lon=-107.9)


def test_a_curb_cut_without_a_height_is_refused_by_the_database():
    basin = factory.make_basin(factory.make_site("OAK-1"))
    with pytest.raises(IntegrityError, match="inlet_has_the_sizes"), transaction.atomic():
        Inlet.objects.create(basin=basin, kind=InletKind.CURB_CUT, width_m=0.45)


@pytest.mark.parametrize(
    "slopes",
    [
        {"gutter_slope_percent": 2},
        {"cross_slope_percent": 2},
        {"gutter_slope_percent": 0, "cross_slope_percent": 2},
        {"gutter_slope_percent": 2, "cross_slope_percent": 31},
    ],
)
def test_one_slope_alone_or_one_that_no_street_has_is_refused_by_the_database(slopes):
    basin = factory.make_basin(factory.make_site("OAK-1"))
    with pytest.raises(IntegrityError, match="inlet_slopes"), transaction.atomic():
        Inlet.objects.create(basin=basin, kind=InletKind.CURB_CORE, width_m=0.1, **slopes)
