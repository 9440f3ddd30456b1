"""Small models for EPA SWMM 5.2 (through pyswmm), written from parameters.

One paved plot without losses drains into one storage with upright walls, a constant seepage and a
weir: the same basin as ours, in another engine that solves the full dynamic wave each second.
"""

from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
from pyswmm import Links, Nodes, Simulation, SystemStats

from stewardship.hydrology._stand import LIP_COEFFICIENT_SI
from stewardship.hydrology.basins import BasinArrays
from stewardship.hydrology.units import FloatArray

BEGIN = datetime(2025, 1, 1)  # noqa: DTZ001  SWMM knows no time zones


@dataclass(frozen=True)
class Plot:
    """Paved plot and basin in SWMM's units: feet, acres, in/h with CFS; metres, ha, mm/h with LPS."""

    flow_units: str
    plot_area: float  # [ac or ha]
    plot_width: float  # [ft or m]
    floor_area: float  # [ft² or m²]
    crest: float  # [ft or m]
    crest_length: float  # [ft or m]
    crest_coefficient: float  # [ft^0.5/s or m^0.5/s]
    seepage: float  # [in/h or mm/h]


@dataclass(frozen=True)
class Outcome:
    """Volumes in ft³ or m³, depth in ft or m."""

    inflow: float
    spilled: float
    soaked: float
    greatest_depth: float
    last_wet_h: float


def run_plot(folder: Path, plot: Plot, rates: list[float], step_min: int) -> Outcome:
    """Rain at a rate per step [in/h or mm/h] on the plot, followed for 24 h."""
    network = [
        ("SUBCATCHMENTS", f"plot rain basin {plot.plot_area} 100 {plot.plot_width} 2 0"),
        ("SUBAREAS", "plot 0.012 0.1 0 0 100 OUTLET"),
        ("INFILTRATION", "plot 3 0.5 4 7 0"),
        (
            "STORAGE",
            f"basin 0 {4 * plot.crest} 0 FUNCTIONAL 0 0 {plot.floor_area} 0 0 0 {plot.seepage} 0",
        ),
        (
            "WEIRS",
            f"lip basin away TRANSVERSE {plot.crest} {plot.crest_coefficient} NO 0 0 YES",
        ),
        ("XSECTIONS", f"lip RECT_OPEN {2 * plot.crest} {plot.crest_length} 0 0"),
    ]
    path = _write_plot(folder, plot.flow_units, network, rates, step_min)
    last_wet = BEGIN
    with Simulation(str(path)) as simulation:
        basin, away = Nodes(simulation)["basin"], Nodes(simulation)["away"]
        simulation.step_advance(60)
        wet_over = 0.004 * plot.crest  # what counts as a wet floor
        for _ in simulation:
            if basin.depth > wet_over:
                last_wet = simulation.current_time
        spilled, inflow = away.cumulative_inflow, basin.cumulative_inflow
        soaked = SystemStats(simulation).routing_stats["seepage_loss"]
        greatest_depth = basin.statistics["max_depth"]
    return Outcome(inflow, spilled, soaked, greatest_depth, (last_wet - BEGIN) / timedelta(hours=1))


def core_flow_cfs(folder: Path, *, diameter_ft: float, head_ft: float) -> float:
    """Flow out of a very wide tank through a round hole at its floor. [cfs]"""
    network = [
        ("STORAGE", f"tank 0 3 {head_ft} FUNCTIONAL 0 0 1000000 0 0"),
        ("ORIFICES", "core tank away SIDE 0 0.6 NO 0"),
        ("XSECTIONS", f"core CIRCULAR {diameter_ft} 0 0 0"),
    ]
    path = _write_plot(folder, "CFS", network, [0.0], 60)
    with Simulation(str(path)) as simulation:
        core = Links(simulation)["core"]
        simulation.step_advance(60)
        flows = [core.flow for _, __ in zip(simulation, range(30), strict=False)]
    return flows[-1]


