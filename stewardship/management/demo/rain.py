"""Invented rain for the demo town: summer cells that are local, winter bands that are wide.

Nothing here was measured anywhere. The shapes are chosen so that neighbouring gauges differ the
way they do under summer cloudbursts, and so that a year brings 9 to 11 inches over the town. The
same seed gives the same rain, whatever day it is asked on. Pure numpy; no clock, no database.

Places are metres east and north of the middle of the town. Times are epoch seconds.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

MM_PER_INCH = 25.4
HOUR_S = 3_600
STEP_S = 900  # [s] step of the automatic gauges

YEAR_INCHES = (9.2, 10.8)  # [in] rain of a year over the town, invented
SUMMER_SHARE = 0.58  # of the year's rain comes from cells, the rest from bands
SUMMER = (182, 263)  # [day of year] when most cells come
TOWN_M = 2_500.0  # [m] half the width of the town
BOX_M = 8_000.0  # [m] half the width of the ground on which cells are born
LEAST_MM = 0.05  # [mm] less than this from one shower is not rain


@dataclass(frozen=True, slots=True)
class Shower:
    """One cell or one band: depth falls off with distance from its middle.

    Attributes
    ----------
    start_s, duration_s : int
        When it begins and how long it lasts anywhere. [s]
    east_m, north_m : float
        Its middle. [m]
    reach_m : float
        Distance at which the depth has fallen to 61 %. [m]
    depth_mm : float
        Depth at its middle. [mm]
    """

    start_s: int
    duration_s: int
    east_m: float
    north_m: float
    reach_m: float
    depth_mm: float

    @property
    def end_s(self) -> int:
        return self.start_s + self.duration_s

    def depths_mm(self, east_m: FloatArray, north_m: FloatArray) -> FloatArray:
        """Whole depth at each place, shape (places,). [mm]"""
        squared = (east_m - self.east_m) ** 2 + (north_m - self.north_m) ** 2
        depth = self.depth_mm * np.exp(-squared / (2 * self.reach_m**2))
        return np.where(depth < LEAST_MM, 0.0, depth)

    def fallen(self, at_s: FloatArray) -> FloatArray:
        """Share of the depth that has fallen by each time; heaviest after a third of the time."""
        gone = np.clip((at_s - self.start_s) / self.duration_s, 0.0, 1.0)
        share: FloatArray = 1 - (1 - gone) ** 3 * (1 + 3 * gone)
        return share


def showers_of_year(year: int, *, seed: int, utc_offset_s: int) -> tuple[Shower, ...]:
    """Everything that falls in one calendar year, earliest first.

    Parameters
    ----------
    year : int
        Calendar year.
    seed : int
        The same seed and year give the same showers.
    utc_offset_s : int
        Local time minus UTC; cells come in the afternoon by this clock. [s]
    """
    dice = np.random.default_rng([seed, year])
    midnight_s = int(datetime(year, 1, 1, tzinfo=UTC).timestamp()) - utc_offset_s
    year_mm = dice.uniform(*YEAR_INCHES) * MM_PER_INCH
    cells = _scaled(_cells(dice, midnight_s), year_mm * SUMMER_SHARE)
    bands = _scaled(_bands(dice, midnight_s), year_mm * (1 - SUMMER_SHARE))
    return tuple(sorted(cells + bands, key=lambda shower: shower.start_s))


def showers_between(first: date, last: date, *, seed: int, utc_offset_s: int) -> tuple[Shower, ...]:
    """Showers that begin on a day from `first` to `last`, by local time, earliest first."""
    start_s = _day_start_s(first, utc_offset_s)
    end_s = _day_start_s(last + timedelta(days=1), utc_offset_s)
    return tuple(
        shower
        for year in range(first.year - 1, last.year + 2)
        for shower in showers_of_year(year, seed=seed, utc_offset_s=utc_offset_s)
        if start_s <= shower.start_s < end_s
    )


def rain_at(
    showers: Iterable[Shower], *, east_m: FloatArray, north_m: FloatArray, edges_s: FloatArray
) -> FloatArray:
    """Depth at every place in every step.

    Parameters
    ----------
    showers : iterable of Shower
    east_m, north_m : ndarray of float, shape (places,)
        [m]
    edges_s : ndarray of float, shape (steps + 1,)
        Rising edges of the steps. [s]

    Returns
    -------
    ndarray of float, shape (places, steps)
        [mm]
    """
    depth = np.zeros((east_m.size, edges_s.size - 1))
    for shower in showers:
        first = max(int(np.searchsorted(edges_s, shower.start_s, side="right")) - 1, 0)
        last = int(np.searchsorted(edges_s, shower.end_s, side="left"))
        if first >= last or first >= edges_s.size - 1:
            continue
        shares = np.diff(shower.fallen(edges_s[first : last + 1]))
        depth[:, first : first + shares.size] += np.outer(shower.depths_mm(east_m, north_m), shares)
    return depth


def _cells(dice: np.random.Generator, midnight_s: int) -> list[Shower]:
    """Afternoon cells: days with some follow days with some, most between July and September."""
    cells: list[Shower] = []
    stormy = False
    for day in range(365):
        inside = SUMMER[0] <= day <= SUMMER[1]
        chance = (0.55 if stormy else 0.16) if inside else 0.012
        stormy = bool(dice.random() < chance)
        if not stormy:
            continue
        for _ in range(int(dice.integers(4, 11))):
            hour = dice.triangular(12.0, 16.5, 22.0)
            cells.append(
                Shower(
                    start_s=midnight_s + day * 86_400 + int(hour * HOUR_S),
                    duration_s=int(dice.uniform(25, 85) * 60),
                    east_m=float(dice.uniform(-BOX_M, BOX_M)),
                    north_m=float(dice.uniform(-BOX_M, BOX_M)),
                    reach_m=float(dice.uniform(800, 2_200)),
                    depth_mm=float(min(dice.lognormal(np.log(13.0), 0.55), 60.0)),
                )
            )
    return cells


def _bands(dice: np.random.Generator, midnight_s: int) -> list[Shower]:
    """Fronts of the cold half of the year, each a few wide bands of drizzle over several hours."""
    bands: list[Shower] = []
    for day in range(365):
        cold = day < 105 or day > 295
        if dice.random() >= (0.075 if cold else 0.008):
            continue
        start_s = midnight_s + day * 86_400 + int(dice.uniform(0, 24) * HOUR_S)
        for _ in range(int(dice.integers(2, 6))):
            duration_s = int(dice.uniform(1.0, 3.5) * HOUR_S)
            bands.append(
                Shower(
                    start_s=start_s,
                    duration_s=duration_s,
                    east_m=float(dice.uniform(-15_000, 15_000)),
                    north_m=float(dice.uniform(-15_000, 15_000)),
                    reach_m=float(dice.uniform(14_000, 26_000)),
                    depth_mm=float(dice.lognormal(np.log(1.8), 0.6)),
                )
            )
            start_s += duration_s + int(dice.uniform(0, 2.5) * HOUR_S)
    return bands


def _scaled(showers: list[Shower], town_mm: float) -> list[Shower]:
    """The same showers, deepened or thinned so that together they bring `town_mm` over the town."""
    line = np.linspace(-TOWN_M, TOWN_M, 7)
    east_m, north_m = (axis.ravel() for axis in np.meshgrid(line, line))
    total_mm = sum(float(shower.depths_mm(east_m, north_m).mean()) for shower in showers)
    if not total_mm:
        return showers
    return [
        Shower(
            shower.start_s,
            shower.duration_s,
            shower.east_m,
            shower.north_m,
            shower.reach_m,
            shower.depth_mm * town_mm / total_mm,
        )
        for shower in showers
    ]


def _day_start_s(day: date, utc_offset_s: int) -> int:
    return int(datetime(day.year, day.month, day.day, tzinfo=UTC).timestamp()) - utc_offset_s
