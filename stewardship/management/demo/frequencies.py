"""Invented frequencies of rain for the demo town, in the layout of a published table, so that its storms have words."""

import numpy as np

from people.models import Program
from stewardship.management.demo import SEED, facts
from stewardship.management.demo.days import Days
from stewardship.management.demo.who import Who
from stewardship.rain.models import FrequencyTable
from stewardship.rain.services import keep_frequencies

YEARS = (1, 2, 5, 10, 25, 50, 100, 200, 500, 1000)
MINUTES = {
    **{f"{n}-min": n for n in (5, 10, 15, 30, 60)},
    **{f"{n}-hr": 60 * n for n in (2, 3, 6, 12, 24)},
    **{f"{n}-day": 1_440 * n for n in (2, 3, 4, 7, 10, 20, 30, 45, 60)},
}
HOUR_IN, HOUR_IN_PER_LOG_YEAR = (
    0.45,
    0.25,
)  # [in] a 1-year hour, and more for each natural logarithm of the years; invented
SHORT_POWER, LONG_POWER = (
    0.45,
    0.19,
)  # how depth grows with duration up to an hour, and beyond; invented
WOBBLE = 0.01  # each row differs so much from the formula, up or down


def load_frequencies(days: Days, who: Who) -> None:
    keep_frequencies(text=invented_table(), name=f"{Program.get().town}, invented", by=who.coordinator)  # fmt: skip
    days.backdate(FrequencyTable.objects.all(), days.at(days.first, 10))


def invented_table() -> str:
    """The whole file; the same every time."""
    middle = facts()["middle"]
    dice = np.random.default_rng(SEED)
    hour_in = HOUR_IN + HOUR_IN_PER_LOG_YEAR * np.log(YEARS)
    rows = []
    for name, minutes in MINUTES.items():
        power = SHORT_POWER if minutes <= 60 else LONG_POWER
        depths_in = hour_in * (minutes / 60) ** power * dice.uniform(1 - WOBBLE, 1 + WOBBLE)
        rows.append(f"{name}:, " + ",".join(f"{depth:.3f}" for depth in depths_in))
    return "\n".join(
        [
            "Point precipitation frequency estimates (inches)",
            "Invented for the demonstration; nothing here was measured or published",
            "Data type: Precipitation depth",
            "Time series type: Partial duration",
            "Project area: None",
            "Location name (ESRI Maps): None",
            "Station Name: None",
            f"Latitude: {middle['lat']} Degree",
            f"Longitude: {middle['lon']} Degree",
            "Elevation (USGS): None None",
            "",
            "",
            "PRECIPITATION FREQUENCY ESTIMATES",
            "by duration for ARI (years):, " + ",".join(map(str, YEARS)),
            *rows,
            "",
        ]
    )
