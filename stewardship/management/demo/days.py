"""Days of the demo's story, counted back from its today."""

from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from django.db.models import Manager, QuerySet

from sites.models import months_before

RECORD_MONTHS = 36  # the rain record of the demo


@dataclass(frozen=True, slots=True)
class Days:
    """The demo's today, the zone of the town, and the instant at which loading began."""

    today: date
    tz: ZoneInfo
    started: datetime

    @property
    def first(self) -> date:
        """The day on which the gauges were set up."""
        return self.months_ago(RECORD_MONTHS)

    def ago(self, days: int) -> date:
        return self.today - timedelta(days=days)

    def months_ago(self, months: int | str) -> date:
        """The same day of an earlier month; of a later one if negative."""
        return months_before(self.today, int(months))

    def at(self, day: date, hour: int, minute: int = 0) -> datetime:
        """That wall-clock time in the town, as an aware instant."""
        return datetime.combine(day, time(hour, minute), tzinfo=self.tz)

    def at_s(self, day: date, hour: int, minute: int = 0) -> int:
        """The same as whole seconds since 1970-01-01 UTC. [s]"""
        return int(self.at(day, hour, minute).timestamp())

    def backdate(self, rows: QuerySet[Any] | Manager[Any], at: datetime, field: str = "at") -> None:
        """Say of rows that services wrote just now that it was written down at `at`."""
        rows.filter(**{f"{field}__gte": self.started}).update(**{field: at})
