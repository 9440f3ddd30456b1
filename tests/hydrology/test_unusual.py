"""Published rain frequencies read, and storms compared with them."""

import math

import pytest

from stewardship.hydrology.frequency_file import (
    Fault,
    UnreadableTable,
    read_published_table,
)
from stewardship.hydrology.unusual import (
    FIXED_TO_SLIDING,
    Frequencies,
    Greatest,
    bracket,
    compare,
    exceedance,
    quoted,
)
from tests.frequency_files import BROKEN, ZERO_FIVE, row, swap, table_file

UM_PER_INCH = 25_400
MIN_5, MIN_15, MIN_30, HOUR, HOURS_24 = 300, 900, 1_800, 3_600, 86_400


def um(inches: float) -> int:
    return round(inches * UM_PER_INCH)


#: Source: NOAA Atlas 14 Volume 9 Version 2, point 26.6, -81.9 (Fort Myers, Florida), partial-duration series, inches; the
#: published CSV. Only the rows and columns that are checked here.
FORT_MYERS = Frequencies(
    durations_s=(MIN_5, MIN_15, MIN_30, HOUR, HOURS_24),
    years=(1, 2, 5, 10, 25, 50, 100),
    depths_um=tuple(
        tuple(um(depth) for depth in depths)
        for depths in (
            (0.553, 0.620, 0.731, 0.822, 0.950, 1.05, 1.15),
            (0.988, 1.11, 1.30, 1.47, 1.70, 1.87, 2.05),
            (1.60, 1.79, 2.11, 2.37, 2.74, 3.02, 3.31),
            (2.14, 2.38, 2.79, 3.13, 3.62, 4.00, 4.38),
            (4.01, 4.76, 6.09, 7.28, 9.05, 10.5, 12.1),
        )
    ),
    annual=False,
)


@pytest.mark.parametrize(
    ("inches", "over", "under", "ari"),
    [
        (2.25, 1, 2, 1.37),
        (2.50, 2, 5, 2.62),
        (3.00, 5, 10, 7.67),
    ],
)
def test_a_depth_lies_between_two_published_ones_and_its_interval_follows_the_logarithm(
    inches, over, under, ari
):
    """Depths published by NOAA Atlas 14 (above); the interpolated intervals are worked out from them by hand."""
    found = bracket(FORT_MYERS, HOUR, Greatest(um(inches)))
    assert (found.over_years, found.under_years) == (over, under)
    assert found.ari_years == pytest.approx(ari, abs=0.005)


def test_a_depth_that_is_just_met_is_reached_and_has_the_published_interval():
    """60-min, 2 years: 2.38 in; 24-hr, 100 years: 12.1 in (NOAA Atlas 14, Fort Myers)."""
    found = bracket(FORT_MYERS, HOUR, Greatest(um(2.38)))
    assert (found.over_years, found.under_years) == (2, 5)
    assert found.ari_years == pytest.approx(2)
    greatest = bracket(FORT_MYERS, HOURS_24, Greatest(um(12.1)))
    assert (greatest.over_years, greatest.under_years, greatest.ari_years) == (100, None, None)


def test_less_than_the_first_published_depth_has_no_interval():
    found = bracket(FORT_MYERS, HOUR, Greatest(um(2.13)))
    assert (found.over_years, found.under_years, found.ari_years) == (None, 1, None)
    assert not found.near


@pytest.mark.parametrize(("ari", "percent"), [(1, 63.2), (2, 39.3), (5, 18.1), (10, 9.5)])
def test_the_chance_in_any_year_follows_from_the_interval(ari, percent):
    """AEP = 1 - exp(-1/ARI): NOAA Atlas 14, definitions of ARI and AEP; the percentages are worked out from it."""
    assert 100 * exceedance(ari) == pytest.approx(percent, abs=0.05)


def test_the_most_unusual_duration_is_quoted_and_never_the_storm_as_a_whole():
    greatest = {
        MIN_15: Greatest(um(1.2)),
        HOUR: Greatest(um(3.0)),
        HOURS_24: Greatest(um(3.2)),
    }
    found = compare(FORT_MYERS, greatest)
    assert [one.duration_s for one in found] == [MIN_15, HOUR, HOURS_24]
    assert quoted(found).duration_s == HOUR
    assert quoted(found).under_years == 10


def test_beyond_the_table_the_one_that_is_farthest_beyond_is_quoted():
    found = compare(FORT_MYERS, {HOUR: Greatest(um(5)), HOURS_24: Greatest(um(12.2))})
    assert all(one.over_years == 100 and one.under_years is None for one in found)
    assert quoted(found).duration_s == HOUR


def test_a_fixed_day_was_at_least_so_much_and_may_be_near_the_first_published_depth():
    """1.13 times the greatest fixed day: U.S. Weather Bureau Technical Paper 40, 1961."""
    measured = um(3.6)
    found = bracket(FORT_MYERS, HOURS_24, Greatest(measured, measured * FIXED_TO_SLIDING))
    assert found.at_least and found.near  # 3.6 in x 1.13 is 4.07 in, over 4.01
    small = um(3.5)  # 3.96 in
    assert not bracket(FORT_MYERS, HOURS_24, Greatest(small, small * FIXED_TO_SLIDING)).near
    reached = bracket(FORT_MYERS, HOURS_24, Greatest(um(4.8), um(5.4)))
    assert (reached.over_years, reached.at_least, reached.near) == (2, True, False)


