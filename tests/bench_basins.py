"""How fast rain becomes water in basins: `python -m tests.bench_basins [seed]`. Prints figures, judges nothing.

Storms are found and water is followed by the functions that the program itself uses, storm by storm and in blocks of the same
size. The rain is made up: ten years of an arid town, 25 to 40 storms a year, as 15-min readings of 50 gauges in ticks of 0.01 in.
"""

import resource
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path
from platform import processor, python_version

import numpy as np

from stewardship.hydrology.basins import BasinArrays
from stewardship.hydrology.inlets import GradedInlets
from stewardship.hydrology.many import CELLS_AT_ONCE, balance_of_each
from stewardship.hydrology.spread import gauge_weights
from stewardship.hydrology.storms import find_storms, join_spans, rain_in_steps
from stewardship.hydrology.units import UM_PER_MM, FloatArray, IntArray
from tests.hydrology.swmm_models import run_basins

GAUGES, BASINS, YEARS = 50, 10_000, 10
TOWN_M, REACH_M = 12_000, 8_000
READING_S, STEP_S = 900, 300
YEAR_S = 31_557_600
TICK_UM = 254  # 0.01 in
SWMM_BASINS, SWMM_S = 30, YEAR_S // 2
LEAST_TIMES = 50  # what is promised: so much faster than SWMM
SWMM_ROUTING_S = (1, 60)  # as in the tests; the longest that it takes, and as long as ours at a lip


@dataclass(frozen=True)
class Record:
    """Wet readings of one gauge."""

    start_s: IntArray
    depth_um: IntArray

    @property
    def end_s(self) -> IntArray:
        return self.start_s + READING_S


@dataclass
class Sums:
    """What became of the water in all basins and storms together."""

    storms: int = 0
    steps: int = 0
    inflow_m3: float = 0.0
    passed_by_m3: float = 0.0
    soaked_m3: float = 0.0
    spilled_m3: float = 0.0
    greatest_closure_error: float = 0.0


