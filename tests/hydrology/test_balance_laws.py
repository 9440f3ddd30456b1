"""What holds of the water balance for any basin and any rain."""

from dataclasses import fields

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from stewardship.hydrology.balance import BalanceResult, basin_balance, event_volume_balance
from stewardship.hydrology.basins import BasinArrays
from stewardship.hydrology.errors import InputError
from stewardship.hydrology.inlets import GradedInlets
from stewardship.hydrology.many import balance_of_each

FIGURES = [field.name for field in fields(BalanceResult) if field.name != "coarse"]
STEP_S = 300

rains = st.lists(st.one_of(st.just(0.0), st.floats(1e-3, 30)), min_size=1, max_size=30)
areas = st.floats(0.01, 50)


@st.composite
def any_basin(draw, **fixed):
    """One basin's parameters; its inlet stands on a slope or not."""
    bottom_m2 = draw(st.one_of(st.just(0.0), areas))
    on_slope = draw(st.booleans())
    facts = {
        "impervious_m2": draw(st.floats(0, 2_000)),
        "pervious_m2": draw(st.floats(0, 2_000)),
        "pervious_curve_number": 75,
        "bottom_m2": bottom_m2,
        "lip_m2": max(bottom_m2, 0.01) * draw(st.floats(1, 5)),
        "lip_depth_m": draw(st.floats(0.02, 1)),
        "lip_length_m": draw(st.floats(0.05, 5)),
        "infiltration_mm_h": draw(st.one_of(st.just(0.0), st.floats(0.1, 500))),
        "inlet_capacity_m3_s": draw(st.one_of(st.just(np.inf), st.floats(0, 0.05))),
        "length_m": draw(st.floats(0.05, 3)) if on_slope else 0.0,
        "gutter_slope": draw(st.floats(1e-3, 0.2)),
        "cross_slope": draw(st.floats(5e-3, 0.1)),
    }
    return facts | fixed


def as_arrays(several):
    """Basins of `any_basin` together."""
    table = {name: [one[name] for one in several] for name in several[0]}
    length_m, along, across = (
        np.array(table.pop(name))[:, None] for name in ("length_m", "gutter_slope", "cross_slope")
    )
    graded = GradedInlets(
        length_m=length_m,
        height_m=np.full_like(length_m, 0.15),
        diameter_m=np.zeros_like(length_m),
        gutter_slope=along,
        cross_slope=across,
    )
    return BasinArrays(**table, graded_inlets=graded)


@settings(max_examples=60, deadline=None)
@given(
    rain_mm=rains,
    step_s=st.sampled_from([60, 300, 900, 3_600]),
    facts=any_basin(),
    initial_share=st.one_of(st.just(0.0), st.floats(1e-6, 1.5)),
)
def test_no_water_is_lost_or_made(rain_mm, step_s, facts, initial_share):
    basin = as_arrays([facts])
    initial_m3 = basin.lip_volume_m3 * initial_share
    by_event = event_volume_balance(
        sum(rain_mm), len(rain_mm) * step_s, basin, initial_m3=initial_m3
    )
    by_step = basin_balance(rain_mm, step_s, basin, initial_m3=initial_m3, followed_h=30)
    for result in (by_step, by_event):
        there = initial_m3 + result.inflow_m3
        gone = result.soaked_m3 + result.spilled_m3 + result.stored_end_m3
        np.testing.assert_allclose(gone, there, rtol=1e-9, atol=1e-12)
        assert result.closure_error[0] <= 1e-9
        direct_m3 = sum(rain_mm) / 1_000 * basin.open_m2
        np.testing.assert_allclose(
            result.inflow_m3 + result.passed_by_m3,
            result.runoff_m3 + direct_m3,
            rtol=1e-9,
            atol=1e-12,
        )
        for name in set(FIGURES) - {"hours_to_drain"}:
            assert getattr(result, name)[0] >= 0
        assert np.isnan(result.hours_to_drain[0]) == (result.stored_end_m3[0] > 0)
        assert not result.hours_to_drain[0] < 0
    # The same storm's runoff, however it is told; evenly spread rain never passes by more.
    np.testing.assert_allclose(by_event.runoff_m3, by_step.runoff_m3, rtol=1e-9, atol=1e-12)
    assert by_event.passed_by_m3[0] <= by_step.passed_by_m3[0] + 1e-9 * by_step.runoff_m3[0]


@settings(max_examples=40, deadline=None)
@given(
    several=st.lists(st.tuples(any_basin(), rains), min_size=1, max_size=6),
    cells_at_once=st.integers(1, 80),
)
def test_basins_come_out_together_as_they_do_alone(several, cells_at_once):
    basins = as_arrays([facts for facts, _ in several])
    steps = max(len(rain_mm) for _, rain_mm in several)
    table_mm = [rain_mm + [0.0] * (steps - len(rain_mm)) for _, rain_mm in several]
    together = basin_balance(table_mm, STEP_S, basins)
    side_by_side = balance_of_each(
        [np.array(rain_mm) for _, rain_mm in several],
        STEP_S,
        basins,
        np.arange(len(several)),
        cells_at_once=cells_at_once,
    )
    for place, (facts, rain_mm) in enumerate(several):
        alone = basin_balance(rain_mm, STEP_S, as_arrays([facts]))
        for name in set(FIGURES) - {"closure_error"}:
            expected = pytest.approx(getattr(alone, name)[0], rel=1e-9, abs=1e-9, nan_ok=True)
            assert getattr(side_by_side, name)[place] == expected, name
            assert getattr(together, name)[place] == expected, name