def test_nothing_is_said_of_a_duration_without_figures_or_of_no_rain():
    assert bracket(FORT_MYERS, 7_200, Greatest(um(3))) is None
    assert bracket(FORT_MYERS, HOUR, Greatest(0)) is None
    assert compare(FORT_MYERS, {}) == ()


# -- files ----------------------------------------------------------------------------------------------------
def test_a_file_of_depths_in_inches_is_read():
    found = read_published_table(table_file())
    assert (found.lat, found.lon) == (34.521, -106.244)
    assert found.source == "NOAA Atlas 14 Volume 1 Version 5"
    assert found.place == "Palo Azul, New Mexico, USA"
    assert found.unit == "inches"
    table = found.frequencies
    assert table.years == (1, 2, 5, 10, 25, 50, 100, 200, 500, 1000)
    assert table.row_um(HOUR)[:4] == (um(0.5), um(0.7), um(1.0), um(1.25))
    assert table.row_um(HOURS_24)[0] == um(0.9)
    assert not table.annual


def test_a_file_in_millimetres_and_one_of_intensities_say_the_same_within_their_rounding():
    inches = read_published_table(table_file()).frequencies
    for unit in ("millimeters", "millimeters/hour", "inches/hour"):
        found = read_published_table(table_file(unit=unit)).frequencies
        for duration_s in (MIN_15, HOUR):
            for got, exact in zip(found.row_um(duration_s), inches.row_um(duration_s), strict=True):
                assert got == pytest.approx(exact, abs=510)


def test_published_intensities_become_depths():
    """60-min and 15-min intensities at 39, -105: NOAA Atlas 14 Volume 8 Version 2, mm/h, 1 to 100 years."""

    def sample(text: str) -> str:
        columns = "1,2,5,10,25,50,100"
        rows = {"15-min": "43,53,69,83,105,122,141", "60-min": "18,21,27,32,40,48,55"}
        kept = []
        for line in text.splitlines():
            name, _colon, cells = line.partition(":, ")
            if line.startswith("by duration"):
                line = f"by duration for ARI (years):, {columns}"
            elif name in rows:
                line = f"{name}:, {rows[name]}"
            elif cells and name[0].isdigit():
                line = f"{name}:, 0,0,0,0,0,0,0"  # rows that are not checked here: placeholders
            kept.append(line)
        return "\n".join(kept)

    table = read_published_table(table_file(unit="millimeters/hour", change=sample)).frequencies
    assert table.row_um(HOUR) == (18_000, 21_000, 27_000, 32_000, 40_000, 48_000, 55_000)
    assert table.row_um(MIN_15)[:2] == (10_750, 13_250)
    assert table.row_um(MIN_5) is None


def test_a_placeholder_or_a_rough_rounding_is_no_figure():
    table = read_published_table(table_file(change=row("5-min", ZERO_FIVE))).frequencies
    assert table.row_um(MIN_5) is None
    assert table.row_um(HOUR) is not None
    # 24 hours of 0.95 mm/h and more are printed as 1, 1, 2 …
    rough = read_published_table(table_file(unit="millimeters/hour")).frequencies
    assert rough.row_um(HOURS_24) is None
    assert rough.row_um(HOUR) is not None


def test_of_a_file_with_bounds_only_the_estimates_are_read():
    assert (
        read_published_table(table_file(bounds=True)).frequencies
        == read_published_table(table_file()).frequencies
    )


def test_annual_maxima_have_chances_instead_of_intervals():
    table = read_published_table(table_file(annual=True)).frequencies
    assert table.annual
    assert table.years[:3] == (2, 5, 10)
    assert table.row_um(HOUR)[0] == um(0.7)
    # AEP = 1 - exp(-1/ARI): a chance of 1 in 2 belongs to 1/ln 2 years
    assert table.aris[0] == pytest.approx(1 / math.log(2))
    assert table.chances[:2] == pytest.approx((0.5, 0.2))


def test_a_file_that_went_through_a_spreadsheet_is_read():
    def saved(text: str) -> str:
        lines = [f"{line},,," if line else ",,," for line in text.splitlines()]
        return "\ufeff" + "\r\n".join(line.replace("0.500", "0.5") for line in lines)

    assert (
        read_published_table(table_file(change=saved)).frequencies
        == read_published_table(table_file()).frequencies
    )


def test_a_file_without_a_name_of_the_place_is_read():
    assert read_published_table(table_file(place="None")).place == ""


@pytest.mark.parametrize("name", BROKEN)
def test_a_broken_file_says_what_is_wrong_and_where(name):
    text, fault, line = BROKEN[name]
    with pytest.raises(UnreadableTable) as refused:
        read_published_table(text)
    assert (refused.value.fault, refused.value.line) == (Fault[fault], line)


def test_a_table_of_nothing_but_placeholders_is_refused():
    def zeros(text: str) -> str:
        return "\n".join(
            f"{line.partition(':')[0]}:, 0,0,0,0,0,0,0,0,0,0" if line[:1].isdigit() else line
            for line in text.splitlines()
        )

    with pytest.raises(UnreadableTable) as refused:
        read_published_table(table_file(change=zeros))
    assert refused.value.fault == Fault.ROUGH


def test_a_unit_is_read_whatever_its_case():
    assert read_published_table(table_file(change=swap("(inches)", "(Inches)"))).unit == "inches"