def made_up_record(rng: np.random.Generator, gauge_m: FloatArray) -> list[Record]:
    """Storms that come over the town, each a cell with its own middle, size, length and course."""
    wet: list[dict[int, int]] = [{} for _ in range(len(gauge_m))]
    for year in range(YEARS):
        for begin in rng.integers(0, YEAR_S // READING_S, rng.integers(25, 41)):
            first = year * (YEAR_S // READING_S) + int(begin)
            steps = int(rng.integers(2, 40))
            middle_m, size_m = rng.uniform(0, TOWN_M, 2), rng.uniform(2_000, 12_000)
            nearness = np.exp(-((np.hypot(*(gauge_m - middle_m).T) / size_m) ** 2))
            course = rng.gamma(0.5, 1.0, steps)
            course_mm = course / course.sum() * rng.gamma(1.2, 8.0)
            noise = rng.uniform(0.7, 1.3, (len(gauge_m), steps))
            ticks = np.rint(nearness[:, None] * course_mm * noise * UM_PER_MM / TICK_UM)
            for gauge, step in zip(*np.nonzero(ticks), strict=True):
                at = first + int(step)
                wet[gauge][at] = wet[gauge].get(at, 0) + int(ticks[gauge, step]) * TICK_UM
    return [
        Record(
            np.array(sorted(of_gauge), dtype=np.int64) * READING_S,
            np.array([of_gauge[at] for at in sorted(of_gauge)], dtype=np.int64),
        )
        for of_gauge in wet
    ]


def some_basins(rng: np.random.Generator, count: int) -> BasinArrays:
    """Street-side basins of usual sizes; every second has one inlet more, a curb cut on a sloping gutter."""
    bottom_m2 = rng.uniform(1, 6, count)
    on_slope = (np.arange(count) % 2 == 1)[:, None]
    return BasinArrays(
        graded_inlets=GradedInlets(
            length_m=np.where(on_slope, rng.uniform(0.3, 0.9, (count, 1)), 0.0),
            height_m=np.full((count, 1), 0.15),
            diameter_m=np.zeros((count, 1)),
            gutter_slope=rng.uniform(0.005, 0.06, (count, 1)),
            cross_slope=rng.uniform(0.015, 0.03, (count, 1)),
        ),
        impervious_m2=rng.uniform(40, 160, count),
        pervious_m2=rng.uniform(0, 60, count),
        pervious_curve_number=rng.uniform(60, 85, count),
        inlet_capacity_m3_s=np.where(on_slope[:, 0], 0.0005, rng.uniform(0.002, 0.02, count)),
        bottom_m2=bottom_m2,
        lip_m2=bottom_m2 * rng.uniform(1.2, 3, count),
        lip_depth_m=rng.uniform(0.12, 0.25, count),
        lip_length_m=rng.uniform(0.3, 1.2, count),
        infiltration_mm_h=rng.uniform(30, 170, count),
    )


def without_losses(basins: BasinArrays) -> BasinArrays:
    """The same basins below plots that shed all their rain, through inlets without limit: what SWMM gets."""
    return BasinArrays(
        impervious_m2=basins.impervious_m2,
        pervious_m2=0,
        pervious_curve_number=98,
        runoff_coefficient=1,
        bottom_m2=basins.bottom_m2,
        lip_m2=basins.lip_m2,
        lip_depth_m=basins.lip_depth_m,
        lip_length_m=basins.lip_length_m,
        infiltration_mm_h=basins.infiltration_mm_h,
        open_m2=0,
    )


def program_storms(record: list[Record]) -> list[tuple[int, int]]:
    """Start and end of each storm of the town. [s]"""
    found = [find_storms(one.start_s, one.end_s, one.depth_um) for one in record]
    start_s = np.concatenate([storms.start_s for storms in found])
    end_s = np.concatenate([storms.end_s for storms in found])
    storm = join_spans(start_s, end_s)
    order = np.argsort(storm, kind="stable")
    first = np.append(0, np.flatnonzero(np.diff(storm[order])) + 1)
    starts = np.minimum.reduceat(start_s[order], first)
    ends = np.maximum.reduceat(end_s[order], first)
    return list(zip(starts.tolist(), ends.tolist(), strict=True))


def site_rain_mm(
    record: list[Record], weights: FloatArray, start_s: int, end_s: int, step_s: int = STEP_S
) -> FloatArray:
    """Rain at each basin in even steps, (basins, steps). [mm]"""
    steps = -(-(end_s - start_s) // step_s)
    gauge_mm = np.zeros((len(record), steps))
    for gauge, one in enumerate(record):
        low, high = np.searchsorted(one.start_s, [start_s, end_s])
        if low < high:
            part = slice(low, high)
            gauge_mm[gauge] = rain_in_steps(
                one.start_s[part],
                one.end_s[part],
                one.depth_um[part],
                from_s=start_s,
                step_s=step_s,
                steps=steps,
            )
    return weights @ gauge_mm


def follow(
    record: list[Record],
    storms: list[tuple[int, int]],
    distance_m: FloatArray,
    basins: BasinArrays,
) -> Sums:
    """Spread each storm over the basins and follow its water, in blocks that fit the memory."""
    sums = Sums()
    rains: list[FloatArray] = []
    places: list[IntArray] = []

    def follow_block() -> None:
        result = balance_of_each(rains, STEP_S, basins, np.concatenate(places))
        for name in ("inflow_m3", "passed_by_m3", "soaked_m3", "spilled_m3"):
            setattr(sums, name, getattr(sums, name) + float(getattr(result, name).sum()))
        worst = float(result.closure_error.max(initial=0))
        sums.greatest_closure_error = max(sums.greatest_closure_error, worst)
        rains.clear()
        places.clear()

    held = 0
    usable = np.ones(distance_m.shape[1], dtype=bool)
    for start_s, end_s in storms:
        weights = gauge_weights(distance_m, usable, reach_m=REACH_M)
        rain_mm = site_rain_mm(record, weights, start_s, end_s)
        wet = np.flatnonzero(rain_mm.any(axis=1))
        rains += list(rain_mm[wet])
        places.append(wet)
        sums.storms += 1
        sums.steps += wet.size * rain_mm.shape[1]
        held += wet.size * rain_mm.shape[1]
        if held >= CELLS_AT_ONCE:
            follow_block()
            held = 0
    if rains:
        follow_block()
    return sums


class Clock:
    """Seconds on the wall and of the processor since it was made; the machine may be shared."""

    def __init__(self) -> None:
        self._wall, self._own = time.perf_counter(), time.process_time()

    @property
    def wall_s(self) -> float:
        return time.perf_counter() - self._wall

    @property
    def own_s(self) -> float:
        return time.process_time() - self._own

    def __str__(self) -> str:
        return f"{self.wall_s:8.2f} s, processor {self.own_s:8.2f} s"


def peak_mb() -> int:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1_024


def main(seed: int) -> None:
    rng = np.random.default_rng(seed)
    gauge_m = rng.uniform(0, TOWN_M, (GAUGES, 2))
    basin_m = rng.uniform(0, TOWN_M, (BASINS, 2))
    basins = some_basins(rng, BASINS)
    record = made_up_record(rng, gauge_m)
    distance_m = np.hypot(*(basin_m[:, None, :] - gauge_m).transpose(2, 0, 1))
    print(
        f"seed {seed} · Python {python_version()} · numpy {np.__version__} · "
        f"{processor() or 'processor not named'} · one core · {peak_mb()} MB before the first run"
    )
    clock = Clock()
    storms = program_storms(record)
    wet = sum(one.depth_um.size for one in record)
    rain_mm = sum(int(one.depth_um.sum()) for one in record) / UM_PER_MM / GAUGES / YEARS
    print(
        f"{GAUGES} gauges, {YEARS} years of 15-min readings: {wet:,} wet ones, {rain_mm:.0f} mm a year, "
        f"{len(storms)} storms ({len(storms) / YEARS:.0f} a year), found in {clock}"
    )

    longest = max(storms, key=lambda storm: storm[1] - storm[0])
    usual = sorted(storms, key=lambda storm: storm[1] - storm[0])[len(storms) // 2]
    for name, storm in (("of middling length", usual), ("the longest", longest)):
        clock = Clock()
        sums = follow(record, [storm], distance_m, basins)
        hours = (storm[1] - storm[0]) / 3_600
        print(f"\n{BASINS:,} basins × one storm, {name}, {hours:.1f} h: {clock}")
        print(f"  spilled {sums.spilled_m3:,.0f} of {sums.inflow_m3:,.0f} m³ that came in")

    print(f"\nbasins × {YEARS} years")
    ours_s = 0.0
    for count in (100, 1_000, BASINS):
        clock = Clock()
        sums = follow(record, storms, distance_m[:count], basins.take(np.arange(count)))
        ours_s = clock.own_s / (count * YEARS)
        print(
            f"  {count:6,} basins {clock}; {ours_s * 1e6:8.1f} µs a basin-year; "
            f"peak of the process so far {peak_mb()} MB"
        )
    print(
        f"  {sums.steps:,} wet basin-steps; inflow {sums.inflow_m3:,.0f} m³, passed by {sums.passed_by_m3:,.0f}, "
        f"soaked {sums.soaked_m3:,.0f}, spilled {sums.spilled_m3:,.0f}; "
        f"greatest closure error {sums.greatest_closure_error:.1e} of inflow"
    )

    beside_swmm(
        record, storms, distance_m[:SWMM_BASINS], basins.take(np.arange(SWMM_BASINS)), ours_s
    )


def beside_swmm(
    record: list[Record],
    storms: list[tuple[int, int]],
    distance_m: FloatArray,
    basins: BasinArrays,
    at_large_s: float,
) -> None:
    """The same basins under the same rain in EPA SWMM, which goes through the dry times too."""
    basins = without_losses(basins)
    some = [storm for storm in storms if storm[1] <= SWMM_S]
    basin_years = len(basins) * SWMM_S / YEAR_S
    clock = Clock()
    sums = follow(record, some, distance_m, basins)
    here_s = clock.own_s / basin_years
    print(
        f"\n{len(basins)} basins without losses × half a year, {len(some)} storms, beside EPA SWMM 5.2 (dynamic wave)"
    )
    print(f"  ours            {clock}; {here_s * 1e3:9.3f} ms a basin-year")
    weights = gauge_weights(distance_m, [True] * GAUGES, reach_m=REACH_M)
    rain_mm = site_rain_mm(record, weights, 0, SWMM_S, READING_S)
    for routing_s in SWMM_ROUTING_S:
        with tempfile.TemporaryDirectory() as folder:
            clock = Clock()
            theirs = run_basins(Path(folder), basins, rain_mm, READING_S, routing_s=routing_s)
            per_s = clock.own_s / basin_years
        print(f"  SWMM, {routing_s:2} s steps {clock}; {per_s * 1e3:9.1f} ms a basin-year")
        print(
            f"    ratio {per_s / here_s:,.0f} to ours at this size, {per_s / at_large_s:,.0f} to ours at {BASINS:,} basins (at least {LEAST_TIMES})"
        )
        for name, our_m3, their_m3 in (
            ("inflow", sums.inflow_m3, theirs.inflow),
            ("soaked", sums.soaked_m3, theirs.soaked),
            ("spilled", sums.spilled_m3, theirs.spilled),
        ):
            print(
                f"    {name:8} ours {our_m3:9,.1f}, SWMM {their_m3:9,.1f} m³: {our_m3 / their_m3 - 1:+.2%}"
            )


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 20_261_125)
