"""Where the water of a storm goes: in through the inlet, into the ground, over the lip.

Water enters evenly within a rain step, soaks away at a constant rate through the wetted plan area,
and leaves over the lip as over a broad-crested weir. No water runs back out of the inlet, nothing
evaporates, and runoff reaches the inlet in the step in which it falls: right for the short
catchments of street-side basins, not for long ones.

References
----------
.. [1] Broad-crested weir Q = C L H^1.5; theory gives C = 3.087 in US units (1.705 in SI). Practice
   for rounded crests and earth is 2.8 to 3.1: USBR, *Design of Small Dams*, 3rd edition, 1987.
   3.0 is used here.
.. [2] *Storm Water Management Model Reference Manual, Volume II - Hydraulics*, US EPA
   EPA/600/R-17/111, 2017; the engine is run beside this one in the tests.

The lip's weir itself is in `stewardship.hydrology._stand`.
"""

from dataclasses import dataclass

import numpy as np

from stewardship.hydrology._stand import Stand
from stewardship.hydrology.basins import BasinArrays
from stewardship.hydrology.errors import InputError
from stewardship.hydrology.runoff import catchment_runoff_m3
from stewardship.hydrology.units import (
    MM_PER_M,
    SECONDS_PER_HOUR,
    FloatArray,
    Numbers,
)

SUB_STEP_S = 60.0  # [s] while water may run over the lip
LONGEST_SUB_STEP_S = 300.0  # [s]
LONGEST_RAIN_STEP_S = SECONDS_PER_HOUR  # [s] coarser rain says too little about spilling
FOLLOWED_H = 168.0  # [h] a week after the rain
CELLS_AT_ONCE = 250_000  # basins times steps whose runoff is worked out in one go


@dataclass(frozen=True, slots=True, eq=False)
class BalanceResult:
    """What happened to the water in each basin; all arrays have shape (basins,).

    Attributes
    ----------
    runoff_m3 : ndarray of float64
        Runoff that reached the inlet. [m³]
    inflow_m3 : ndarray of float64
        What entered the basin: runoff let in and rain that fell straight in. [m³]
    passed_by_m3 : ndarray of float64
        Runoff beyond the inlet's capacity. [m³]
    soaked_m3, spilled_m3 : ndarray of float64
        What went into the ground, and over the lip, until the end of the time followed. [m³]
    stored_end_m3 : ndarray of float64
        What still stood in the basin then. [m³]
    greatest_depth_m : ndarray of float64
        Greatest depth above the bottom. [m]
    hours_to_drain : ndarray of float64
        Time from the end of the basin's rain until it was empty; NaN if it was not within the time
        followed. [h]
    closure_error : ndarray of float64
        What the water balance misses, as a fraction of inflow and water there before.
    coarse : bool
        True if made from event volumes, without the course of the storm.
    """

    runoff_m3: FloatArray
    inflow_m3: FloatArray
    passed_by_m3: FloatArray
    soaked_m3: FloatArray
    spilled_m3: FloatArray
    stored_end_m3: FloatArray
    greatest_depth_m: FloatArray
    hours_to_drain: FloatArray
    closure_error: FloatArray
    coarse: bool


