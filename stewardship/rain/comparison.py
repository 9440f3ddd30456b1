"""A gauge against its neighbours, for its page: sums over the days that all of them know."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from people.models import Program
from stewardship.common.written import day_text, number_text
from stewardship.hydrology.units import FloatArray
from stewardship.rain.choices import SuspicionKind
from stewardship.rain.models import Gauge, Suspicion
from stewardship.rain.quality.days import MOST_NEIGHBOURS
from stewardship.rain.quality.double_mass import SHUFFLES, DoubleMass, bends_beside, double_mass
from stewardship.rain.reckoning.daily import DayTable, day_table, neighbours_of, reading_hour
from stewardship.rain.times import last_day, local_s

#: So much of the record is summed up; what bent the line before that is history. Common practice, no source.
YEARS = 5
#: A neighbour takes part if it shares at least so many days with the gauge, and so much of what the best one shares.
LEAST_DAYS, LEAST_SHARE = 30, 0.8
#: Under two years the seasons alone can bend the line. Common practice, no source.
SEASONS_DAYS = 730


@dataclass(frozen=True)
class YearBeside:
    """A calendar year's days that the gauge and its neighbours know."""

    year: int
    days: int
    gauge_um: int
    near_um: int

    @property
    def ratio(self) -> str:
        return number_text(self.gauge_um / self.near_um, 2) if self.near_um else "–"


@dataclass(frozen=True)
class Comparison:
    neighbours: list[tuple[Gauge, float]]  # with their distance [m]
    mass: DoubleMass
    days: list[date]  # of each element of `mass`
    years: list[YearBeside]
    broke_on: date | None
    shows_beside: list[str]  # codes of the single neighbours beside which the break shows, too

    @property
    def own_break(self) -> bool:
        """Whether the break is the gauge's own: it shows beside most of the neighbours."""
        return self.broke_on is not None and 2 * len(self.shows_beside) > len(self.neighbours)

    @property
    def ratio(self) -> str:
        return number_text(self.mass.slope, 2)

    @property
    def names(self) -> str:
        return ", ".join(gauge.code for gauge, _far in self.neighbours)

    @property
    def words(self) -> list[str]:
        """What the line says, in sentences."""
        said = [
            ngettext(
                "On %(days)s day that all of them know it caught %(ratio)s of the mean of %(names)s.",
                "On %(days)s days that all of them know it caught %(ratio)s of the mean of %(names)s.",
                len(self.days),
            )
            % {"days": number_text(len(self.days)), "ratio": self.ratio, "names": self.names}
        ]
        change = self.mass.change
        if change is not None and self.broke_on is not None:
            said.append(
                _("Since about %(day)s it catches %(after)s of theirs, before that %(before)s.")
                % {
                    "day": day_text(self.broke_on),
                    "after": number_text(change.after, 2),
                    "before": number_text(change.before, 2),
                }
            )
            if not self.own_break:
                said.append(
                    _("It shows beside %s only, so look there first.")
                    % (", ".join(self.shows_beside) or "–")
                )
            elif len(self.neighbours) == 1:
                said.append(_("With one neighbour nobody can tell which of the two changed."))
            said.append(
                _("Of %(n)s random orders of the same rain, %(as_clear)s break as clearly.")
                % {
                    "n": SHUFFLES,
                    "as_clear": round(change.chance * (SHUFFLES + 1)) - 1 or _("none"),
                }
            )
        elif self.mass.tested:
            said.append(
                _("The line has no clear bend: what it catches beside them has not changed.")
            )
        else:
            said.append(_("Too few days or too little rain yet to tell whether the line bends."))
        if self.mass.tested and (self.days[-1] - self.days[0]).days < SEASONS_DAYS:
            said.append(_("It is under two years: the seasons alone can bend the line."))
        return said


def compare(gauge: Gauge, *, today: date, program: Program) -> Comparison | None:
    """The last YEARS of a gauge against up to four neighbours; None where no neighbour has a record beside its own."""
    last = gauge.readings.order_by("start_s").last()
    if last is None:
        return None
    until = min(last_day(last.end_s, program.tz), today) + timedelta(days=2)
    gauges = list(Gauge.objects.order_by("code").prefetch_related("places"))
    near = neighbours_of(gauge, gauges, on=until)[: 2 * MOST_NEIGHBOURS]
    if not near:
        return None
    table = day_table(
        [gauge, *(other for other, _far in near)],
        start_s=local_s(until - timedelta(days=365 * YEARS), program.tz),
        end_s=local_s(until, program.tz),
        program=program,
        hour=reading_hour(gauge, [other for other, _far in near]),
    )
    _leave_out_stuck(table, [gauge, *(other for other, _far in near)])
    taken = _taken(table)
    if not taken:
        return None
    others_um = np.where(table.complete[taken], table.depth_um[taken], np.nan)
    near_um = others_um.mean(axis=0)
    mass = double_mass(depth_um=table.depth_um[0], complete=table.complete[0], near_um=near_um)
    if mass is None:
        return None
    days = [last_day(int(table.edges_s[n + 1]), program.tz) for n in mass.day.tolist()]
    broke_on, shows_beside = None, []
    if mass.change is not None:
        shows = bends_beside(
            mass.change,
            depth_um=table.depth_um[0],
            complete=table.complete[0],
            others_um=others_um,
        )
        shows_beside = [near[n - 1][0].code for n, one in zip(taken, shows, strict=True) if one]
        broke_on = last_day(int(table.edges_s[mass.change.day + 1]), program.tz)
    return Comparison(
        neighbours=[near[n - 1] for n in taken],
        mass=mass,
        days=days,
        years=_by_year(days, mass),
        broke_on=broke_on,
        shows_beside=shows_beside,
    )


def _leave_out_stuck(table: DayTable, gauges: Sequence[Gauge]) -> None:
    """Days on which a gauge seems to have been stuck are named as such; here they would bend its line and its neighbours'."""
    row = {gauge.pk: n for n, gauge in enumerate(gauges)}
    stuck = Suspicion.objects.filter(
        gauge__in=gauges, kind=SuspicionKind.STUCK, set_aside_at__isnull=True
    )
    for gauge_id, start_s, end_s in stuck.values_list("gauge", "start_s", "end_s"):
        days = (table.edges_s[:-1] < end_s) & (table.edges_s[1:] > start_s)
        table.complete[row[gauge_id], days] = False


def _taken(table: DayTable) -> list[int]:
    """Rows of the neighbours that take part: the nearest of those that know about as many of the gauge's days as the best."""
    shared = (table.complete[1:] & table.complete[0]).sum(axis=1)
    least = max(LEAST_DAYS, LEAST_SHARE * int(shared.max(initial=0)))
    return (np.flatnonzero(shared >= least) + 1).tolist()[:MOST_NEIGHBOURS]


def _by_year(days: Sequence[date], mass: DoubleMass) -> list[YearBeside]:
    year = np.array([day.year for day in days])
    gauge_um, near_um = _each(mass.gauge_um), _each(mass.near_um)
    return [
        YearBeside(
            year=one,
            days=int((year == one).sum()),
            gauge_um=round(float(gauge_um[year == one].sum())),
            near_um=round(float(near_um[year == one].sum())),
        )
        for one in sorted(set(year.tolist()), reverse=True)
    ]


def _each(sums: FloatArray) -> FloatArray:
    return np.diff(sums, prepend=0.0)
