"""Writing sites and basins down: what is refused, where it says so, and that nothing typed is lost."""

import pytest
from django.contrib.messages import get_messages
from django.urls import reverse

from sites.choices import InletKind, Stage
from sites.models import Basin, Inlet, SedimentTrap, Site
from sites.water import capacities
from tests import factory

NEW = reverse("sites:new")
SITE = {
    "code": "ASH-9",
    "street": "Ash Street",
    "address": "910 Ash Street",
    "source_class": "quiet",
    "lat": "34.5",
    "lon": "-106.2",
}


def said(response) -> str:
    return " ".join(str(message) for message in get_messages(response.wsgi_request))


def test_a_new_site_is_proposed_and_its_beginning_is_on_record(cast, coordinator):
    response = coordinator.post(NEW, SITE)
    site = Site.objects.get(code="ASH-9")
    assert response.url == reverse("site", args=["ASH-9"])
    assert site.stage == Stage.PROPOSED
    assert [(e.was, e.became, e.by) for e in site.events.all()] == [
        ("", "proposed", cast.coordinator)
    ]


def test_a_site_without_coordinates_is_taken_with_one_clear_sentence(cast, coordinator):
    response = coordinator.post(NEW, SITE | {"lat": "", "lon": ""})
    assert not Site.objects.get(code="ASH-9").has_place
    assert "no gauge can speak for it" in said(response)


@pytest.mark.parametrize(("empty", "given"), [("lon", "lat"), ("lat", "lon")])
def test_one_coordinate_without_the_other_is_refused_at_the_empty_field(
    cast, coordinator, empty, given
):
    response = coordinator.post(NEW, SITE | {empty: ""})
    assert not Site.objects.filter(code="ASH-9").exists()
    form = response.context["form"]
    assert list(form.errors) == [empty]
    assert "go together" in form.errors[empty][0]
    assert form["street"].value() == "Ash Street"
    assert form[given].value() == SITE[given]


@pytest.mark.parametrize(
    ("field", "value", "words"),
    [
        ("code", "oak-1", "There is a site oak-1 already."),
        ("code", "new", "name of a page here"),
        ("code", "a b", "letters, digits and hyphens"),
        ("lat", "91", "At most 90"),
        ("lat", "north", "Enter a number"),
        ("cart_litres", "-3", "At least 1"),
    ],
)
def test_bad_input_is_told_at_its_field(cast, coordinator, field, value, words):
    response = coordinator.post(NEW, SITE | {field: value})
    assert words in response.context["form"].errors[field][0]
    assert Site.objects.count() == 2


def test_correcting_a_site_never_changes_its_stage_and_is_kept_as_an_event(cast, coordinator):
    url = reverse("sites:edit", args=["OAK-1"])
    page = coordinator.get(url).content.decode()
    assert 'name="stage"' not in page
    assert 'name="code"' not in page
    coordinator.post(url, SITE | {"stage": "proposed", "built_on": "", "code": "OTHER-1"})
    site = Site.objects.get(code="OAK-1")
    assert site.stage == Stage.BUILT
    assert site.address == "910 Ash Street"
    assert "nearest address" in site.events.last().why


def test_cart_size_is_typed_in_gallons_and_kept_in_litres(cast, coordinator):
    coordinator.post(NEW, SITE | {"cart_litres": "64"})
    assert Site.objects.get(code="ASH-9").cart_litres == 242  # 64 × 3.785411784 = 242.27
    page = coordinator.get(reverse("sites:edit", args=["ASH-9"])).content.decode()
    assert "Cart size (gal)" in page
    assert 'value="64"' in page


BASIN = {
    "label": "B",
    "bottom_area_m2": "30",
    "top_area_m2": "60",
    "depth_m": "8",
    "lip_length_m": "2",
    "soak_mm_h": "1.5",
    "paved_m2": "900",
    "planted_catchment_m2": "0",
    "unpaved_curve_number": "77",
}


def test_a_basin_is_typed_in_feet_and_inches_and_kept_in_metres(cast, coordinator):
    response = coordinator.post(reverse("sites:basin_new", args=["OAK-1"]), BASIN)
    basin = Basin.objects.get(site=cast.site, label="B")
    assert response.url == reverse("sites:inlet_new", args=[basin.pk])
    assert basin.depth_m == pytest.approx(0.2032)
    assert basin.bottom_area_m2 == pytest.approx(2.7870912)
    assert basin.soak_mm_h == pytest.approx(38.1)
    page = coordinator.get(reverse("sites:basin_edit", args=[basin.pk])).content.decode()
    assert "Depth to the lip (in)" in page
    assert 'value="8"' in page


def test_a_metric_program_types_centimetres(cast, coordinator):
    factory.make_program(units="metric")
    coordinator.post(reverse("sites:basin_new", args=["OAK-1"]), BASIN | {"depth_m": "20"})
    assert Basin.objects.get(site=cast.site, label="B").depth_m == pytest.approx(0.2)


