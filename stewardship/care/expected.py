"""What care a site is likely to take in a year, from the rain that the program has on record near it."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import groupby

import numpy as np
from django.db.models import Count, Sum
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from people.models import Program
from sites.choices import Phase
from sites.models import ESTABLISHING_FROM_MONTH, SETTLED_FROM_MONTH, Site
from stewardship.care.choices import Outcome, Trigger
from stewardship.care.load import (
    ENOUGH_VISITS,
    LEAST_KNOWN,
    LEAST_YEARS,
    USUAL_MINUTES,
    Rule,
    Spread,
    YearOfRain,
    care_in_year,
    rains_within,
    usual_minutes,
    years_back,
)
from stewardship.care.models import CareRule, Visit
from stewardship.common.written import day_text, hours_text, length_text, number_text
from stewardship.hydrology.spread import haversine_m
from stewardship.rain.models import Gauge, GaugeStorm
from stewardship.rain.reckoning.record import Known, known_times, outages_of
from stewardship.rain.times import last_day, local_s


@dataclass(frozen=True)
class LoadLine:
    """What one phase would ask for in a year: looks after rain, rounds by calendar, minutes; each over the years of record."""

    phase: Phase
    after_rain: Spread
    rounds: Spread
    minutes: Spread
    years: int

    @property
    def when(self) -> str:
        """How old a planting is in that phase, in words."""
        first, settled = ESTABLISHING_FROM_MONTH, SETTLED_FROM_MONTH
        if self.phase == Phase.SETTLING_IN:
            return _("the first %d months") % first
        if self.phase == Phase.ESTABLISHING:
            return _("months %(from)d to %(until)d") % {"from": first + 1, "until": settled}
        return _("after %d months") % settled

    @property
    def after_rain_words(self) -> str:
        return _counted(self.after_rain, self.years)

    @property
    def rounds_words(self) -> str:
        return _counted(self.rounds, self.years)

    @property
    def time_words(self) -> str:
        return _spread_words(
            *(
                _time(minutes)
                for minutes in (self.minutes.least, self.minutes.mean, self.minutes.most)
            ),
            years=self.years,
        )


@dataclass(frozen=True)
class Spoke:
    """A gauge that speaks for years one after another: `first` to `last`, `away_m` from the site."""

    gauge: Gauge
    away_m: float
    first: date
    last: date
    years: int


@dataclass(frozen=True)
class ExpectedLoad:
    """A line for each phase; none, and `why_none` in words, where the record is too short or the rules ask for nothing."""

    site: Site
    lines: Sequence[LoadLine]
    spoke: Sequence[Spoke] = ()
    why_none: str = ""
    #: whether minutes come from the program's own visits, by trigger
    own_minutes: Sequence[str] = ()

    @property
    def years(self) -> int:
        return sum(one.years for one in self.spoke)

    @property
    def rests_on(self) -> list[str]:
        """In sentences: which record, how long, and where the minutes come from."""
        units = Program.get().units
        said = [
            ngettext(
                "Counted from %(years)d year of rain at gauge %(gauge)s, %(far)s away: %(first)s to %(last)s.",
                "Counted from %(years)d years of rain at gauge %(gauge)s, %(far)s away: %(first)s to %(last)s.",
                one.years,
            )
            % {
                "years": one.years,
                "gauge": one.gauge.code,
                "far": length_text(one.away_m, units),
                "first": day_text(one.first),
                "last": day_text(one.last),
            }
            for one in self.spoke
        ]
        if self.years == 1:
            said.append(_("One year says little: others will be wetter or drier."))
        said.append(_("Storms that come before a look is due count with it as one."))
        if not self.own_minutes:
            said.append(_("The minutes of a look are the usual ones, not measured here."))
        elif set(self.own_minutes) == set(USUAL_MINUTES):
            said.append(_("The minutes of a look are those of this program’s own visits."))
        else:
            said.append(
                _("Some minutes are those of this program’s own visits, some the usual ones.")
            )
        return said


def expected_load(site: Site, on: date) -> ExpectedLoad:
    """Looks and hours a year, in each phase, under the care rules of that day. Reads only; a few queries."""
    if not site.has_place:
        return _none(site, _("Without coordinates no gauge can speak for %s.") % site.code)
    rules = {(rule.phase, rule.trigger): rule for rule in CareRule.objects.on(on)}
    if not rules:
        return _none(site, _("No care rule is set for that day."))
    rain, spoke = _years_of_rain(site, on)
    if len(rain) < LEAST_YEARS:
        return _none(
            site,
            _("No gauge near %s has a whole year on record yet, so nobody can say how often.")
            % site.code,
        )
    basins = max(site.basins.count(), 1)
    each, own = _minutes()
    lines = []
    for phase in Phase:
        years = [care_in_year(year, _rule(rules, phase)) for year in rain]
        lines.append(
            LoadLine(
                phase=phase,
                after_rain=Spread.of([year.after_rain for year in years]),
                rounds=Spread.of([year.rounds for year in years]),
                minutes=Spread.of([basins * year.minutes(each) for year in years]),
                years=len(years),
            )
        )
    return ExpectedLoad(site, lines, spoke, own_minutes=own)


def _none(site: Site, why: str) -> ExpectedLoad:
    return ExpectedLoad(site, [], why_none=why)


def _rule(rules: dict[tuple[str, str], CareRule], phase: str) -> Rule:
    rain, rounds = rules.get((phase, Trigger.AFTER_RAIN)), rules.get((phase, Trigger.CALENDAR))
    return Rule(
        least_depth_um=rain.least_depth_um if rain else None,
        within_days=rain.due_within_days if rain else 0,
        every_days=rounds.every_days if rounds else None,
    )


class _Record:
    """A gauge's storms and which times it knows, read when first asked for."""

    def __init__(self, gauge: Gauge, away_m: float, span_s: tuple[int, int]) -> None:
        self.gauge, self.away_m, self.span_s = gauge, away_m, span_s
        self._known: Known | None = None
        self._rains: list[tuple[date, int]] | None = None

    def knows(self, start_s: int, end_s: int) -> bool:
        if self._known is None:
            self._known = known_times(self.gauge, outages_of(self.gauge), *self.span_s)
        known_s = self._known.seconds_at_work(np.array([start_s]), np.array([end_s]))[0]
        return bool(known_s >= LEAST_KNOWN * (end_s - start_s))

    @property
    def rains(self) -> list[tuple[date, int]]:
        if self._rains is None:
            zone = Program.get().tz
            rows = (
                GaugeStorm.objects.filter(gauge=self.gauge, storm__withdrawn_at__isnull=True)
                .filter(storm__end_s__gt=self.span_s[0], storm__end_s__lte=self.span_s[1])
                .order_by()
                .values_list("storm", "storm__end_s")
                .annotate(Sum("depth_um"))
            )
            self._rains = sorted((last_day(end_s, zone), depth) for _pk, end_s, depth in rows)
        return self._rains


