"""Curve numbers against TR-55 and against another implementation."""

import cnkit
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from stewardship.hydrology.errors import InputError
from stewardship.hydrology.runoff import (
    PAVED_CURVE_NUMBER,
    catchment_runoff_m3,
    potential_retention_mm,
    runoff_mm,
)
from stewardship.hydrology.units import M_PER_FOOT, MM_PER_INCH

# TR-55 (June 1986), table 2-1: runoff depth in inches for rain in inches by curve number.
TABLE_2_1_NUMBERS = (70, 75, 80, 85, 90, 95, 98)
TABLE_2_1 = {
    1.0: (0.00, 0.03, 0.08, 0.17, 0.32, 0.56, 0.79),
    1.2: (0.03, 0.07, 0.15, 0.27, 0.46, 0.74, 0.99),
    1.4: (0.06, 0.13, 0.24, 0.39, 0.61, 0.92, 1.18),
    1.6: (0.11, 0.20, 0.34, 0.52, 0.76, 1.11, 1.38),
    2.0: (0.24, 0.38, 0.56, 0.80, 1.09, 1.48, 1.77),
    3.0: (0.71, 0.96, 1.25, 1.59, 1.98, 2.45, 2.77),
    6.0: (2.81, 3.28, 3.78, 4.30, 4.85, 5.41, 5.76),
}


@pytest.mark.parametrize(("rain_in", "runoff_in"), TABLE_2_1.items())
def test_runoff_depths_of_tr55_table_2_1(rain_in, runoff_in):
    ours_in = runoff_mm(rain_in * MM_PER_INCH, TABLE_2_1_NUMBERS) / MM_PER_INCH
    np.testing.assert_allclose(ours_in, runoff_in, rtol=0, atol=0.00501)


def test_initial_abstraction_of_tr55_table_4_1_holds_back_all_rain_below_it():
    # TR-55 table 4-1, inches.
    for number, abstraction_in in ((70, 0.857), (80, 0.500), (90, 0.222), (95, 0.105), (98, 0.041)):
        ours_in = 0.2 * potential_retention_mm(number) / MM_PER_INCH
        assert ours_in == pytest.approx(abstraction_in, abs=0.0005)
        assert runoff_mm((abstraction_in - 0.001) * MM_PER_INCH, number) == 0
        assert runoff_mm((abstraction_in + 0.001) * MM_PER_INCH, number) > 0


@pytest.mark.parametrize(
    ("curve_number", "printed_in"), [(70, 2.81), (75, 3.28), (77, 3.48), (74, 3.19)]
)
def test_tr55_examples_2_1_to_2_4(curve_number, printed_in):
    # TR-55 examples 2-1 to 2-4: 250 acres, 6.0 in of rain, curve numbers rounded as printed there.
    # The last is printed 3.19 where TR-55's own equation gives 3.185.
    ours_in = runoff_mm(6.0 * MM_PER_INCH, curve_number) / MM_PER_INCH
    assert ours_in == pytest.approx(printed_in, abs=0.0055)


def test_cnkit_computes_the_same_runoff():
    # cnkit 1.1.0, an independent implementation.
    for rain_in in (0.02, 0.5, 1.0, 2.7, 6.0):
        for number in (55, 70, 80, 90, 98):
            ours_in = runoff_mm(rain_in * MM_PER_INCH, number) / MM_PER_INCH
            assert ours_in == pytest.approx(cnkit.runoff(rain_in, number, 0.2), abs=1e-9)


def test_street_and_soil_are_added_not_averaged():
    # Half street, half soil of curve number 68, 0.5 in: 0.16 in over the whole; a number weighted
    # over both (83) would give 0.004 in. Arithmetic of TR-55 equation 2-1.
    volume_m3 = catchment_runoff_m3(
        12.7, impervious_m2=100, pervious_m2=100, pervious_curve_number=68
    )
    assert volume_m3 / 200 * 1_000 / MM_PER_INCH == pytest.approx(0.16, abs=0.005)
    assert runoff_mm(12.7, 83) / MM_PER_INCH == pytest.approx(0.004, abs=0.0005)


