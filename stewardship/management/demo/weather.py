"""The demo's three years of rain: the generator's showers, a dry spell, and two storms staged for today's story."""

from dataclasses import dataclass, replace

import numpy as np

from stewardship.management.demo import SEED
from stewardship.management.demo.days import Days
from stewardship.management.demo.rain import FloatArray, Shower, rain_at, showers_between

STANDARD_OFFSET_S = -7 * 3_600  # [s] the town's standard time, by which the generator's cells come
DRY_DAYS = 17  # nothing but the staged storms falls in this many days before today
EARLIER_STORM_DAYS = 12  # days before today: wide, whose duties are due by now
LATEST_STORM_DAYS = 3  # days before today: over the east side only, letters are out


def showers(days: Days) -> tuple[Shower, ...]:
    """All showers of the record, earliest first."""
    natural = showers_between(
        days.first, days.ago(DRY_DAYS), seed=SEED, utc_offset_s=STANDARD_OFFSET_S
    )
    return (*natural, *_staged(days))


def _staged(days: Days) -> tuple[Shower, ...]:
    early = days.at_s(days.ago(EARLIER_STORM_DAYS), 17, 35)
    late = days.at_s(days.ago(LATEST_STORM_DAYS), 16, 40)
    return (
        Shower(early, 3_600, east_m=-900, north_m=300, reach_m=2_300, depth_mm=18.5),
        Shower(early + 2_400, 4_200, east_m=500, north_m=-700, reach_m=1_700, depth_mm=11.0),
        Shower(late, 3_000, east_m=900, north_m=-250, reach_m=1_000, depth_mm=25.0),
        Shower(late + 1_800, 2_700, east_m=1_600, north_m=300, reach_m=850, depth_mm=12.0),
    )


@dataclass(frozen=True, slots=True)
class Outage:
    """A time in which the automatic gauge measured nothing. [s]"""

    start_s: int
    end_s: int


def outage(days: Days, *, east_m: float, north_m: float) -> Outage:
    """The gauge at this place lost power in its hardest shower between 16 and 4 months before today."""
    first_s, last_s = days.at_s(days.months_ago(16), 0), days.at_s(days.months_ago(4), 0)
    place = np.array([east_m]), np.array([north_m])
    hardest = max(
        (shower for shower in showers(days) if first_s <= shower.start_s < last_s),
        key=lambda shower: float(shower.depths_mm(*place)[0]) / shower.duration_s,
    )
    start_s = hardest.start_s - hardest.start_s % 900
    return Outage(start_s, start_s + 30 * 3_600)


@dataclass(frozen=True, slots=True)
class GaugeSpot:
    """A gauge as the readings need it: where it is, how it reports, and when it was out."""

    code: str
    kind: str
    east_m: float
    north_m: float
    observation_hour: int | None
    lists_dry: bool
    out: Outage | None = None

    def without_power(self, out: Outage) -> "GaugeSpot":
        return replace(self, out=out)

    def depths_mm(self, rain: tuple[Shower, ...], edges_s: FloatArray) -> FloatArray:
        """Depth in every step, shape (steps,). [mm]"""
        return rain_at(
            rain,
            east_m=np.array([self.east_m]),
            north_m=np.array([self.north_m]),
            edges_s=edges_s,
        )[0]
