"""What storms were at sites: depth and peaks from the gauges around, how sure that is, and where the water went."""

from dataclasses import dataclass, field
from zoneinfo import ZoneInfo

import numpy as np
from django.utils.translation import gettext as _

from stewardship.hydrology.balance import BalanceResult, event_volume_balance
from stewardship.hydrology.many import CELLS_AT_ONCE, balance_of_each
from stewardship.hydrology.spread import gauge_weights
from stewardship.hydrology.storms import COARSE_READING_S, rain_in_steps
from stewardship.hydrology.units import UM_PER_MM, FloatArray, IntArray
from stewardship.rain.choices import Sureness
from stewardship.rain.reckoning.ground import Ground
from stewardship.rain.reckoning.grouping import Storms
from stewardship.rain.reckoning.record import Known
from stewardship.rain.times import DAILY_SLACK_S, LONGEST_DAY_S, last_day

#: [m] A gauge this near measures the rain of a site; common practice, no source.
MEASURED_WITHIN_M = 500
#: [m] and share: a gauge this near that carries so much of the weight measures it too; common practice, no source.
MEASURED_NEARLY_M, MEASURED_SHARE = 1_000, 0.75
#: [s] windows of the peaks that are kept for a site
PEAKS_S = (900, 3_600)
#: [s] step of the rain that the water balance follows
STEP_S = 300


@dataclass
class Water:
    """Where a storm's water went in one basin: the fields of BasinWater."""

    inflow_m3: float
    passed_by_m3: float
    soaked_m3: float
    spilled_m3: float
    greatest_depth_m: float
    hours_to_drain: float | None
    coarse: bool


@dataclass
class Rain:
    """What a storm was at one site: the fields of SiteRain, and the water by basin id."""

    site_id: int
    sureness: str = Sureness.UNKNOWN
    depth_um: int | None = None
    peak_15min_um: float | None = None
    peak_60min_um: float | None = None
    sources: list[dict] = field(default_factory=list)
    left_out: list[dict] = field(default_factory=list)
    waters: dict[int, Water] = field(default_factory=dict)


@dataclass
class _Fine:
    """A basin's rain in even steps, waiting to be followed together with others."""

    rain: Rain
    basin: int
    rain_mm: FloatArray


def rain_at_sites(
    storms: Storms, numbers: range, ground: Ground, known: list[Known], zone: ZoneInfo
) -> list[list[Rain]]:
    """What some storms were at every site that stood when they ended.

    Parameters
    ----------
    storms, numbers : storms as grouped, and which of them.
    ground : sites, basins and gauges; a gauge is as far as the place where it stood on the storm's last day.
    known : of each gauge, which times its record speaks of.
    zone : the program's, for the day on which a site stood.

    Notes
    -----
    Each storm is taken to find the basins empty: what an earlier one left standing is not carried over.
    """
    fine: list[_Fine] = []
    found = []
    for number in numbers:
        found.append(_one_storm(storms, number, ground, known, zone, fine))
        if sum(one.rain_mm.size for one in fine) >= CELLS_AT_ONCE:
            _follow(fine, ground)
            fine = []
    _follow(fine, ground)
    return found


