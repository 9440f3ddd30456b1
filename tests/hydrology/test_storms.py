"""Storms on open data, on a worked hyetograph, and against a second, plain way to count."""

import bisect
from fractions import Fraction

import cnkit
import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from stewardship.hydrology.errors import InputError
from stewardship.hydrology.storms import (
    FIRST_IN_SERIES,
    find_storms,
    is_representative,
    join_spans,
    peak_intensity_mm_h,
    rain_in_steps,
)
from tests.hydrology.open_rain import (
    DAY_S,
    HOUR_S,
    UM_PER_INCH,
    daily,
    hourly,
    instant,
    um_from_inches,
)

GAUGES = ("EWR", "JFK", "LGA")


# Real hours: counted from the file by gap - 1 h >= dry time; cnkit below counts the same.
@pytest.mark.parametrize(
    ("dry_h", "counts"),
    [
        (3, (118, 121, 130)),
        (6, (101, 101, 110)),
        (12, (87, 86, 93)),
        (24, (77, 71, 77)),
    ],
)
def test_hourly_rain_of_a_year_splits_into_the_counted_storms(dry_h, counts):
    for gauge, count in zip(GAUGES, counts, strict=True):
        rain = hourly(gauge)
        storms = find_storms(rain.start_s, rain.end_s, rain.depth_um, dry_gap_s=dry_h * HOUR_S)
        assert len(storms) == count


def test_cnkit_separates_the_same_storms():
    # cnkit 1.1.0, separate_rainfall_events: another implementation, on an hourly pandas series.
    for gauge in GAUGES:
        rain = hourly(gauge)
        inches = pd.Series(
            rain.depth_um / UM_PER_INCH, index=pd.to_datetime(rain.start_s, unit="s")
        ).asfreq("h", fill_value=0.0)
        theirs = cnkit.separate_rainfall_events(inches, min_dry_hours=6, min_depth_in=0)
        ours = find_storms(rain.start_s, rain.end_s, rain.depth_um)
        assert ours.start_s.tolist() == [int(start.timestamp()) for start in theirs["start"]]
        assert ours.end_s.tolist() == [int(end.timestamp()) + HOUR_S for end in theirs["end"]]
        np.testing.assert_allclose(ours.depth_um / UM_PER_INCH, theirs["P_in"], rtol=0, atol=1e-9)
        np.testing.assert_allclose(
            ours.peak_um[HOUR_S] / UM_PER_INCH, theirs["peak_intensity_in_hr"], rtol=0, atol=1e-9
        )


def test_the_year_at_ewr_adds_up_to_its_file():
    rain = hourly("EWR")
    storms = find_storms(rain.start_s, rain.end_s, rain.depth_um)
    assert storms.depth_um.sum() == rain.depth_um.sum() == um_from_inches(43.88)
    assert storms.wet_count.sum() == 596
    assert storms.wet_s.sum() == 596 * HOUR_S
    assert np.count_nonzero(storms.depth_um > um_from_inches(0.1)) == 61
    assert storms.dry_before_s.max() == 312 * HOUR_S
    assert storms.peak_um[HOUR_S].max() == um_from_inches(1.21)
    assert not storms.coarse.any()

    big = int(storms.depth_um.argmax())
    assert storms.depth_um[big] == um_from_inches(3.91)
    assert storms.start_s[big] == instant("2013-06-07 00:00")
    assert storms.end_s[big] == instant("2013-06-08 07:00")
    assert storms.wet_count[big] == 30
    assert storms.peak_um[HOUR_S][big] == um_from_inches(0.50)
    assert storms.dry_before_s[big] == 74 * HOUR_S

    assert storms.depth_um[:3].tolist() == um_from_inches([0.56, 0.15, 0.72]).tolist()
    assert storms.dry_before_s[:3].tolist() == [FIRST_IN_SERIES, 67 * HOUR_S, 20 * HOUR_S]


@pytest.mark.parametrize(
    ("gauge", "total_in", "wet", "over_tenth", "longest_dry_h", "biggest_in"),
    [("JFK", 34.69, 576, 56, 337, 4.42), ("LGA", 38.14, 577, 55, 327, 4.22)],
)
def test_the_year_at_the_other_gauges_adds_up(
    gauge, total_in, wet, over_tenth, longest_dry_h, biggest_in
):
    rain = hourly(gauge)
    storms = find_storms(rain.start_s, rain.end_s, rain.depth_um)
    assert storms.depth_um.sum() == um_from_inches(total_in)
    assert storms.wet_count.sum() == wet
    assert np.count_nonzero(storms.depth_um > um_from_inches(0.1)) == over_tenth
    assert storms.dry_before_s.max() == longest_dry_h * HOUR_S
    assert storms.depth_um.max() == um_from_inches(biggest_in)


