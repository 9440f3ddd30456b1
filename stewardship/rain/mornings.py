"""The days of a gauge that is read by hand: from its hour of one day until its hour of the next, whatever the clocks do."""

from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.utils.formats import time_format
from django.utils.translation import gettext as _

from people.models import Program
from stewardship.common.written import moment_text
from stewardship.rain.models import Gauge, Reading
from stewardship.rain.times import (
    DAILY_SLACK_S,
    DAY_S,
    HOUR_S,
    instant,
    local_day,
    local_s,
    seconds,
)


@dataclass(frozen=True)
class Morning:
    """A gauge's day by the day on which it ends, and the reading that holds it, if there is one."""

    day: date
    reading: Reading | None
    #: the day on which that reading ends, where it is another: this one lies inside a total
    within: date | None = None


def latest_day(gauge: Gauge, *, now: datetime, program: Program) -> date:
    """The last day whose hour has come, or nearly: a reader may be a little early."""
    today = now.astimezone(program.tz).date()
    hour_s = local_s(today, program.tz, gauge.observation_hour)
    return today if hour_s <= seconds(now) + DAILY_SLACK_S else today - timedelta(days=1)


def span_of(gauge: Gauge, day: date, days: int, program: Program) -> tuple[int, int]:
    """Start and end of the `days` days that end on `day` at the gauge's hour. [s]"""
    hour = gauge.observation_hour
    return (
        local_s(day - timedelta(days=days), program.tz, hour),
        local_s(day, program.tz, hour),
    )


def span_text(start_s: int, end_s: int, program: Program, *, today: date) -> str:
    """ "the 24 hours until 7 this morning", "the 3 days until Mon 13 Jul, 7 a.m."; 23 or 25 hours where the clocks changed."""
    until = _hour_text(instant(end_s).astimezone(program.tz), today)
    days = round((end_s - start_s) / DAY_S)
    if days > 1:
        return _("the %(n)s days until %(until)s") % {"n": days, "until": until}
    hours = (end_s - start_s) // HOUR_S
    return _("the %(n)s hours until %(until)s") % {"n": hours, "until": until}


def _hour_text(moment: datetime, today: date) -> str:
    ago = (today - moment.date()).days
    hour = time_format(moment.timetz(), "TIME_FORMAT")
    if ago == 0:
        morning = _("%s this morning")
        return morning % moment.hour if 4 <= moment.hour < 12 else _("%s today") % hour
    if ago == 1:
        return _("%s yesterday") % hour
    return moment_text(moment) or ""


def last_mornings(gauge: Gauge, until: date, n: int, program: Program) -> list[Morning]:
    """The last `n` days of the gauge, the newest first, and what stands there."""
    days = [until - timedelta(days=k) for k in range(n)]
    days = [day for day in days if day >= gauge.started_on]
    if not days:
        return []
    first_s, end_s = span_of(gauge, days[-1], 1, program)[0], span_of(gauge, until, 1, program)[1]
    readings = list(gauge.readings.between(first_s, end_s).select_related(*_WHO))
    return [_morning(gauge, day, readings, program) for day in days]


def morning_of(gauge: Gauge, day: date, program: Program) -> Morning:
    """One day of the gauge, and what stands there."""
    readings = gauge.readings.between(*span_of(gauge, day, 1, program)).select_related(*_WHO)
    return _morning(gauge, day, list(readings), program)


_WHO = ("batch__by", "batch__by_person", "batch__token")


def _morning(gauge: Gauge, day: date, readings: list[Reading], program: Program) -> Morning:
    start_s, end_s = span_of(gauge, day, 1, program)
    holding = [one for one in readings if one.start_s < end_s and one.end_s > start_s]
    # One that ends that very hour before one that holds it, one that says something before one that does not.
    holding.sort(key=lambda one: (one.end_s != end_s, one.depth_um is None, one.start_s))
    if not holding:
        return Morning(day, None)
    reading = holding[0]
    return Morning(
        day,
        reading,
        None if reading.end_s == end_s else local_day(reading.end_s, program.tz),
    )


def days_open(gauge: Gauge, day: date, program: Program) -> int:
    """How many days a reading of that day stands for if it holds everything since the last one; 1 if nothing lies between."""
    end_s = span_of(gauge, day, 1, program)[1]
    last = gauge.readings.known().filter(end_s__lt=end_s).order_by("-start_s").first()
    if last is None:
        return 1
    return max(1, (day - local_day(last.end_s, program.tz)).days)
