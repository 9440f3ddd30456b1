"""Rows for tests: plain functions with fixed data, nothing random. Names, streets and numbers are invented.

Depths are given in inches, as gauge readers write them, and stored as micrometres (1 in = 25 400 µm exactly).
Moments are aware; a naive wall-clock time of the program goes through `at()`.
"""

from tests.factory.care import make_care_rule, make_duty, make_hand_on, make_visit
from tests.factory.rain import (
    make_frequency_table,
    make_gauge,
    make_readings,
    make_site_rain,
    make_storm,
)
from tests.factory.times import (
    LAT,
    LON,
    PASSWORD,
    QUARTER,
    TODAY,
    UM_PER_INCH,
    ZONE,
    at,
    seconds,
    um,
    utc,
)
from tests.factory.where import make_agreement, make_basin, make_built_site, make_site
from tests.factory.who import make_agency, make_person, make_program, make_user, make_volunteer

__all__ = [
    "LAT",
    "LON",
    "PASSWORD",
    "QUARTER",
    "TODAY",
    "UM_PER_INCH",
    "ZONE",
    "at",
    "make_agency",
    "make_agreement",
    "make_basin",
    "make_built_site",
    "make_care_rule",
    "make_duty",
    "make_frequency_table",
    "make_gauge",
    "make_hand_on",
    "make_person",
    "make_program",
    "make_readings",
    "make_site",
    "make_site_rain",
    "make_storm",
    "make_user",
    "make_visit",
    "make_volunteer",
    "seconds",
    "um",
    "utc",
]