def test_a_coefficient_stands_in_for_the_numbers_where_given():
    volume_m3 = catchment_runoff_m3(
        10,
        impervious_m2=[100, 100],
        pervious_m2=[100, 100],
        pervious_curve_number=60,
        runoff_coefficient=[0.9, np.nan],
    )
    # 10 mm on 200 m² are 2 m³.
    assert volume_m3[0] == pytest.approx(1.8)
    assert volume_m3[1] == pytest.approx(0.1 * runoff_mm(10, PAVED_CURVE_NUMBER))


def test_an_even_rain_runs_off_as_the_rational_method_has_it():
    # Q = C i A: 25 mm/h on 200 m² of street without losses is 1.3889 L/s; EPA SWMM 5.2.4 gave 1.38890.
    an_hour_m3 = catchment_runoff_m3(
        25, impervious_m2=200, pervious_m2=0, pervious_curve_number=70, runoff_coefficient=1
    )
    assert an_hour_m3 / 3_600 * 1_000 == pytest.approx(1.3889, abs=5e-5)


@pytest.mark.parametrize(
    ("shares", "acres", "weighted"),
    [
        ((0.25, 0.22), (22.1, 21.2), 0.235),
        ((0.90, 0.15, 0.25, 0.22), (5.4, 1.6, 18.6, 17.7), 0.315),
    ],
)
def test_shares_of_several_surfaces_add_up_to_the_weighted_coefficient(shares, acres, weighted):
    # HEC-22 3rd ed. example 3-1 (from memory), before and after building.
    volume_m3 = catchment_runoff_m3(
        10,
        impervious_m2=0,
        pervious_m2=acres,
        pervious_curve_number=70,
        runoff_coefficient=shares,
    )
    assert volume_m3.sum() / (0.010 * sum(acres)) == pytest.approx(weighted, abs=0.0005)


def test_the_coefficient_of_the_simple_method_gives_its_volume():
    # Schueler 1987: Rv = 0.05 + 0.009 I; 85 % paved, 1.25 in: 0.08490 cubic feet a square foot.
    volume_m3 = catchment_runoff_m3(
        1.25 * MM_PER_INCH,
        impervious_m2=0.85,
        pervious_m2=0.15,
        pervious_curve_number=70,
        runoff_coefficient=0.05 + 0.009 * 85,
    )
    assert volume_m3 / M_PER_FOOT == pytest.approx(0.08490, abs=5e-6)


def test_a_curve_number_of_100_sheds_everything():
    assert runoff_mm([0, 3, 20], 100).tolist() == [0, 3, 20]


@given(
    rain_mm=st.lists(st.floats(0, 300), min_size=2, max_size=8).map(sorted),
    curve_number=st.floats(30, 100),
)
def test_runoff_never_falls_and_never_exceeds_the_rain(rain_mm, curve_number):
    depth_mm = runoff_mm(rain_mm, curve_number)
    assert np.all(np.diff(depth_mm) >= -1e-12)
    assert np.all((depth_mm >= 0) & (depth_mm <= np.array(rain_mm) + 1e-12))


def test_quantities_that_cannot_be_are_refused():
    with pytest.raises(InputError, match="Rain"):
        runoff_mm(-1, 98)
    with pytest.raises(InputError, match="Rain"):
        runoff_mm(np.nan, 98)
    for number in (0, 101, np.nan):
        with pytest.raises(InputError, match="curve number"):
            runoff_mm(1, number)
    with pytest.raises(InputError, match="area"):
        catchment_runoff_m3(1, impervious_m2=-1, pervious_m2=0, pervious_curve_number=60)
    with pytest.raises(InputError, match="coefficient"):
        catchment_runoff_m3(
            1, impervious_m2=1, pervious_m2=0, pervious_curve_number=60, runoff_coefficient=1.2
        )