def run_basins(
    folder: Path, basins: BasinArrays, rain_mm: FloatArray, step_s: int, *, routing_s: int
) -> Outcome:
    """Many basins of our shape below paved plots without losses, under one rain each; the sums over all.

    `rain_mm` has shape (basins, steps). Neither the greatest depth nor the drying is told.
    """
    network = []
    for n, rates_mm_h in enumerate(rain_mm * (3_600 / step_s)):
        hectares, lip_m = basins.impervious_m2[n] / 10_000, basins.lip_depth_m[n]
        # Between two stands SWMM takes the area as even, ours grows with its root: nine parts are near enough.
        sides_m = np.linspace(np.sqrt(basins.bottom_m2[n]), np.sqrt(basins.lip_m2[n]), 10)
        area = zip([*np.linspace(0, lip_m, 10), 4 * lip_m], [*sides_m, sides_m[-1]], strict=True)
        network += [
            ("RAINGAGES", f"rain{n} INTENSITY 0:{step_s // 60:02d} 1.0 TIMESERIES rates{n}"),
            ("SUBCATCHMENTS", f"plot{n} rain{n} basin{n} {hectares} 100 {hectares * 1_000} 2 0"),
            ("SUBAREAS", f"plot{n} 0.012 0.1 0 0 100 OUTLET"),
            ("INFILTRATION", f"plot{n} 3 0.5 4 7 0"),
            (
                "STORAGE",
                f"basin{n} 0 {4 * lip_m} 0 TABULAR shape{n} 0 0 0 {basins.infiltration_mm_h[n]} 0",
            ),
            ("CURVES", f"shape{n} Storage"),
            *(("CURVES", f"shape{n} {height_m} {side_m**2}") for height_m, side_m in area),
            ("OUTFALLS", f"away{n} -10 FREE NO"),
            (
                "WEIRS",
                f"lip{n} basin{n} away{n} TRANSVERSE {lip_m} {LIP_COEFFICIENT_SI} NO 0 0 YES",
            ),
            ("XSECTIONS", f"lip{n} RECT_OPEN {2 * lip_m} {basins.lip_length_m[n]} 0 0"),
            *(
                (
                    "TIMESERIES",
                    f"rates{n} {_moment(timedelta(seconds=step_s * int(step)))} {rates_mm_h[step]}",
                )
                for step in np.flatnonzero(rates_mm_h)
            ),
        ]
    lasting = timedelta(seconds=step_s * rain_mm.shape[1])
    path = _write(folder, "LPS", network, lasting=lasting, routing_s=routing_s)
    with Simulation(str(path)) as simulation:
        nodes = Nodes(simulation)
        simulation.step_advance(86_400)
        for _ in simulation:
            pass
        inflow = sum(nodes[f"basin{n}"].cumulative_inflow for n in range(len(basins)))
        spilled = sum(nodes[f"away{n}"].cumulative_inflow for n in range(len(basins)))
        soaked = SystemStats(simulation).routing_stats["seepage_loss"]
    return Outcome(inflow, spilled, soaked, float("nan"), float("nan"))


def _moment(after: timedelta) -> str:
    return f"{BEGIN + after:%m/%d/%Y %H:%M}"


def _write_plot(
    folder: Path, flow_units: str, network: list[tuple[str, str]], rates: list[float], step_min: int
) -> Path:
    rain = [
        ("RAINGAGES", f"rain INTENSITY 0:{step_min:02d} 1.0 TIMESERIES rates"),
        ("OUTFALLS", "away -10 FREE NO"),
        *(
            ("TIMESERIES", f"rates {_moment(timedelta(minutes=step_min * step))} {rate}")
            for step, rate in enumerate([*rates, 0.0])
        ),
    ]
    return _write(folder, flow_units, network + rain, lasting=timedelta(days=1), routing_s=1)


def _write(
    folder: Path,
    flow_units: str,
    network: list[tuple[str, str]],
    *,
    lasting: timedelta,
    routing_s: int,
) -> Path:
    options = {
        "FLOW_UNITS": flow_units,
        "INFILTRATION": "HORTON",
        "FLOW_ROUTING": "DYNWAVE",
        "START_DATE": f"{BEGIN:%m/%d/%Y}",
        "END_DATE": f"{BEGIN + lasting:%m/%d/%Y}",
        "END_TIME": f"{BEGIN + lasting:%H:%M:%S}",
        "REPORT_STEP": "00:01:00" if lasting <= timedelta(days=1) else "24:00:00",
        "WET_STEP": "00:01:00",
        "DRY_STEP": "00:01:00" if lasting <= timedelta(days=1) else "01:00:00",
        "ROUTING_STEP": str(routing_s),
        "VARIABLE_STEP": "0",
        "MIN_SURFAREA": "0.001",
    }
    sections: dict[str, list[str]] = {
        "OPTIONS": [f"{name} {value}" for name, value in options.items()]
    }
    for name, line in network:
        sections.setdefault(name, []).append(line)
    text = "\n".join(f"[{name}]\n" + "\n".join(lines) + "\n" for name, lines in sections.items())
    path = folder / "model.inp"
    path.write_text(text, encoding="utf-8")
    return path