def test_consecutive_wet_days_of_seattle_join_and_are_coarse():
    # Facts of the file: 204 wet spells, 623 wet days, 4426.0 mm, the wettest 178.8 mm in 14 days.
    rain = daily()
    storms = find_storms(rain.start_s, rain.end_s, rain.depth_um)
    assert len(storms) == 204
    assert storms.wet_count.sum() == 623
    assert storms.depth_um.sum() == 4_426_000
    assert storms.coarse.all()
    assert np.isnan(storms.peak_um[HOUR_S]).all()
    assert storms.peak_um[DAY_S].max() == 55_900
    assert storms.wet_count.max() == 19
    assert storms.dry_before_s.max() == 48 * DAY_S

    wettest = int(storms.depth_um.argmax())
    assert storms.depth_um[wettest] == 178_800
    assert storms.start_s[wettest] == instant("2015-11-30 00:00")
    assert storms.end_s[wettest] == instant("2015-12-14 00:00")
    assert (storms.start_s[0], storms.depth_um[0]) == (instant("2012-01-02 00:00"), 35_800)


def test_representative_storms_of_the_year():
    # 40 CFR 122.21(g)(7)(ii): over 0.1 in, 72 h since the last one over 0.1 in; counted by hand
    # from the same file. The first of the year has nothing known before it.
    for gauge, expected in zip(GAUGES, (41, 35, 35), strict=True):
        rain = hourly(gauge)
        storms = find_storms(rain.start_s, rain.end_s, rain.depth_um)
        marked = is_representative(storms.depth_um, storms.start_s, storms.end_s)
        assert np.count_nonzero(marked) == expected


def test_a_tenth_of_an_inch_is_not_enough_and_72_hours_are():
    hours = np.array([0, 10, 10 + 72, 200, 200 + 72, 500])
    start_s = hours * HOUR_S
    end_s = start_s + np.array([1, 0.5, 1, 1, 1, 1]) * HOUR_S
    depth_um = um_from_inches([0.2, 0.1, 0.11, 0.2, 0.2, 0.1])
    marked = is_representative(depth_um, start_s, end_s.astype(int))
    # The 0.1 in at hour 10 does not count, so hour 82 has 81 h before it; hour 272 has only 71.
    assert marked.tolist() == [False, False, True, True, False, False]
    end_s[3] = start_s[3]
    with pytest.raises(InputError):
        is_representative(depth_um, start_s, end_s.astype(int))


def test_exactly_72_hours_are_long_enough():
    depth_um = um_from_inches([0.2, 0.2])
    for gap_h, expected in ((71, False), (72, True)):
        start_s = np.array([0, (1 + gap_h) * HOUR_S])
        marked = is_representative(depth_um, start_s, start_s + HOUR_S)
        assert marked.tolist() == [False, expected]


@pytest.mark.parametrize(("gap_s", "count"), [(6 * HOUR_S - 1, 1), (6 * HOUR_S, 2)])
def test_a_gap_of_exactly_six_hours_splits(gap_s, count):
    # SWMM 5 statistics tool: events are separated by 6 or more hours without rain.
    storms = find_storms([0, 300 + gap_s], [300, 600 + gap_s], [254, 254])
    assert len(storms) == count


def test_peak_windows_of_a_worked_hyetograph():
    # Worked example: 5-min depths, window sums 0.30, 0.65, 0.85 and 0.85 in.
    depth_um = um_from_inches([0.05, 0.10, 0.20, 0.30, 0.15, 0.05])
    start_s = np.arange(6) * 300
    storms = find_storms(start_s, start_s + 300, depth_um, windows_s=(300, 600, 900, 1_800, 3_600))
    expected_in = {300: 0.30, 600: 0.50, 900: 0.65, 1_800: 0.85, 3_600: 0.85}
    for window_s, depth_in in expected_in.items():
        assert storms.peak_um[window_s].tolist() == [um_from_inches(depth_in)]
    intensity_in_h = [
        peak_intensity_mm_h(storms.peak_um[window_s], window_s)[0] / 25.4
        for window_s in (300, 600, 900, 1_800, 3_600)
    ]
    assert intensity_in_h == pytest.approx([3.60, 3.00, 2.60, 1.70, 0.85], abs=1e-12)
    assert storms.mean_intensity_mm_h[0] == pytest.approx(1.70 * 25.4)


def test_hourly_readings_have_no_five_minute_peak():
    storms = find_storms([0, 3_600], [3_600, 7_200], [2_540, 5_080])
    for window_s in (300, 900, 1_800):
        assert np.isnan(storms.peak_um[window_s]).all()
    assert storms.peak_um[3_600].tolist() == [5_080]
    assert storms.peak_um[86_400].tolist() == [7_620]


