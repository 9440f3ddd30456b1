"""The day, the place and the measures of tests."""

from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

ZONE = ZoneInfo("America/Denver")
TODAY = date(2026, 7, 15)  # a Wednesday; conftest freezes it where a test asks for `frozen_day`
QUARTER = timedelta(minutes=15)
UM_PER_INCH = 25_400
PASSWORD = "rain-on-clay-9"
LAT, LON = 34.5210, -106.2440  # open range; the town there is invented


def at(day: date, clock: str = "12:00") -> datetime:
    """A moment of the program's wall clock: at(date(2026, 7, 14), "16:30")."""
    return datetime.combine(day, time.fromisoformat(clock), tzinfo=ZONE)


def um(inches: float) -> int:
    return round(inches * UM_PER_INCH)


def seconds(moment: datetime) -> int:
    return int(moment.timestamp())


def utc(year: int, month: int, day: int, hour: int = 0, minute: int = 0) -> datetime:
    return datetime(year, month, day, hour, minute, tzinfo=UTC)