def must_be_known_s(start_s: int, end_s: int, *, coarse: bool) -> tuple[int, int]:
    """The part of a storm that a gauge must know to speak of it: all of it, unless only days are known. [s]"""
    # Readers come at different hours, so that their days do not line up; in a storm known only by days that is no gap.
    slack_s = min(DAILY_SLACK_S, (end_s - start_s) // 8) if coarse else 0
    return start_s + slack_s, end_s - slack_s


def _one_storm(
    storms: Storms,
    number: int,
    ground: Ground,
    known: list[Known],
    zone: ZoneInfo,
    fine: list[_Fine],
) -> list[Rain]:
    start_s, end_s = int(storms.start_s[number]), int(storms.end_s[number])
    day = last_day(end_s, zone)
    stood = ground.stood(day)
    if not stood.size:
        return []
    must_s = must_be_known_s(start_s, end_s, coarse=bool(storms.coarse[number]))
    usable = np.array([times.complete(*must_s) for times in known], dtype=bool)
    distance_m = ground.distance_m(day, stood)
    reached = distance_m <= ground.reach_m
    weights = np.zeros_like(distance_m)
    placed = ground.has_place[stood]
    if placed.any() and usable.any():
        weights[placed] = gauge_weights(distance_m[placed], usable, reach_m=ground.reach_m)
    rain_of = _GaugeRain(storms, number, len(ground.gauges))
    why_out = {
        n: times.why_not(*must_s)
        for n, times in enumerate(known)
        if not usable[n] and reached[:, n].any() and ground.gauges[n].stands(on=day)
    }
    rains = [
        Rain(
            site_id=ground.sites[place].pk,
            left_out=[
                {"gauge": ground.gauges[n].code, "why": why}
                for n, why in why_out.items()
                if reached[row, n]
            ],
        )
        for row, place in enumerate(stood.tolist())
    ]
    depth_um = np.rint(weights @ rain_of.depth_um).astype(np.int64)
    longest_s = np.where(weights > 0, rain_of.longest_s, 0).max(axis=1, initial=0)
    peaks_um = rain_of.peaks(weights)
    for row, rain in enumerate(rains):
        if not placed[row]:
            rain.left_out = [{"gauge": "", "why": _("the site has no place on the map")}]
        elif not weights[row].any():
            if not rain.left_out:
                rain.left_out = [{"gauge": "", "why": _("no gauge is near enough")}]
        else:
            rain.depth_um = int(depth_um[row])
            rain.sureness = _sureness(weights[row], distance_m[row], int(longest_s[row]))
            rain.sources = _sources(weights[row], distance_m[row], rain_of, ground)
            rain.peak_15min_um, rain.peak_60min_um = (
                round(float(peak), 1) if longest_s[row] <= window_s else None
                for peak, window_s in zip(peaks_um[row], PEAKS_S, strict=True)
            )
    _water(rains, stood, weights, longest_s, rain_of, ground, (start_s, end_s), fine)
    return rains


class _GaugeRain:
    """What each gauge showed of one storm."""

    def __init__(self, storms: Storms, number: int, gauges: int) -> None:
        first, last = np.searchsorted(storms.storm_of, [number, number + 1])
        self.readings = storms.readings.at(slice(first, last))
        self.depth_um = np.zeros(gauges, dtype=np.int64)
        np.add.at(self.depth_um, self.readings.gauge, self.readings.depth_um)
        self.longest_s = np.zeros(gauges, dtype=np.int64)
        np.maximum.at(self.longest_s, self.readings.gauge, self.readings.length_s)

    def peaks(self, weights: FloatArray) -> FloatArray:
        """Greatest depth in each window at each site, exact: the weighted rain bends only where some gauge's does. [µm]"""
        breaks_s = np.unique(np.concatenate([self.readings.start_s, self.readings.end_s]))
        found = np.zeros((weights.shape[0], len(PEAKS_S)))
        for column, window_s in enumerate(PEAKS_S):
            ends_s = np.unique(np.concatenate([breaks_s, breaks_s + window_s]))
            inside_um = np.zeros((weights.shape[1], ends_s.size))
            for gauge, run in self.readings.by_gauge():
                bend_s, so_far_um = self._curve(run)
                inside_um[gauge] = np.interp(ends_s, bend_s, so_far_um) - np.interp(
                    ends_s - window_s, bend_s, so_far_um
                )
            found[:, column] = (weights @ inside_um).max(axis=1, initial=0.0)
        return found

    def _curve(self, run: slice) -> tuple[IntArray, FloatArray]:
        one = self.readings.at(run)
        total_um = np.cumsum(one.depth_um)
        bends_s = np.stack([one.start_s, one.end_s], axis=1).ravel()
        return bends_s, np.stack([total_um - one.depth_um, total_um], axis=1).ravel()

    def in_steps_mm(self, gauges: int, from_s: int, steps: int) -> FloatArray:
        """Rain of each gauge in even steps, (gauges, steps); zero for gauges with totals only outside. [mm]"""
        rain_mm = np.zeros((gauges, steps))
        for gauge, run in self.readings.by_gauge():
            one = self.readings.at(run)
            rain_mm[gauge] = rain_in_steps(
                one.start_s, one.end_s, one.depth_um, from_s=from_s, step_s=STEP_S, steps=steps
            )
        return rain_mm


def _sureness(weights: FloatArray, distance_m: FloatArray, longest_s: int) -> str:
    """Possible if a total of several days is in it; measured if a gauge is near enough; estimated otherwise."""
    if longest_s > LONGEST_DAY_S:
        return Sureness.POSSIBLE
    near = (weights > 0) & (distance_m <= MEASURED_WITHIN_M)
    nearly = (weights >= MEASURED_SHARE) & (distance_m <= MEASURED_NEARLY_M)
    return Sureness.MEASURED if (near | nearly).any() else Sureness.ESTIMATED


def _sources(
    weights: FloatArray, distance_m: FloatArray, rain_of: _GaugeRain, ground: Ground
) -> list[dict]:
    used = sorted(np.flatnonzero(weights), key=lambda n: (-weights[n], ground.gauges[n].code))
    return [
        {
            "gauge": ground.gauges[n].code,
            "weight": round(float(weights[n]), 4),
            "distance_m": round(float(distance_m[n])),
            "depth_um": int(rain_of.depth_um[n]),
        }
        for n in used
    ]


def _water(
    rains: list[Rain],
    stood: IntArray,
    weights: FloatArray,
    longest_s: IntArray,
    rain_of: _GaugeRain,
    ground: Ground,
    span: tuple[int, int],
    fine: list[_Fine],
) -> None:
    """Follow totals at once; lay finer rain on steps and leave it to be followed together with other storms."""
    row_of = np.full(len(ground.sites), -1)
    row_of[stood] = np.arange(stood.size)
    row = row_of[ground.basin_site]
    wet = np.array([bool(rain.depth_um) for rain in rains], dtype=bool)
    basins = np.flatnonzero((row >= 0) & wet[row])
    is_total = longest_s[row[basins]] > COARSE_READING_S
    start_s, end_s = span
    totals = basins[is_total]
    if totals.size:
        depth_mm = np.array([rains[n].depth_um or 0 for n in row[totals]]) / UM_PER_MM
        result = event_volume_balance(depth_mm, end_s - start_s, ground.basins(totals))
        for place, (basin, n) in enumerate(zip(totals, row[totals], strict=True)):
            rains[n].waters[ground.basin_ids[basin]] = _one_water(result, place)
    rest = basins[~is_total]
    if rest.size:
        from_s = start_s // STEP_S * STEP_S
        steps = -(-(end_s - from_s) // STEP_S)
        gauge_mm = rain_of.in_steps_mm(len(ground.gauges), from_s, steps)
        site_mm = {n: weights[n] @ gauge_mm for n in set(row[rest].tolist())}
        fine += [_Fine(rains[row[b]], int(b), site_mm[int(row[b])]) for b in rest]


def as_declared(rain: Rain, depth_um: int, length_s: int, ground: Ground) -> None:
    """Somebody's word of the depth over what the gauges say, which stay named. How the rain ran nobody said: no peaks, and water
    from the total alone, as if it fell evenly over the storm."""
    rain.depth_um, rain.sureness = depth_um, Sureness.DECLARED
    rain.peak_15min_um = rain.peak_60min_um = None
    rain.waters = {}
    place = next(n for n, site in enumerate(ground.sites) if site.pk == rain.site_id)
    basins = np.flatnonzero(ground.basin_site == place)
    if depth_um and basins.size:
        depth_mm = np.full(basins.size, depth_um / UM_PER_MM)
        result = event_volume_balance(depth_mm, length_s, ground.basins(basins))
        rain.waters = {
            ground.basin_ids[basin]: _one_water(result, n) for n, basin in enumerate(basins)
        }


def _follow(fine: list[_Fine], ground: Ground) -> None:
    """Follow fine rain through its basins, those of many storms and sites together."""
    places = np.array([one.basin for one in fine], dtype=np.int64)
    result = balance_of_each([one.rain_mm for one in fine], STEP_S, ground.every_basin, places)
    for n, one in enumerate(fine):
        one.rain.waters[ground.basin_ids[one.basin]] = _one_water(result, n)


def _one_water(result: BalanceResult, place: int) -> Water:
    """One basin's figures, to a cubic centimetre, a tenth of a millimetre and a few seconds: sharper means nothing, and a storm
    followed alone or together with others then comes out the same."""
    hours = float(result.hours_to_drain[place])
    return Water(
        inflow_m3=round(float(result.inflow_m3[place]), 6),
        passed_by_m3=round(float(result.passed_by_m3[place]), 6),
        soaked_m3=round(float(result.soaked_m3[place]), 6),
        spilled_m3=round(float(result.spilled_m3[place]), 6),
        greatest_depth_m=round(float(result.greatest_depth_m[place]), 4),
        hours_to_drain=None if np.isnan(hours) else round(hours, 3),
        coarse=result.coarse,
    )
