"""The invented rain of the demo: the same every time, local in summer, about ten inches a year."""

from datetime import UTC, date, datetime

import numpy as np
import pytest

from stewardship.management.demo import SEED
from stewardship.management.demo.rain import (
    MM_PER_INCH,
    Shower,
    rain_at,
    showers_between,
    showers_of_year,
)
from stewardship.management.demo.weather import STANDARD_OFFSET_S

TOWN = np.array([-1_500.0, -700.0, 0.0, 700.0, 1_500.0])
EAST_M, NORTH_M = (axis.ravel() for axis in np.meshgrid(TOWN, TOWN))
YEARS = [2024, 2025, 2026]


def days_of(year: int) -> np.ndarray:
    """Edges of the days of a year, by the town's standard time. [s]"""
    start = datetime(year, 1, 1, tzinfo=UTC).timestamp() - STANDARD_OFFSET_S
    return start + np.arange(366) * 86_400.0


def daily_rain(year: int, *, seed: int = SEED) -> np.ndarray:
    """Depth at 25 places of the town, day by day. [mm]"""
    return rain_at(
        showers_of_year(year, seed=seed, utc_offset_s=STANDARD_OFFSET_S),
        east_m=EAST_M,
        north_m=NORTH_M,
        edges_s=days_of(year),
    )


def test_the_same_seed_gives_the_same_rain_and_another_seed_does_not():
    first = showers_of_year(2025, seed=SEED, utc_offset_s=STANDARD_OFFSET_S)
    assert first == showers_of_year(2025, seed=SEED, utc_offset_s=STANDARD_OFFSET_S)
    assert first != showers_of_year(2025, seed=SEED + 1, utc_offset_s=STANDARD_OFFSET_S)


def test_rain_of_a_day_does_not_depend_on_how_much_of_the_record_is_asked_for():
    whole = showers_between(
        date(2024, 3, 1), date(2026, 2, 28), seed=SEED, utc_offset_s=STANDARD_OFFSET_S
    )
    part = showers_between(
        date(2025, 7, 1), date(2025, 8, 31), seed=SEED, utc_offset_s=STANDARD_OFFSET_S
    )
    assert part
    assert set(part) <= set(whole)


@pytest.mark.parametrize("year", YEARS)
def test_a_year_brings_nine_to_eleven_inches_over_the_town(year):
    assert 9.0 <= daily_rain(year).sum(axis=1).mean() / MM_PER_INCH <= 11.0


@pytest.mark.parametrize("year", YEARS)
def test_summer_rain_is_local_and_winter_rain_is_wide(year):
    depth = daily_rain(year)
    summer, winter = depth[:, 182:264], np.delete(depth, np.s_[105:296], axis=1)

    def unevenness(days: np.ndarray) -> float:
        wet = days[:, days.mean(axis=0) > 1.0]
        return float(np.median(wet.std(axis=0) / wet.mean(axis=0)))

    assert unevenness(summer) > 2 * unevenness(winter)


@pytest.mark.parametrize("year", YEARS)
def test_cloudbursts_are_hard_and_winter_drizzle_is_not(year):
    showers = showers_of_year(year, seed=SEED, utc_offset_s=STANDARD_OFFSET_S)
    hardest = {
        local: max(
            shower.depth_mm / shower.duration_s * 3_600
            for shower in showers
            if (shower.reach_m < 5_000) is local
        )
        for local in (True, False)
    }
    assert hardest[True] > 20  # [mm/h] mean of the whole shower at its middle
    assert hardest[False] < 8


def test_steps_of_any_length_hold_the_same_water():
    shower = Shower(10_000, 4_321, east_m=200, north_m=-300, reach_m=900, depth_mm=17.0)
    whole = rain_at([shower], east_m=EAST_M, north_m=NORTH_M, edges_s=np.array([0.0, 20_000.0]))
    steps = rain_at([shower], east_m=EAST_M, north_m=NORTH_M, edges_s=np.arange(0, 20_001, 250.0))
    np.testing.assert_allclose(steps.sum(axis=1), whole[:, 0])
    np.testing.assert_allclose(whole[:, 0], shower.depths_mm(EAST_M, NORTH_M))


def test_rain_outside_the_asked_time_is_left_out():
    shower = Shower(10_000, 1_000, east_m=0, north_m=0, reach_m=900, depth_mm=17.0)
    before = np.array([0.0, 5_000.0, 10_000.0])
    after = np.array([11_000.0, 12_000.0])
    for edges_s in (before, after):
        assert not rain_at([shower], east_m=EAST_M, north_m=NORTH_M, edges_s=edges_s).any()
