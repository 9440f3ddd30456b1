"""Curb cuts against HEC-22, curb cores against a run of EPA SWMM."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from stewardship.hydrology.errors import InputError
from stewardship.hydrology.inlets import (
    CURB_CUT_WEIR_SI,
    curb_core_capacity_m3_s,
    curb_cut_capacity_m3_s,
)
from stewardship.hydrology.units import M3_PER_CUBIC_FOOT, M_PER_FOOT
from tests.hydrology.swmm_models import core_flow_cfs

US_WEIR = 3.0 * M_PER_FOOT**0.5  # HEC-22 prints 3.0 for feet; exactly converted to metres


def test_a_curb_cut_of_18_by_6_inches_flows_as_hec22_has_it():
    # HEC-22 3rd ed. equations 4-30, 4-31 with its US coefficients 3.0 and 0.67, g = 32.2 ft/s².
    head_ft = np.array([0.10, 0.20, 0.30, 0.50, 0.60, 1.00])
    expected_cfs = [0.142, 0.402, 0.739, 1.591, 2.091, 3.492]
    ours = curb_cut_capacity_m3_s(
        1.5 * M_PER_FOOT, 0.5 * M_PER_FOOT, head_ft * M_PER_FOOT, weir_coefficient=US_WEIR
    )
    np.testing.assert_allclose(ours / M3_PER_CUBIC_FOOT, expected_cfs, rtol=5e-4, atol=5e-4)


def test_the_si_weir_coefficient_gives_the_si_example():
    # HEC-22 3rd ed., sag example in SI without depression: L 2.5 m, d 0.05 m, 0.045 m³/s.
    assert curb_cut_capacity_m3_s(2.5, 0.13, 0.05) == pytest.approx(0.045, abs=0.0005)
    # HEC-22 prints 1.60 in SI; its 3.0 in US units converts to 1.656.
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


def test_lengths_that_cannot_be_are_refused():
    for refused in (
        lambda: curb_core_capacity_m3_s(-0.1),
        lambda: curb_core_capacity_m3_s(0.1, np.nan),
        lambda: curb_cut_capacity_m3_s(0.5, -0.1),
    ):
        with pytest.raises(InputError, match="below zero or missing"):
            refused()