def test_one_coarse_storm_does_not_take_the_peaks_of_its_neighbours():
    storms = find_storms([0, 100_000], [3_600, 100_300], [254, 508])
    assert np.isnan(storms.peak_um[300][0])
    assert storms.peak_um[300][1] == 508


def test_a_day_long_window_does_not_reach_into_the_next_storm():
    # Storms 7 h apart: any 24 h hold both, yet each has its own depth only.
    start_s = np.array([0, 9 * HOUR_S])
    storms = find_storms(start_s, start_s + 2 * HOUR_S, [10_000, 20_000])
    assert storms.peak_um[DAY_S].tolist() == [10_000, 20_000]


def test_a_long_storm_does_not_borrow_from_a_downpour_before_or_after_it():
    # 30 hours of 1 mm between two hours of 50 mm, each 7 h away: any 24 h of its own hold 24 mm.
    start_s = np.array([0, *range(8, 38), 45]) * HOUR_S
    depth_um = np.array([50_000] + [1_000] * 30 + [50_000])
    storms = find_storms(start_s, start_s + HOUR_S, depth_um)
    assert storms.peak_um[DAY_S].tolist() == [50_000, 24_000, 50_000]


def test_a_window_may_open_inside_a_reading():
    # 10 mm in 10 min, then 1 mm in 20 min: the best 15 min take 5 of the 20: 10.25 mm.
    storms = find_storms([0, 600], [600, 1_800], [10_000, 1_000], windows_s=(1_500,))
    assert storms.peak_um[1_500][0] == pytest.approx(10_000 + 1_000 * 900 / 1_200)


def test_dry_readings_change_nothing_but_the_positions():
    start_s = np.arange(8) * 300
    depth_um = np.array([0, 0, 254, 0, 508, 0, 0, 0])
    storms = find_storms(start_s, start_s + 300, depth_um)
    assert (storms.first_index[0], storms.last_index[0]) == (2, 4)
    assert (storms.start_s[0], storms.end_s[0]) == (600, 1_500)
    assert (storms.wet_count[0], storms.wet_s[0]) == (2, 600)


def test_no_rain_makes_no_storm():
    for nothing in (find_storms([], [], []), find_storms([0, 300], [300, 600], [0, 0])):
        assert len(nothing) == 0
        assert nothing.peak_um[3_600].shape == (0,)
        assert nothing.mean_intensity_mm_h.shape == (0,)


@pytest.mark.parametrize(
    ("start_s", "end_s", "depth_um", "sentence"),
    [
        ([0], [300], [-1], "below zero"),
        ([0], [0], [1], "ends before or when it starts"),
        ([300], [0], [1], "ends before or when it starts"),
        ([0, 200], [300, 500], [1, 1], "overlap"),
        ([300, 0], [600, 300], [1, 1], "not in order"),
        ([0], [300], [0.5], "whole micrometres"),
        ([0.0], [300], [1], "whole epoch seconds"),
        ([0, 300], [300, 600], [1], "one start, one end and one depth"),
    ],
)
def test_readings_that_cannot_be_are_refused_in_a_sentence(start_s, end_s, depth_um, sentence):
    with pytest.raises(InputError, match=sentence):
        find_storms(start_s, end_s, depth_um)


def test_a_gap_or_window_of_no_length_is_refused():
    with pytest.raises(InputError, match="dry gap"):
        find_storms([0], [300], [1], dry_gap_s=0)
    with pytest.raises(InputError, match="window"):
        find_storms([0], [300], [1], windows_s=(0,))


# --- a second way to count, in plain loops and exact fractions -------------------------------


def storms_by_hand(readings, dry_gap_s):
    """Lists of wet readings, one list per storm."""
    storms = []
    for start, end, depth in readings:
        if depth == 0:
            continue
        if storms and start - storms[-1][-1][1] < dry_gap_s:
            storms[-1].append((start, end, depth))
        else:
            storms.append([(start, end, depth)])
    return storms


def greatest_by_hand(storm, window_s):
    """Greatest depth over every window that has a break point of the curve at either edge."""
    if window_s < max(end - start for start, end, _ in storm):
        return None

    def fallen_by(instant_s):
        return sum(
            Fraction(depth * min(max(instant_s - start, 0), end - start), end - start)
            for start, end, depth in storm
        )

    breaks = {instant for start, end, _ in storm for instant in (start, end)}
    closes = breaks | {instant + window_s for instant in breaks}
    return max(fallen_by(close) - fallen_by(close - window_s) for close in closes)


@st.composite
def gauge_readings(draw):
    """Sorted readings of irregular length with irregular gaps, some touching, some dry."""
    clock, readings = draw(st.integers(0, 1_000)), []
    for _ in range(draw(st.integers(1, 14))):
        clock += draw(st.sampled_from([0, 0, 0, 60, 240, 600, 3_000, 21_599, 21_600, 90_000]))
        length = draw(st.sampled_from([60, 60, 300, 300, 420, 900, 3_600]))
        readings.append((clock, clock + length, draw(st.sampled_from([0, 1, 254, 508, 5_080]))))
        clock += length
    return readings


