"""How much care a rule asks for in a year, told from years of rain that have been. Pure: no Django, no clock, no I/O.

Depths are whole micrometres, days are dates in the program's zone. Each year is counted by itself, as if somebody had looked on
the day before it; a look after rain is done on its last day, so that the storms until then are one look; a round is done on the
day it comes up. The words of triggers are the stored values of `care.choices`.
"""

from bisect import bisect_left
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from statistics import fmean, median

from stewardship.care.rules import due_day

#: [min] One look at one basin: clearing the inlet and the trap after rain; by calendar besides weeding and trimming.
#: Common practice, no source; the program's own visits speak instead once there are `ENOUGH_VISITS` of a kind.
USUAL_MINUTES = {"after_rain": 30.0, "calendar": 45.0}
ENOUGH_VISITS = 10
#: Fewer whole years of record say nothing about a year. More than these are not looked at: the climate of long ago is another.
LEAST_YEARS = 1
MOST_YEARS = 10
#: Share of a year that a gauge must know for the year to count. Common practice of climate summaries, no source.
LEAST_KNOWN = 0.9


@dataclass(frozen=True, slots=True)
class Rule:
    """What one phase asks for: looks after rain of at least a depth, within days; rounds every so many days; None: not asked."""

    least_depth_um: int | None
    within_days: int
    every_days: int | None


@dataclass(frozen=True, slots=True)
class YearOfRain:
    """A year from `first` to `last` and its rains: (last day of the storm, depth at the place in µm)."""

    first: date
    last: date
    rains: Sequence[tuple[date, int]]


@dataclass(frozen=True, slots=True)
class YearOfCare:
    """The looks that a rule would have asked for in one year."""

    after_rain: int
    rounds: int

    @property
    def looks(self) -> int:
        return self.after_rain + self.rounds

    def minutes(self, each: Mapping[str, float]) -> float:
        return self.after_rain * each["after_rain"] + self.rounds * each["calendar"]


@dataclass(frozen=True, slots=True)
class Spread:
    """Of several years: the least, the mean and the most."""

    least: float
    mean: float
    most: float

    @classmethod
    def of(cls, values: Collection[float]) -> "Spread":
        return cls(min(values), fmean(values), max(values))


def care_in_year(year: YearOfRain, rule: Rule) -> YearOfCare:
    """The looks that the rule would have asked for in that year."""
    windows = looks_after_rain(year.rains, rule) if rule.least_depth_um is not None else []
    rounds = 0
    if rule.every_days is not None:
        looked = year.first - timedelta(days=1)
        for opened, done in windows:
            rounds += _rounds_between(looked, opened, rule.every_days)
            looked = done
        rounds += _rounds_between(looked, year.last + timedelta(days=1), rule.every_days)
    return YearOfCare(after_rain=len(windows), rounds=rounds)


def looks_after_rain(rains: Iterable[tuple[date, int]], rule: Rule) -> list[tuple[date, date]]:
    """Looks after rain as (opened, done), in order. A storm until the day on which one is done belongs to it.

    The day does not move when a storm joins, unlike that of a real duty: then rain between could make two looks one, and more
    rain would mean less work.
    """
    found: list[tuple[date, date]] = []
    for day, depth_um in sorted(rains):
        if depth_um < (rule.least_depth_um or 0) or (found and day <= found[-1][1]):
            continue
        found.append((day, due_day(rains=[day], opened_on=day, within_days=rule.within_days)))
    return found


def _rounds_between(looked: date, until: date, every_days: int) -> int:
    """Rounds that come up after a look and before the day on which something else is opened or the year is over."""
    return max((until - looked).days - 1, 0) // every_days


def usual_minutes(seen: Mapping[str, Sequence[float]]) -> dict[str, float]:
    """Minutes of one look at one basin, by trigger: the median of the program's own visits where there are enough of them."""
    return {
        trigger: median(seen[trigger]) if len(seen.get(trigger, ())) >= ENOUGH_VISITS else usual
        for trigger, usual in USUAL_MINUTES.items()
    }


def years_back(on: date, count: int = MOST_YEARS) -> list[tuple[date, date]]:
    """First and last days of the whole years before a day, the latest first. A year from 29 February begins on 1 March."""
    edges = [_same_day(on, on.year - back) for back in range(count + 1)]
    return [(first, end - timedelta(days=1)) for end, first in zip(edges, edges[1:], strict=False)]


def _same_day(day: date, year: int) -> date:
    try:
        return day.replace(year=year)
    except ValueError:
        return date(year, 3, 1)


def rains_within(
    rains: Sequence[tuple[date, int]], first: date, last: date
) -> Sequence[tuple[date, int]]:
    """Of rains in order of their days, those from one day to another, both included."""
    start = bisect_left(rains, (first, 0))
    return rains[start : bisect_left(rains, (last + timedelta(days=1), 0))]
