"""How fast the arithmetic is: `python -m tests.bench_storms [seed]`. Prints figures, judges nothing.

The baseline is pandas as one would write it first: number the storms by their gaps, group, and
roll each window over the readings of a group. On readings of even length it gives the same peaks;
on uneven ones it takes or leaves whole readings, where `find_storms` cuts them at the window.
"""

import statistics
import sys
import time
from collections.abc import Callable
from platform import processor, python_version
from typing import Any

import numpy as np
import pandas as pd

from stewardship.hydrology.balance import basin_balance
from stewardship.hydrology.basins import BasinArrays
from stewardship.hydrology.storms import DRY_GAP_S, WINDOWS_S, find_storms
from stewardship.hydrology.units import IntArray

READINGS = 1_000_000
BASINS = 10_000
TICK_UM = 254  # 0.01 in
LEAST_TIMES = 2  # what is promised: so much faster than the baseline


def irregular_rain(rng: np.random.Generator) -> tuple[IntArray, IntArray, IntArray]:
    """Wet readings only, 1 to 5 min long; most touch, some pause, three in a hundred end a storm."""
    length_s = rng.integers(60, 301, READINGS)
    kind = rng.random(READINGS)
    pause_s = rng.integers(60, 7_200, READINGS)
    gap_s = np.where(kind < 0.70, 0, np.where(kind < 0.97, pause_s, pause_s * 60 + DRY_GAP_S))
    end_s = np.cumsum(length_s + gap_s)
    return end_s - length_s, end_s, rng.integers(1, 40, READINGS) * TICK_UM


def five_minute_rain(rng: np.random.Generator) -> tuple[IntArray, IntArray, IntArray]:
    """Nine and a half years of 5-min readings, dry ones included, about one in ten wet."""
    start_s = np.arange(READINGS) * 300
    raining = np.zeros(READINGS, dtype=bool)
    for first in rng.integers(0, READINGS, 2_200):
        raining[first : first + rng.integers(6, 120)] = True
    wet = raining & (rng.random(READINGS) < 0.8)
    depth_um = np.where(wet, rng.geometric(0.4, READINGS) * TICK_UM, 0)
    return start_s, start_s + 300, depth_um


def storms_in_pandas(start_s: IntArray, end_s: IntArray, depth_um: IntArray) -> pd.DataFrame:
    """The baseline."""
    rain = pd.DataFrame({"start": start_s, "end": end_s, "depth": depth_um})
    rain = rain[rain["depth"] > 0]
    rain["storm"] = (rain["start"] - rain["end"].shift(fill_value=0) >= DRY_GAP_S).cumsum()
    rain["length"] = rain["end"] - rain["start"]
    rain.index = pd.to_datetime(rain["end"], unit="s")
    by_storm = rain.groupby("storm")
    storms = by_storm.agg(
        start=("start", "first"),
        end=("end", "last"),
        depth=("depth", "sum"),
        wet_count=("depth", "size"),
        wet=("length", "sum"),
        longest=("length", "max"),
    )
    for window_s in WINDOWS_S:
        rolled = by_storm["depth"].rolling(f"{window_s}s").sum()
        peak = rolled.groupby(level="storm").max()
        storms[window_s] = peak.where(storms["longest"] <= window_s)
    return storms


def some_basins(rng: np.random.Generator) -> BasinArrays:
    bottom_m2 = rng.uniform(1, 6, BASINS)
    return BasinArrays(
        impervious_m2=rng.uniform(50, 400, BASINS),
        pervious_m2=rng.uniform(0, 200, BASINS),
        pervious_curve_number=rng.uniform(50, 85, BASINS),
        inlet_capacity_m3_s=rng.uniform(0.002, 0.02, BASINS),
        bottom_m2=bottom_m2,
        lip_m2=bottom_m2 * rng.uniform(1, 3, BASINS),
        lip_depth_m=rng.uniform(0.1, 0.3, BASINS),
        lip_length_m=rng.uniform(0.3, 1.2, BASINS),
        infiltration_mm_h=rng.uniform(5, 80, BASINS),
    )


def timed(work: Callable[[], Any], runs: int) -> tuple[Any, float]:
    """Result and median seconds."""
    seconds = []
    for _ in range(runs):
        begin = time.perf_counter()
        result = work()
        seconds.append(time.perf_counter() - begin)
    return result, statistics.median(seconds)


def main(seed: int) -> None:
    print(
        f"seed {seed} · Python {python_version()} · numpy {np.__version__} · "
        f"pandas {pd.__version__} · {processor() or 'processor not named'} · one core"
    )
    for name, make in (
        ("irregular, all wet", irregular_rain),
        ("5-min with dry", five_minute_rain),
    ):
        rain = make(np.random.default_rng(seed))
        ours, ours_s = timed(lambda rain=rain: find_storms(*rain), runs=5)
        theirs, theirs_s = timed(lambda rain=rain: storms_in_pandas(*rain), runs=1)
        wet = int(ours.wet_count.sum())
        print(f"\n{READINGS:,} readings, {name}: {wet:,} wet, {len(ours):,} storms, 5 windows")
        print(f"  find_storms      {ours_s:8.3f} s (median of 5)")
        print(
            f"  pandas baseline  {theirs_s:8.3f} s (once)   ratio {theirs_s / ours_s:.0f} (at least {LEAST_TIMES})"
        )
        same = len(theirs) == len(ours) and (theirs["depth"].to_numpy() == ours.depth_um).all()
        print(f"  same storms and depths: {'yes' if same else 'NO'}")
        for window_s in WINDOWS_S:
            share = ours.peak_um[window_s] / theirs[window_s].to_numpy()
            low, high = np.nanmin(share), np.nanmax(share)
            print(f"  peak {window_s:6} s, ours over baseline: {low:.6f} to {high:.6f}")

    rng = np.random.default_rng(seed)
    basins, rain_mm = some_basins(rng), rng.gamma(0.5, 1.0, 72)
    result, balance_s = timed(lambda: basin_balance(rain_mm, 300, basins), runs=5)
    print(f"\n{BASINS:,} basins through one storm of 6 h in 5-min steps and until dry")
    print(f"  basin_balance    {balance_s:8.3f} s (median of 5)")
    print(f"  greatest closure error {result.closure_error.max():.1e} of inflow")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 20_130_607)