@pytest.mark.parametrize(
    ("field", "value", "words"),
    [
        ("label", "A", "OAK-1 already has a basin A."),
        ("top_area_m2", "10", "not narrower at the lip"),
        ("depth_m", "0", "more than zero"),
        ("unpaved_curve_number", "120", "between 1 and 100"),
    ],
)
def test_a_shape_that_is_no_basin_is_refused_at_its_field(cast, coordinator, field, value, words):
    response = coordinator.post(reverse("sites:basin_new", args=["OAK-1"]), BASIN | {field: value})
    assert words in response.context["form"].errors[field][0]
    assert not Basin.objects.filter(site=cast.site, label="B").exists()


INLET = {
    "kind": InletKind.CURB_CUT,
    "width_m": "18",
    "height_m": "6",
    "trap_length_m": "18",
    "trap_width_m": "12",
    "trap_depth_m": "12",
    "trap_lip_m": "2.5",
}


def test_an_inlet_comes_with_its_trap(cast, coordinator):
    basin = cast.site.basins.get()
    coordinator.post(reverse("sites:inlet_new", args=[basin.pk]), INLET)
    inlet = Inlet.objects.filter(basin=basin).latest("pk")
    assert inlet.height_m == pytest.approx(0.1524)
    assert inlet.trap.lip_below_inlet_m == pytest.approx(0.0635)


def test_a_lip_above_the_inlet_is_kept_and_called_a_construction_fault(cast, coordinator):
    basin = cast.site.basins.get()
    response = coordinator.post(
        reverse("sites:inlet_new", args=[basin.pk]), INLET | {"trap_lip_m": "-0.5"}
    )
    assert "construction fault" in said(response)
    assert SedimentTrap.objects.latest("pk").lip_below_inlet_m == pytest.approx(-0.0127)


@pytest.mark.parametrize(
    ("change", "field", "words"),
    [
        ({"height_m": ""}, "height_m", "A curb cut has a height."),
        ({"kind": InletKind.CURB_CORE}, "height_m", "round"),
        ({"trap_depth_m": ""}, "trap_depth_m", "all four measures"),
        ({"width_m": "0"}, "width_m", "more than zero"),
    ],
)
def test_sizes_that_do_not_fit_the_kind_are_refused(cast, coordinator, change, field, words):
    basin = cast.site.basins.get()
    response = coordinator.post(reverse("sites:inlet_new", args=[basin.pk]), INLET | change)
    assert words in response.context["form"].errors[field][0]
    assert basin.inlets.count() == 1


SLOPES = {"gutter_slope_percent": "4", "cross_slope_percent": "2"}


def test_on_a_sloping_street_more_water_passes_by_an_inlet(cast, coordinator):
    inlet = Inlet.objects.get(basin__site=cast.site)
    (standing,) = capacities([inlet.basin])
    coordinator.post(reverse("sites:inlet_edit", args=[inlet.pk]), INLET | SLOPES)
    inlet.refresh_from_db()
    assert (inlet.gutter_slope_percent, inlet.cross_slope_percent) == (4, 2)
    (running,) = capacities([inlet.basin])
    assert standing.passed_by_m3 == 0
    assert running.passed_by_m3 > 0
    page = coordinator.get(reverse("site", args=["OAK-1"])).content.decode()
    assert "on a slope of 4.0 % along the gutter and 2.0 % toward the curb" in page


@pytest.mark.parametrize(
    ("change", "field", "words"),
    [
        ({"cross_slope_percent": ""}, "cross_slope_percent", "leave both empty"),
        ({"gutter_slope_percent": ""}, "gutter_slope_percent", "leave both empty"),
        ({"gutter_slope_percent": "0"}, "gutter_slope_percent", "At a low point leave both"),
        ({"gutter_slope_percent": "45"}, "gutter_slope_percent", "At most 30"),
        ({"cross_slope_percent": "steep"}, "cross_slope_percent", "Enter a number"),
    ],
)
def test_slopes_that_no_street_has_are_refused_at_their_field(
    cast, coordinator, change, field, words
):
    inlet = Inlet.objects.get(basin__site=cast.site)
    response = coordinator.post(
        reverse("sites:inlet_edit", args=[inlet.pk]), INLET | SLOPES | change
    )
    form = response.context["form"]
    assert list(form.errors) == [field]
    assert words in form.errors[field][0]
    inlet.refresh_from_db()
    assert inlet.gutter_slope_percent is None


def test_correcting_an_inlet_corrects_its_trap(cast, coordinator):
    inlet = Inlet.objects.get(basin__site=cast.site)
    url = reverse("sites:inlet_edit", args=[inlet.pk])
    assert 'value="2.5"' in coordinator.get(url).content.decode()
    coordinator.post(url, INLET | {"trap_depth_m": "10"})
    inlet.trap.refresh_from_db()
    assert inlet.trap.depth_m == pytest.approx(0.254)


def test_plants_are_measured_again(cast, coordinator):
    plant = cast.site.basins.get().plantings.first()
    coordinator.post(
        reverse("sites:planting_edit", args=[plant.pk]),
        {"species": plant.species, "count": "11", "height_m": "0.5", "measured_on": "2026-07-01"},
    )
    plant.refresh_from_db()
    assert (plant.count, plant.height_m) == (11, pytest.approx(0.1524))
