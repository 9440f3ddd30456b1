"""Small models for EPA SWMM 5.2 (through pyswmm), written from parameters.

One paved plot without losses drains into one storage with upright walls, a constant seepage and a
weir: the same basin as ours, in another engine that solves the full dynamic wave each second.
"""

from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

from pyswmm import Links, Nodes, Simulation, SystemStats

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
    path = _write(folder, plot.flow_units, network, rates, step_min)
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
    path = _write(folder, "CFS", network, [0.0], 60)
    with Simulation(str(path)) as simulation:
        core = Links(simulation)["core"]
        simulation.step_advance(60)
        flows = [core.flow for _, __ in zip(simulation, range(30), strict=False)]
    return flows[-1]


def _write(
    folder: Path, flow_units: str, network: list[tuple[str, str]], rates: list[float], step_min: int
) -> Path:
    options = {
        "FLOW_UNITS": flow_units,
        "INFILTRATION": "HORTON",
        "FLOW_ROUTING": "DYNWAVE",
        "START_DATE": BEGIN.strftime("%m/%d/%Y"),
        "END_DATE": (BEGIN + timedelta(days=1)).strftime("%m/%d/%Y"),
        "REPORT_STEP": "00:01:00",
        "WET_STEP": "00:01:00",
        "DRY_STEP": "00:01:00",
        "ROUTING_STEP": "1",
        "VARIABLE_STEP": "0",
        "MIN_SURFAREA": "0.001",
    }
    sections = [
        ("OPTIONS", "\n".join(f"{name} {value}" for name, value in options.items())),
        ("RAINGAGES", f"rain INTENSITY 0:{step_min:02d} 1.0 TIMESERIES rates"),
        ("OUTFALLS", "away -10 FREE NO"),
        *network,
        (
            "TIMESERIES",
            "\n".join(
                f"rates {BEGIN + timedelta(minutes=step_min * step):%m/%d/%Y %H:%M} {rate}"
                for step, rate in enumerate([*rates, 0.0])
            ),
        ),
    ]
    path = folder / "model.inp"
    path.write_text("\n".join(f"[{name}]\n{lines}\n" for name, lines in sections), encoding="utf-8")
    return path
