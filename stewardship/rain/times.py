"""Time as rain keeps it: whole seconds since 1970-01-01 UTC, and days on the program's wall clock."""

from datetime import UTC, date, datetime, time
from zoneinfo import ZoneInfo

DAY_S = 86_400
HOUR_S = 3_600
#: [s] No reading spans more: longer totals say nothing about storms, and a bound lets an index find what overlaps a span.
LONGEST_READING_S = 31 * DAY_S
#: [s] A day by the wall clock, on the day in autumn when it has 25 hours. A longer reading is a total of several days.
LONGEST_DAY_S = 25 * HOUR_S
#: [s] A daily reading may be taken so long before or after its hour; common practice, no source.
DAILY_SLACK_S = 3 * HOUR_S
#: [s] The clock of a machine that sends its readings may be so far ahead of ours; our default.
CLOCK_SLACK_S = 300


def instant(seconds: int) -> datetime:
    """The aware instant of a count of seconds since 1970-01-01 UTC."""
    return datetime.fromtimestamp(seconds, tz=UTC)


def seconds(moment: datetime) -> int:
    """Whole seconds since 1970-01-01 UTC of an aware instant."""
    return int(moment.timestamp())


def local_s(day: date, zone: ZoneInfo, hour: int = 0) -> int:
    """The instant at which the clocks of a zone show that hour of that day. [s]

    An hour that the clocks skip is taken an hour later, one that they show twice the first time.
    """
    return seconds(datetime.combine(day, time(hour), tzinfo=zone))


def local_day(seconds_: int, zone: ZoneInfo) -> date:
    """The day on a zone's calendar."""
    return instant(seconds_).astimezone(zone).date()


def last_day(end_s: int, zone: ZoneInfo) -> date:
    """The last day of an interval (start, end]: one that ends at midnight belongs to the day before."""
    return local_day(end_s - 1, zone)


class Timed:
    """What reaches from `start_s` to `end_s`, seconds since 1970-01-01 UTC, as instants."""

    start_s: int
    end_s: int

    @property
    def start_at(self) -> datetime:
        return instant(self.start_s)

    @property
    def end_at(self) -> datetime:
        return instant(self.end_s)