@settings(deadline=None)
@given(
    readings=gauge_readings(),
    dry_gap_s=st.sampled_from([600, 21_600, 100_000]),
    windows_s=st.lists(st.integers(1, 100_000), min_size=1, max_size=3, unique=True),
)
def test_any_series_gives_what_plain_counting_gives(readings, dry_gap_s, windows_s):
    windows_s = (300, 900, 3_600, *windows_s)
    ours = find_storms(
        *np.array(readings).T, dry_gap_s=dry_gap_s, windows_s=tuple(dict.fromkeys(windows_s))
    )
    theirs = storms_by_hand(readings, dry_gap_s)
    assert ours.start_s.tolist() == [storm[0][0] for storm in theirs]
    assert ours.end_s.tolist() == [storm[-1][1] for storm in theirs]
    assert ours.depth_um.tolist() == [sum(depth for *_, depth in storm) for storm in theirs]
    assert ours.wet_count.tolist() == [len(storm) for storm in theirs]
    assert ours.wet_s.tolist() == [sum(end - start for start, end, _ in storm) for storm in theirs]
    assert [readings[index] for index in ours.first_index] == [storm[0] for storm in theirs]
    assert [readings[index] for index in ours.last_index] == [storm[-1] for storm in theirs]
    for window_s, peak_um in ours.peak_um.items():
        for storm, peak in zip(theirs, peak_um, strict=True):
            expected = greatest_by_hand(storm, window_s)
            if expected is None:
                assert np.isnan(peak)
            else:
                assert peak == pytest.approx(float(expected), rel=1e-12)


@given(
    spans=st.lists(
        st.tuples(st.integers(0, 2_000), st.sampled_from([0, 1, 30, 100, 900])), max_size=30
    ),
    dry_gap_s=st.integers(1, 120),
)
def test_spans_join_transitively_in_any_order(spans, dry_gap_s):
    start_s = np.array([start for start, _ in spans], dtype=int)
    end_s = start_s + np.array([length for _, length in spans], dtype=int)
    group = join_spans(start_s, end_s, dry_gap_s=dry_gap_s)

    # By hand: mark every second that is wet or less than the gap after it; runs are the storms.
    reached = sorted(zip(start_s.tolist(), end_s.tolist(), strict=True))
    runs = []
    for start, end in reached:
        if runs and start < runs[-1][1] + dry_gap_s:
            runs[-1][1] = max(runs[-1][1], end)
        else:
            runs.append([start, end])
    opened = [start for start, _ in runs]
    assert group.tolist() == [bisect.bisect_right(opened, start) - 1 for start in start_s.tolist()]


def test_a_long_span_holds_the_short_ones_and_what_comes_soon_after_them():
    start_s = [50, 0, 10, 108, 300]
    end_s = [60, 100, 20, 120, 400]
    assert join_spans(start_s, end_s, dry_gap_s=10).tolist() == [0, 0, 0, 0, 1]
    assert join_spans(start_s, end_s, dry_gap_s=8).tolist() == [0, 0, 0, 1, 2]


def test_a_span_that_ends_before_it_starts_is_refused():
    with pytest.raises(InputError, match="ends before it starts"):
        join_spans([10], [5])
    with pytest.raises(InputError, match="one end for each start"):
        join_spans([10, 20], [30])
    with pytest.raises(InputError, match="dry gap"):
        join_spans([10], [30], dry_gap_s=0)


def test_rain_laid_on_steps_is_shared_by_time_and_loses_nothing():
    mm = rain_in_steps([0, 450], [300, 1_050], [3_000, 6_000], from_s=0, step_s=300, steps=4)
    assert mm.tolist() == pytest.approx([3.0, 1.5, 3.0, 1.5])


@given(readings=gauge_readings(), step_s=st.integers(30, 4_000))
def test_steps_over_the_whole_series_hold_all_its_rain(readings, step_s):
    starts, ends, depths = np.array(readings).T
    steps = int((ends[-1] - starts[0]) // step_s + 1)
    mm = rain_in_steps(starts, ends, depths, from_s=int(starts[0]), step_s=step_s, steps=steps)
    assert np.all(mm >= 0)
    assert mm.sum() == pytest.approx(depths.sum() / 1_000)


def test_steps_without_readings_are_dry_and_steps_of_no_length_refused():
    assert rain_in_steps([], [], [], from_s=0, step_s=300, steps=2).tolist() == [0, 0]
    with pytest.raises(InputError, match="Steps"):
        rain_in_steps([0], [300], [1], from_s=0, step_s=0, steps=2)
