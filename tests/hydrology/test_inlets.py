"""Curb cuts standing and on a slope against HEC-22, curb cores against a run of EPA SWMM."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from stewardship.hydrology.errors import InputError
from stewardship.hydrology.inlets import (
    CURB_CUT_WEIR_SI,
    GradedInlets,
    curb_core_capacity_m3_s,
    curb_cut_capacity_m3_s,
    gutter_spread_m,
    on_grade_share,
)
from stewardship.hydrology.units import M3_PER_CUBIC_FOOT, M_PER_FOOT
from tests.hydrology.swmm_models import core_flow_cfs

US_WEIR = 3.0 * M_PER_FOOT**0.5  # HEC-22 prints 3.0 for feet; exactly converted to metres


def test_a_curb_cut_of_18_by_6_inches_flows_as_hec22_has_it():
    # HEC-22 3rd ed. equations 4-30, 4-31 with its US coefficients 3.0 and 0.67, g = 32.2 ft/s².
    # It prints the weir as 3.0 for feet and 1.60 for metres, which is 2.90 for feet.
    rounded = CURB_CUT_WEIR_SI / US_WEIR
    head_ft = np.array([0.10, 0.20, 0.30, 0.50, 0.60, 1.00])
    as_weir_cfs = np.array([0.142, 0.402, 0.739, 1.591, 2.091]) * rounded
    ours = curb_cut_capacity_m3_s(1.5 * M_PER_FOOT, 0.5 * M_PER_FOOT, head_ft * M_PER_FOOT)
    np.testing.assert_allclose(
        ours / M3_PER_CUBIC_FOOT, [*as_weir_cfs, 3.492], rtol=5e-4, atol=5e-4
    )


def test_the_si_weir_coefficient_gives_the_si_example():
    # HEC-22 3rd ed., sag example in SI without depression: L 2.5 m, d 0.05 m, 0.045 m³/s.
    assert curb_cut_capacity_m3_s(2.5, 0.13, 0.05) == pytest.approx(0.045, abs=0.0005)
    assert pytest.approx(US_WEIR, rel=0.04) == CURB_CUT_WEIR_SI


def test_a_cut_through_the_whole_curb_is_always_a_weir():
    assert curb_cut_capacity_m3_s(0.5, np.inf, 0.3) == pytest.approx(1.60 * 0.5 * 0.3**1.5)


def test_a_drowned_core_is_an_orifice():
    # Q = 0.60 A (2 g H)^0.5 to the centre: 4 in core 0.2971, 3 in core 0.1671 cfs at H = 0.5 ft.
    for diameter_in, expected_cfs in ((4, 0.2971), (3, 0.1671)):
        diameter_m = diameter_in / 12 * M_PER_FOOT
        ours = curb_core_capacity_m3_s(diameter_m, 0.5 * M_PER_FOOT + diameter_m / 2)
        assert ours / M3_PER_CUBIC_FOOT == pytest.approx(expected_cfs, rel=1e-3)


def test_a_core_flows_as_swmm_has_it_over_the_whole_range():
    # A 4 in side orifice of coefficient 0.6 in EPA SWMM 5.2.4; values noted from a run.
    head_ft = np.array([0.05, 0.10, 0.1667, 0.25, 0.3333, 0.50, 0.75, 1.00])
    swmm_cfs = [0.00996, 0.02818, 0.06065, 0.11137, 0.17143, 0.24254, 0.32086, 0.38352]
    ours = curb_core_capacity_m3_s(M_PER_FOOT / 3, head_ft * M_PER_FOOT)
    np.testing.assert_allclose(ours / M3_PER_CUBIC_FOOT, swmm_cfs, rtol=1.5e-3)


@pytest.mark.parametrize("head_ft", [0.1, 0.3, 0.8])
def test_a_core_flows_as_swmm_run_beside_it(tmp_path, head_ft):
    swmm_cfs = core_flow_cfs(tmp_path, diameter_ft=0.25, head_ft=head_ft)
    ours = curb_core_capacity_m3_s(0.25 * M_PER_FOOT, head_ft * M_PER_FOOT)
    assert ours / M3_PER_CUBIC_FOOT == pytest.approx(swmm_cfs, rel=1.5e-3)


@given(st.lists(st.floats(0, 2), min_size=2, max_size=9).map(sorted), st.floats(0.01, 1))
def test_more_water_in_the_gutter_never_lets_less_in(head_m, size_m):
    for flow in (
        curb_cut_capacity_m3_s(0.45, size_m, head_m),
        curb_core_capacity_m3_s(size_m, head_m),
    ):
        assert np.all(np.diff(flow) >= -1e-15)


def test_no_opening_or_no_water_lets_nothing_in():
    assert curb_core_capacity_m3_s(0, 0.1) == 0
    assert curb_cut_capacity_m3_s(0, 0.1, 0.1) == 0
    assert curb_core_capacity_m3_s(0.1, 0) == 0
    assert curb_cut_capacity_m3_s(0.5, 0.1, 0) == 0


def test_a_gutter_runs_as_wide_as_in_the_hec22_example():
    # HEC-22 3rd ed. example 4-1 (from memory): slopes 0.010 and 0.020, n 0.016; 0.05 m³/s run
    # 2.7 m wide, and a width of 2.5 m carries 0.04 m³/s.
    assert gutter_spread_m(0.05, 0.010, 0.020) == pytest.approx(2.7, abs=0.05)
    assert gutter_spread_m(0.04, 0.010, 0.020) == pytest.approx(2.5, abs=0.05)
    assert gutter_spread_m(0.0, 0.010, 0.020) == 0


def test_a_curb_cut_on_a_slope_takes_the_published_share():
    # The method of HEC-22 example 4-2 on a maker's help page (Bentley, article 9751): 0.00688 m³/s,
    # slope 0.0045, n 0.016, equivalent cross slope 0.09069: a full opening is 1.007 m long, one of
    # 0.94 m takes 99.2 %.
    flow, along, across = 0.00688, 0.0045, 0.09069
    assert on_grade_share(flow, 0.94, along, across) == pytest.approx(0.992, abs=0.0005)
    assert on_grade_share(flow, 1.008, along, across) == 1
    assert on_grade_share(flow, 1.006, along, across) < 1
    # HEC-22 3rd ed. example 4-11 (from memory): 0.05 m³/s, slopes 0.01 and 0.02, 3 m: 61 %.
    assert on_grade_share(0.05, 3.0, 0.01, 0.02) == pytest.approx(0.61, abs=0.005)


def one_inlet(**changes):
    values = {
        "length_m": 0.45,
        "height_m": 0.15,
        "diameter_m": 0.0,
        "gutter_slope": 0.02,
        "cross_slope": 0.02,
    }
    return GradedInlets(**{name: [[value]] for name, value in (values | changes).items()})


def let_in(inlets, *flow_m3_s):
    return inlets.admitted_m3_s(np.array(flow_m3_s)[:, None])[:, 0]


def test_a_steeper_street_lets_more_water_pass_a_cut():
    flows = (0.0, 0.0005, 0.002, 0.01, 0.2)
    gentle = let_in(one_inlet(gutter_slope=0.005), *flows)
    steep = let_in(one_inlet(gutter_slope=0.08), *flows)
    assert gentle[0] == steep[0] == 0
    assert np.all(steep[1:] < gentle[1:])
    # However much comes, no more goes in than would from standing water.
    assert np.all(gentle <= curb_cut_capacity_m3_s(0.45, 0.15) + 1e-15)


def test_a_core_takes_what_the_gutters_own_depth_drives_through_it():
    core = one_inlet(length_m=0.0, diameter_m=0.1)
    depth_m = 0.02 * gutter_spread_m(0.004, 0.02, 0.02)
    assert let_in(core, 0.004)[0] == pytest.approx(float(curb_core_capacity_m3_s(0.1, depth_m)))
    assert let_in(core, 0.00001)[0] == 0.00001
    assert let_in(core, 5.0)[0] == pytest.approx(float(curb_core_capacity_m3_s(0.1)))


def test_a_second_inlet_gets_what_the_first_one_left():
    first = let_in(one_inlet(), 0.003)[0]
    second = let_in(one_inlet(length_m=0.0, diameter_m=0.1), 0.003 - first)[0]
    pair = GradedInlets(
        length_m=[[0.45, 0.0]],
        height_m=[[0.15, 0.0]],
        diameter_m=[[0.0, 0.1]],
        gutter_slope=[[0.02, 0.02]],
        cross_slope=[[0.02, 0.02]],
    )
    assert let_in(pair, 0.003)[0] == pytest.approx(first + second, rel=1e-12)


@given(
    flow_m3_s=st.lists(st.floats(0, 0.5), min_size=2, max_size=9).map(sorted),
    length_m=st.one_of(st.just(0.0), st.floats(0.05, 5)),
    size_m=st.floats(0.02, 0.3),
    along=st.floats(1e-4, 0.3),
    across=st.floats(1e-3, 0.3),
)
def test_an_inlet_on_a_slope_takes_from_nothing_to_all_and_more_of_more(
    flow_m3_s, length_m, size_m, along, across
):
    inlets = one_inlet(
        length_m=length_m,
        height_m=size_m,
        diameter_m=0.0 if length_m else size_m,
        gutter_slope=along,
        cross_slope=across,
    )
    admitted = let_in(inlets, *flow_m3_s)
    assert np.all((admitted >= 0) & (admitted <= flow_m3_s))
    assert np.all(np.diff(admitted) >= -1e-12)
    assert np.all(np.diff(np.array(flow_m3_s) - admitted) >= -1e-12)


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"gutter_slope": 0.0}, "slope"),
        ({"cross_slope": np.nan}, "slope"),
        ({"length_m": -1.0}, "below zero or missing"),
    ],
)
def test_inlets_on_slopes_that_cannot_be_are_refused(changes, sentence):
    with pytest.raises(InputError, match=sentence):
        one_inlet(**changes)
    with pytest.raises(InputError, match="tables"):
        GradedInlets(length_m=1, height_m=1, diameter_m=0, gutter_slope=1, cross_slope=1)
    with pytest.raises(InputError, match="flow"):
        on_grade_share(-1, 1, 0.01, 0.01)


def test_lengths_that_cannot_be_are_refused():
    for refused in (
        lambda: curb_core_capacity_m3_s(-0.1),
        lambda: curb_core_capacity_m3_s(0.1, np.nan),
        lambda: curb_cut_capacity_m3_s(0.5, -0.1),
    ):
        with pytest.raises(InputError, match="below zero or missing"):
            refused()