def test_a_basin_may_come_many_times_and_the_order_is_kept():
    basins = BasinArrays(
        impervious_m2=[100, 200],
        pervious_m2=0,
        pervious_curve_number=70,
        bottom_m2=3,
        lip_m2=6,
        lip_depth_m=0.2,
        lip_length_m=0.6,
        infiltration_mm_h=40,
    )
    storms = [np.full(count, 1.5) for count in (40, 3, 1, 40, 200)]
    places = np.array([1, 0, 1, 0, 1])
    found = balance_of_each(storms, STEP_S, basins, places)
    for number, (storm, place) in enumerate(zip(storms, places, strict=True)):
        alone = basin_balance(storm, STEP_S, basins.take(np.array([place])))
        assert found.spilled_m3[number] == pytest.approx(alone.spilled_m3[0])
        assert found.hours_to_drain[number] == pytest.approx(alone.hours_to_drain[0])
    assert balance_of_each([], STEP_S, basins, np.array([], dtype=int)).inflow_m3.size == 0
    with pytest.raises(InputError, match="one basin for each storm"):
        balance_of_each(storms, STEP_S, basins, places[:2])


@settings(max_examples=40, deadline=None)
@given(rain_mm=rains, facts=any_basin(), more=st.floats(1, 4))
def test_a_thirstier_basin_spills_no_more_and_holds_less(rain_mm, facts, more):
    quicker = facts | {"infiltration_mm_h": facts["infiltration_mm_h"] * more}
    result = basin_balance(rain_mm, STEP_S, as_arrays([facts, quicker]), followed_h=6)
    tolerance_m3 = 1e-9 * result.inflow_m3[0]
    assert result.spilled_m3[1] <= result.spilled_m3[0] + tolerance_m3
    assert result.stored_end_m3[1] <= result.stored_end_m3[0] + tolerance_m3
    assert result.greatest_depth_m[1] <= result.greatest_depth_m[0] + 1e-9


@settings(max_examples=40, deadline=None)
@given(rain_mm=rains, facts=any_basin(), more=st.floats(1, 4))
def test_a_bigger_inlet_lets_no_more_pass_by(rain_mm, facts, more):
    for wider in ("length_m", "inlet_capacity_m3_s"):
        bigger = facts | {wider: facts[wider] * more}
        result = basin_balance(rain_mm, STEP_S, as_arrays([facts, bigger]))
        tolerance_m3 = 1e-9 * result.runoff_m3[0]
        assert result.passed_by_m3[1] <= result.passed_by_m3[0] + tolerance_m3
        assert result.inflow_m3[1] >= result.inflow_m3[0] - tolerance_m3


@settings(max_examples=40, deadline=None)
@given(rain_mm=rains, facts=any_basin(), more=st.floats(1, 4))
def test_a_longer_or_heavier_rain_never_brings_less(rain_mm, facts, more):
    basin = as_arrays([facts])
    usual = basin_balance(rain_mm, STEP_S, basin)
    heavier = basin_balance(np.array(rain_mm) * more, STEP_S, basin)
    longer = basin_balance([*rain_mm, 5.0], STEP_S, basin)
    for result in (heavier, longer):
        for name in ("runoff_m3", "inflow_m3", "passed_by_m3", "greatest_depth_m"):
            assert getattr(result, name)[0] >= getattr(usual, name)[0] * (1 - 1e-9) - 1e-9, name


@settings(max_examples=40, deadline=None)
@given(
    steps=st.integers(1, 24),
    rate_mm=st.floats(0.05, 10),
    paved_m2=st.floats(10, 1_000),
    area_m2=st.floats(0.5, 30),
    lip_depth_m=st.floats(0.05, 0.5),
    infiltration_mm_h=st.one_of(st.just(0.0), st.floats(0.1, 200)),
)
def test_event_volumes_bound_the_course_of_an_even_rain(
    steps, rate_mm, paved_m2, area_m2, lip_depth_m, infiltration_mm_h
):
    # Upright sides, all rain runs off evenly: what the event form lets soak away over the whole
    # time is what the ground can take at most, so it soaks no less and spills no more.
    basin = BasinArrays(
        impervious_m2=paved_m2,
        pervious_m2=0,
        pervious_curve_number=70,
        runoff_coefficient=1,
        bottom_m2=area_m2,
        lip_m2=area_m2,
        lip_depth_m=lip_depth_m,
        lip_length_m=0.6,
        infiltration_mm_h=infiltration_mm_h,
    )
    by_step = basin_balance(np.full(steps, rate_mm), STEP_S, basin, followed_h=0)
    by_event = event_volume_balance(rate_mm * steps, steps * STEP_S, basin, followed_h=0)
    tolerance_m3 = 1e-9 * by_step.inflow_m3[0]
    assert by_event.inflow_m3[0] == pytest.approx(by_step.inflow_m3[0])
    above_lip_m3 = np.maximum(by_step.stored_end_m3 - basin.lip_volume_m3, 0.0)
    assert by_event.soaked_m3[0] >= by_step.soaked_m3[0] - tolerance_m3
    assert by_event.spilled_m3[0] <= by_step.spilled_m3[0] + above_lip_m3[0] + tolerance_m3
    if infiltration_mm_h == 0:
        # Nothing soaks: both come to what does not fit.
        assert by_event.spilled_m3[0] == pytest.approx(
            by_step.spilled_m3[0] + above_lip_m3[0], rel=1e-9, abs=1e-9
        )