def basin_balance(
    rain_depth_mm: Numbers,
    step_s: float,
    basins: BasinArrays,
    *,
    initial_m3: Numbers = 0.0,
    followed_h: float = FOLLOWED_H,
    sub_step_s: float = SUB_STEP_S,
) -> BalanceResult:
    """Follow one storm through many basins, and on until they are empty.

    Parameters
    ----------
    rain_depth_mm : array_like, shape (steps,) or (basins, steps)
        Rain in each step from the start of the storm, the same for all basins or each its own.
        [mm]
    step_s : float
        Length of a step, at most one hour. [s]
    basins : BasinArrays
        The basins.
    initial_m3 : array_like, scalar or shape (basins,), default 0
        Water that stands in the basins at the start. [m³]
    followed_h : float, default 168
        Time for which each basin is followed after its own last rain; all steps are, anyway. [h]
    sub_step_s : float, default 60
        Longest computing step of a basin that may spill, at most 300; one that cannot reach its lip
        within five of these takes them in one. [s]

    Returns
    -------
    BalanceResult
        ``coarse`` is False.

    Raises
    ------
    InputError
        If rain is missing or negative, steps are too long or none, or shapes do not fit. Rain in
        steps over an hour needs `event_volume_balance`.

    Notes
    -----
    In each computing step water enters, then soaks away, then spills. The spill is taken at the
    head it leaves behind, so that no step length makes it unstable and a steady flow is exact.
    Each basin's steps depend on itself alone: it comes out the same with others or without.
    After the rain the water below the lip falls at exactly the infiltration rate, which is solved
    in one go. Every change is booked as the difference of two volumes.
    """
    rain_mm = _checked_rain(rain_depth_mm, len(basins))
    if not 0 < step_s <= LONGEST_RAIN_STEP_S:
        raise InputError("A rain step must be longer than nothing and at most one hour.")
    if not 0 < sub_step_s <= LONGEST_SUB_STEP_S:
        raise InputError("A computing step must be longer than nothing and at most five minutes.")
    run = _Run(basins, _checked_initial(initial_m3, len(basins)), followed_h)
    steps_at_once = max(1, CELLS_AT_ONCE // max(1, len(basins)))
    for first in range(0, len(rain_mm), steps_at_once):
        run.rain(rain_mm[first : first + steps_at_once], first * step_s, step_s, sub_step_s)
    run.drain(len(rain_mm) * step_s, sub_step_s)
    return run.result(coarse=False)


def event_volume_balance(
    rain_depth_mm: Numbers,
    duration_s: Numbers,
    basins: BasinArrays,
    *,
    initial_m3: Numbers = 0.0,
    followed_h: float = FOLLOWED_H,
) -> BalanceResult:
    """Set a storm's volume against what each basin holds and soaks away meanwhile.

    For rain known only as totals over more than an hour, such as daily readings.

    Parameters
    ----------
    rain_depth_mm : array_like, scalar or shape (basins,)
        Rain of the storm. [mm]
    duration_s : array_like, scalar or shape (basins,)
        Duration of the storm as far as known. [s]
    basins : BasinArrays
        The basins.
    initial_m3 : array_like, scalar or shape (basins,), default 0
        Water that stands in the basins at the start. [m³]
    followed_h : float, default 168
        Time to go on after the storm. [h]

    Returns
    -------
    BalanceResult
        ``coarse`` is True.

    Raises
    ------
    InputError
        If rain, duration or water at the start is missing or negative, or shapes do not fit.

    Notes
    -----
    The rain is spread over the whole duration and soaks away through the basin's mean plan area.
    Real rain comes in bursts, so passed by, spilled and depth are lower limits here, and depth
    never exceeds the lip.
    """
    count = len(basins)
    rain_mm, lasting_s = _for_each(rain_depth_mm, count), _for_each(duration_s, count)
    if not np.all(np.isfinite(rain_mm) & (rain_mm >= 0)):
        raise InputError("Rain is below zero or missing.")
    if not np.all(np.isfinite(lasting_s) & (lasting_s > 0)):
        raise InputError("The duration of a storm must be longer than nothing.")
    run = _Run(basins, _checked_initial(initial_m3, count), followed_h)
    entering_m3 = run.let_in(rain_mm[None, :], lasting_s)[0]
    stand = run.stand
    there_m3 = stand.volume_m3 + entering_m3
    mean_area_m2 = basins.lip_volume_m3 / basins.lip_depth_m
    kept_m3 = np.maximum(there_m3 - stand.soaking_m_s * mean_area_m2 * lasting_s, 0.0)
    stand.soaked_m3 += there_m3 - kept_m3
    stand.volume_m3 = np.minimum(kept_m3, basins.lip_volume_m3)
    stand.spilled_m3 += kept_m3 - stand.volume_m3
    stand.depth_m = basins.depth_m(stand.volume_m3)
    np.maximum(stand.greatest_depth_m, stand.depth_m, out=stand.greatest_depth_m)
    run.drain(0.0, SUB_STEP_S)
    return run.result(coarse=True)


class _Run:
    """A storm followed through basins: what falls and arrives, beside the water that stands."""

    def __init__(self, basins: BasinArrays, initial_m3: FloatArray, followed_h: float) -> None:
        if not (np.isfinite(followed_h) and followed_h >= 0):
            raise InputError("The time to follow a basin after the rain must be at least zero.")
        self.basins = basins
        self.followed_s = followed_h * SECONDS_PER_HOUR
        self.initial_m3 = initial_m3
        self.stand = Stand(basins, initial_m3)
        count = len(basins)
        self.fallen_mm = np.zeros(1)  # (1,) while one series serves all, else (basins,)
        self.run_off_m3, self.rain_end_s = np.zeros((2, count))
        self.runoff_m3, self.inflow_m3, self.passed_by_m3 = np.zeros((3, count))

    def rain(self, rain_mm: FloatArray, begin_s: float, step_s: float, sub_step_s: float) -> None:
        """Some even steps of rain, shape (steps, 1 or basins)."""
        entering_m3 = self.let_in(rain_mm, step_s)
        wet = rain_mm > 0
        last_wet_s = begin_s + step_s * (len(wet) - np.argmax(wet[::-1], axis=0))
        self.rain_end_s = np.where(wet.any(axis=0), last_wet_s, self.rain_end_s)

        busy = np.flatnonzero(entering_m3.any(axis=1))
        until_busy = np.append(busy, len(wet))[np.searchsorted(busy, np.arange(len(wet)))]
        nothing = np.zeros(len(self.basins))
        step = 0
        while step < len(wet):
            now_s = begin_s + step * step_s
            if step < until_busy[step] and not self.stand.runs_over().any():
                # With nothing entering or running over a lip, soaking away is exact at any length.
                pause = int(until_busy[step]) - step
                self.stand.advance(nothing, now_s, pause * step_s)
                step += pause
            else:
                self.stand.fill(entering_m3[step], now_s, step_s, sub_step_s)
                step += 1

    def let_in(self, rain_mm: FloatArray, lasting_s: Numbers) -> FloatArray:
        """Let the runoff of some steps through the inlets, add rain on the basins, book both.

        Shapes: rain (steps, 1 or basins), what enters (steps, basins). [m³]
        """
        fallen_mm = self.fallen_mm + np.cumsum(rain_mm, axis=0)
        since_start_m3 = _runoff_m3(fallen_mm, self.basins)
        before_m3 = np.concatenate([self.run_off_m3[None, :], since_start_m3[:-1]])
        # Rounding must not make a step's runoff negative.
        arriving_m3 = np.maximum(since_start_m3 - before_m3, 0.0)
        self.fallen_mm, self.run_off_m3 = fallen_mm[-1], since_start_m3[-1]

        admitted_m3 = self._admitted_m3(arriving_m3, np.asarray(lasting_s, dtype=np.float64))
        entering_m3: FloatArray = admitted_m3 + rain_mm * self.basins.open_m2 / MM_PER_M
        self.runoff_m3 += arriving_m3.sum(axis=0)
        self.passed_by_m3 += (arriving_m3 - admitted_m3).sum(axis=0)
        self.inflow_m3 += entering_m3.sum(axis=0)
        return entering_m3

    def _admitted_m3(self, arriving_m3: FloatArray, lasting_s: FloatArray) -> FloatArray:
        admitted_m3 = np.minimum(arriving_m3, self.basins.inlet_capacity_m3_s * lasting_s)
        graded = self.basins.graded_inlets
        if graded is not None:
            left_m3 = arriving_m3 - admitted_m3
            admitted_m3 += graded.admitted_m3_s(left_m3 / lasting_s) * lasting_s
            np.minimum(admitted_m3, arriving_m3, out=admitted_m3)
        return admitted_m3

    def drain(self, begin_s: float, sub_step_s: float) -> None:
        """Follow each basin on from the last step, until its time after its own rain is over."""
        self.stand.drain(begin_s, self.rain_end_s + self.followed_s, sub_step_s)

    def result(self, *, coarse: bool) -> BalanceResult:
        """Close the books."""
        stand = self.stand
        there_m3 = self.initial_m3 + self.inflow_m3
        missing_m3 = there_m3 - stand.soaked_m3 - stand.spilled_m3 - stand.volume_m3
        closure_error = np.zeros(len(self.basins))
        np.divide(np.abs(missing_m3), there_m3, out=closure_error, where=there_m3 > 0)
        waited_s = np.maximum(stand.emptied_s - self.rain_end_s, 0.0)
        return BalanceResult(
            runoff_m3=self.runoff_m3,
            inflow_m3=self.inflow_m3,
            passed_by_m3=self.passed_by_m3,
            soaked_m3=stand.soaked_m3,
            spilled_m3=stand.spilled_m3,
            stored_end_m3=stand.volume_m3,
            greatest_depth_m=stand.greatest_depth_m,
            hours_to_drain=waited_s / SECONDS_PER_HOUR,
            closure_error=closure_error,
            coarse=coarse,
        )


def _runoff_m3(fallen_mm: FloatArray, basins: BasinArrays) -> FloatArray:
    return catchment_runoff_m3(
        fallen_mm,
        impervious_m2=basins.impervious_m2,
        pervious_m2=basins.pervious_m2,
        pervious_curve_number=basins.pervious_curve_number,
        runoff_coefficient=basins.runoff_coefficient,
    )


def _checked_rain(rain_depth_mm: Numbers, count: int) -> FloatArray:
    """Rain as (steps, basins), or (steps, 1) where one series serves all."""
    rain_mm = np.asarray(rain_depth_mm, dtype=np.float64)
    if rain_mm.ndim not in (1, 2) or rain_mm.shape[-1] == 0:
        raise InputError("Rain must be one series for all basins or one for each.")
    if not np.all(np.isfinite(rain_mm) & (rain_mm >= 0)):
        raise InputError("Rain is below zero or missing.")
    if rain_mm.ndim == 2 and rain_mm.shape[0] != count:
        raise InputError("There must be one series of rain for each basin.")
    return np.ascontiguousarray(rain_mm.T) if rain_mm.ndim == 2 else rain_mm[:, None]


def _checked_initial(initial_m3: Numbers, count: int) -> FloatArray:
    initial = _for_each(initial_m3, count)
    if not np.all(np.isfinite(initial) & (initial >= 0)):
        raise InputError("The water that stands in a basin is below zero or missing.")
    return initial


def _for_each(value: Numbers, count: int) -> FloatArray:
    numbers = np.asarray(value, dtype=np.float64)
    if numbers.shape not in ((), (count,)):
        raise InputError("Each quantity needs one number for all basins or one for each.")
    return np.broadcast_to(numbers, (count,)).copy()
