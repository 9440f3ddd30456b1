"""Step 3 of taking on a household: what will be built and what it would do."""

import pytest

from sites.choices import InletKind
from sites.models import Basin
from stewardship.agreements import services
from tests.front.walk import BASIN, WHERE, at, begin, text_of, up_to_works

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen_day")]


def test_sizes_are_kept_in_metres_and_as_they_were_typed(coordinator):
    agreement = up_to_works(coordinator)
    basin = Basin.objects.get(site__agreements=agreement)
    # 8 in = 0.2032 m and 30 ft² = 2.787 m² (international inch and foot, NIST SP 811)
    assert basin.depth_m == pytest.approx(0.2032)
    assert basin.bottom_area_m2 == pytest.approx(30 * 0.3048**2)
    assert basin.typed["depth_m"] == "8 in"
    trap = basin.inlets.get().trap
    assert trap.typed == {
        "length_m": "18 in",
        "width_m": "12 in",
        "depth_m": "12 in",
        "lip_below_inlet_m": "2.5 in",
    }
    assert "18 in × 12 in, 12 in" in text_of(coordinator.get(at(agreement, "works")))


def test_the_page_says_what_it_holds_and_what_an_inch_would_do(coordinator):
    agreement = up_to_works(coordinator)
    (capacity,) = coordinator.get(at(agreement, "works")).context["planned"]
    # a frustum: h/3 (A + √(AB) + B), in ft³ with A = 30, B = 70 ft² and h = 8 in; 1 ft³ = 0.028316846592 m³
    cubic_feet = (8 / 12) / 3 * (30 + (30 * 70) ** 0.5 + 70)
    assert capacity.holds_m3 == pytest.approx(cubic_feet * 0.028316846592)
    assert capacity.inflow_m3 == pytest.approx(capacity.soaked_m3 + capacity.spilled_m3, rel=1e-9)


def test_slopes_of_the_gutter_may_be_given_and_let_water_pass_by(coordinator):
    agreement = up_to_works(coordinator)
    basin = Basin.objects.get(site__agreements=agreement)
    page = at(agreement, "works")
    (before,) = coordinator.get(page).context["planned"]
    slopes = {"inlet-gutter_slope_percent": "6", "inlet-cross_slope_percent": "2"}
    coordinator.post(page + f"?basin={basin.pk}", BASIN | slopes)
    (after,) = coordinator.get(page).context["planned"]
    assert basin.inlets.get().gutter_slope_percent == 6
    assert after.passed_by_m3 > before.passed_by_m3


def test_everything_wrong_is_told_at_once(coordinator):
    agreement = begin(coordinator)
    coordinator.post(at(agreement, "where"), WHERE)
    response = coordinator.post(
        at(agreement, "works"),
        BASIN | {"top_area_m2": "20", "inlet-height_m": "", "inlet-trap_width_m": ""},
    )
    assert "top_area_m2" in response.context["form"].errors
    assert {"height_m", "trap_width_m"} <= set(response.context["inlet_form"].errors)
    assert not Basin.objects.filter(site__agreements=agreement).exists()


def test_a_basin_is_corrected_and_taken_out_again(coordinator):
    agreement = up_to_works(coordinator)
    basin = Basin.objects.get(site__agreements=agreement)
    coordinator.post(
        at(agreement, "works") + f"?basin={basin.pk}",
        BASIN | {"depth_m": "10", "inlet-kind": "curb_core", "inlet-height_m": ""},
    )
    basin.refresh_from_db()
    assert basin.typed["depth_m"] == "10 in"
    assert basin.inlets.get().kind == InletKind.CURB_CORE
    coordinator.post(at(agreement, "works"), {"do": "remove", "basin": basin.pk})
    assert not Basin.objects.filter(site__agreements=agreement).exists()


def test_a_built_basin_is_not_taken_out(coordinator, cast):
    agreement = services.draft_agreement(instrument="licence", sites=[cast.site])
    basin = cast.site.basins.get()
    response = coordinator.post(
        at(agreement, "works"), {"do": "remove", "basin": basin.pk}, follow=True
    )
    assert "cannot be taken out of the book" in text_of(response)
    assert cast.site.basins.count() == 1
