"""Basins as the arithmetic sees them: what they hold, what their inlets let in, what an hour of rain would do."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from sites.choices import InletKind
from sites.models import Basin
from stewardship.hydrology.balance import basin_balance
from stewardship.hydrology.basins import BasinArrays
from stewardship.hydrology.inlets import (
    GradedInlets,
    curb_core_capacity_m3_s,
    curb_cut_capacity_m3_s,
)
from stewardship.hydrology.units import MM_PER_INCH, SECONDS_PER_HOUR

STEP_S = 300  # [s] steps of the storm that is tried out
SHOWN_STORM_MM = float(
    MM_PER_INCH
)  # [mm] one inch, evenly in one hour: easy to picture, not a design storm
SHOWN_STORM_H = 1
USUAL_LIP_M = 0.0635  # [m] lip below the inlet bottom where none is written down: 2.5 in, common practice, no source


def inlet_capacity_m3_s(basin: Basin) -> float:
    """What the basin's inlets on unknown slopes let in together [m³/s]; without limit where no inlet at all is written down."""
    inlets = list(basin.inlets.all())
    if not inlets:
        return float("inf")
    return float(
        sum(
            curb_core_capacity_m3_s(inlet.width_m)
            if inlet.kind == InletKind.CURB_CORE
            else curb_cut_capacity_m3_s(inlet.width_m, inlet.height_m)
            for inlet in inlets
            if inlet.gutter_slope_percent is None
        )
    )


def graded_inlets(basins: Sequence[Basin]) -> GradedInlets | None:
    """Inlets whose slopes are written down, in the order in which they were; None if there are none."""
    rows = [
        [inlet for inlet in basin.inlets.all() if inlet.gutter_slope_percent is not None]
        for basin in basins
    ]
    most = max(map(len, rows), default=0)
    if not most:
        return None
    length_m, height_m, diameter_m = np.zeros((3, len(basins), most))
    gutter_slope, cross_slope = np.full((2, len(basins), most), np.nan)
    for place, row in enumerate(rows):
        for number, inlet in enumerate(sorted(row, key=lambda one: one.pk)):
            at = place, number
            gutter_slope[at] = inlet.gutter_slope_percent / 100
            cross_slope[at] = inlet.cross_slope_percent / 100
            if inlet.kind == InletKind.CURB_CORE:
                diameter_m[at] = inlet.width_m
            else:
                length_m[at], height_m[at] = inlet.width_m, inlet.height_m
    return GradedInlets(
        length_m=length_m,
        height_m=height_m,
        diameter_m=diameter_m,
        gutter_slope=gutter_slope,
        cross_slope=cross_slope,
    )


def basin_arrays(basins: Iterable[Basin]) -> BasinArrays:
    """The basins as arrays, in the order given. Reads inlets: prefetch "inlets" for many."""
    basins = list(basins)
    return BasinArrays(
        impervious_m2=[b.paved_m2 for b in basins],
        pervious_m2=[b.planted_catchment_m2 for b in basins],
        pervious_curve_number=[b.unpaved_curve_number for b in basins],
        inlet_capacity_m3_s=[inlet_capacity_m3_s(b) for b in basins],
        graded_inlets=graded_inlets(basins),
        bottom_m2=[b.bottom_area_m2 for b in basins],
        lip_m2=[b.top_area_m2 for b in basins],
        lip_depth_m=[b.depth_m for b in basins],
        lip_length_m=[b.lip_length_m for b in basins],
        infiltration_mm_h=[b.soak_mm_h for b in basins],
    )


@dataclass(frozen=True, slots=True)
class Capacity:
    """What one basin holds, and what the shown storm would do to it; volumes in m³."""

    basin: Basin
    holds_m3: float
    inflow_m3: float
    soaked_m3: float
    spilled_m3: float
    passed_by_m3: float
    greatest_depth_m: float
    hours_to_drain: float | None  # None: not empty within a week


def capacities(basins: Sequence[Basin], *, rain_mm: float = SHOWN_STORM_MM) -> list[Capacity]:
    """What the basins hold and what `rain_mm` [mm], falling evenly in one hour, would do; dry at the start."""
    if not basins:
        return []
    arrays = basin_arrays(basins)
    steps = SHOWN_STORM_H * int(SECONDS_PER_HOUR) // STEP_S
    result = basin_balance(np.full(steps, rain_mm / steps), STEP_S, arrays)
    return [
        Capacity(
            basin=basin,
            holds_m3=float(arrays.lip_volume_m3[n]),
            inflow_m3=float(result.inflow_m3[n]),
            soaked_m3=float(result.soaked_m3[n]),
            spilled_m3=float(result.spilled_m3[n]),
            passed_by_m3=float(result.passed_by_m3[n]),
            greatest_depth_m=float(result.greatest_depth_m[n]),
            hours_to_drain=None
            if np.isnan(result.hours_to_drain[n])
            else float(result.hours_to_drain[n]),
        )
        for n, basin in enumerate(basins)
    ]