def _years_of_rain(site: Site, on: date) -> tuple[list[YearOfRain], list[Spoke]]:
    """Each of the last years from the nearest gauge that knows enough of it, latest first; years that none knows are left out."""
    zone = Program.get().tz
    years = years_back(on)
    span_s = local_s(years[-1][0], zone), local_s(on, zone)
    records: dict[int, _Record] = {}
    rain: list[YearOfRain] = []
    used: list[tuple[_Record, date, date]] = []
    gauges = list(Gauge.objects.prefetch_related("places"))
    for first, last in years:
        start_s, end_s = local_s(first, zone), local_s(last + timedelta(days=1), zone)
        for away_m, gauge in _nearest(site, gauges, first, last):
            record = records.setdefault(gauge.pk, _Record(gauge, away_m, span_s))
            if record.knows(start_s, end_s):
                rain.append(YearOfRain(first, last, rains_within(record.rains, first, last)))
                used.append((record, first, last))
                break
    return rain, [
        Spoke(record.gauge, record.away_m, spans[-1][1], spans[0][2], len(spans))
        for record, spans in ((one, list(run)) for one, run in groupby(used, key=lambda u: u[0]))
    ]


def _nearest(
    site: Site, gauges: Sequence[Gauge], first: date, last: date
) -> list[tuple[float, Gauge]]:
    """Gauges that stood all the year at one place within reach of the site, nearest first, with how far they are [m]."""
    found = []
    for gauge in gauges:
        place = gauge.place(on=first)
        if place != gauge.place(on=last) or not (gauge.stands(on=first) and gauge.stands(on=last)):
            continue
        away_m = float(haversine_m(site.lat, site.lon, place.lat, place.lon))
        if away_m <= gauge.reach_m:
            found.append((away_m, gauge))
    return sorted(found, key=lambda one: (one[0], one[1].code))


def _minutes() -> tuple[dict[str, float], list[str]]:
    """Minutes of one look at one basin, by trigger, and for which triggers the program's own visits say so."""
    seen: dict[str, list[float]] = defaultdict(list)
    visits = Visit.objects.filter(
        outcome=Outcome.DONE,
        minutes__gt=0,
        duty__trigger__in=[Trigger.AFTER_RAIN, Trigger.CALENDAR],
    )
    for trigger, minutes, basins in visits.annotate(n=Count("site__basins")).values_list(
        "duty__trigger", "minutes", "n"
    ):
        seen[trigger].append(minutes / max(basins, 1))
    own = [trigger for trigger, minutes in seen.items() if len(minutes) >= ENOUGH_VISITS]
    return usual_minutes(seen), own


def _counted(spread: Spread, years: int) -> str:
    return _spread_words(
        *(number_text(n) for n in (spread.least, spread.mean, spread.most)), years=years
    )


def _spread_words(least: str, mean: str, most: str, *, years: int) -> str:
    if years == 1 or least == most:
        return _("about %s") % mean if years == 1 else mean
    return _("about %(mean)s (%(least)s to %(most)s)") % {
        "mean": mean,
        "least": least,
        "most": most,
    }


def _time(minutes: float) -> str:
    """Rounded so that it promises no more than is known: to ten minutes, from two hours on to half hours."""
    step = 10 if minutes < 120 else 30
    return hours_text(round(minutes / step) * step / 60) or ""
