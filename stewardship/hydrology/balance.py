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
"""

from dataclasses import dataclass
from math import ceil

import numpy as np

from stewardship.hydrology.basins import BasinArrays
from stewardship.hydrology.errors import InputError
from stewardship.hydrology.runoff import catchment_runoff_m3
from stewardship.hydrology.units import (
    M_PER_FOOT,
    MM_PER_M,
    SECONDS_PER_HOUR,
    FloatArray,
    IntArray,
    Numbers,
    m_per_s_from_mm_per_h,
)

LIP_COEFFICIENT_SI = 3.0 * M_PER_FOOT**0.5  # [m^0.5/s] 3.0 in US units [1]
SUB_STEP_S = 60.0  # [s] never more than 5 min
LONGEST_RAIN_STEP_S = SECONDS_PER_HOUR  # [s] coarser rain says too little about spilling
FOLLOWED_H = 168.0  # [h] a week after the rain
FILM_M = 1e-5  # [m] head over the lip that no longer counts as running
NEWTON_STEPS = 7  # from a start at most 1.5 times too high these reach rounding error


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
        Time to go on after the last step. [h]
    sub_step_s : float, default 60
        Longest computing step, at most 300. [s]

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
    After the rain the water below the lip falls at exactly the infiltration rate, which is solved
    in one go. Every change is booked as the difference of two volumes.
    """
    rain_mm = _checked_rain(rain_depth_mm, len(basins))
    if not 0 < step_s <= LONGEST_RAIN_STEP_S:
        raise InputError("A rain step must be longer than nothing and at most one hour.")
    if not 0 < sub_step_s <= 300:
        raise InputError("A computing step must be longer than nothing and at most five minutes.")
    run = _Run(basins, _checked_initial(initial_m3, len(basins)), followed_h)

    fallen_mm, run_off_m3 = np.zeros(len(basins)), np.zeros(len(basins))
    for step in range(rain_mm.shape[1]):
        step_mm = rain_mm[:, step]
        entering_m3 = np.zeros(len(basins))
        if step_mm.any():
            fallen_mm = fallen_mm + step_mm
            since_start_m3 = _runoff_m3(fallen_mm, basins)
            # Rounding must not make a step's runoff negative.
            arriving_m3 = np.maximum(since_start_m3 - run_off_m3, 0.0)
            run_off_m3 = since_start_m3
            entering_m3 = run.let_in(arriving_m3, step_mm, step_s)
            run.rain_end_s[step_mm > 0] = (step + 1) * step_s
        elif not run.volume_m3.any():
            continue
        # With nothing entering and nothing above the lip, soaking away is exact at any length.
        still = not entering_m3.any() and not np.any(run.volume_m3 > basins.lip_volume_m3)
        parts = 1 if still else ceil(step_s / sub_step_s)
        for part in range(parts):
            begin_s = step * step_s + part * step_s / parts
            run.advance(entering_m3 / parts, begin_s, step_s / parts)
    run.drain(rain_mm.shape[1] * step_s, sub_step_s)
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
    rain_mm = _checked_rain(np.asarray(rain_depth_mm, dtype=np.float64)[..., None], count)[:, 0]
    lasting_s = _for_each(duration_s, count)
    if not np.all(np.isfinite(lasting_s) & (lasting_s > 0)):
        raise InputError("The duration of a storm must be longer than nothing.")
    run = _Run(basins, _checked_initial(initial_m3, count), followed_h)

    entering_m3 = run.let_in(_runoff_m3(rain_mm, basins), rain_mm, lasting_s)
    there_m3 = run.volume_m3 + entering_m3
    mean_area_m2 = basins.lip_volume_m3 / basins.lip_depth_m
    kept_m3 = np.maximum(there_m3 - run.soaking_m_s * mean_area_m2 * lasting_s, 0.0)
    run.soaked_m3 += there_m3 - kept_m3
    run.volume_m3 = np.minimum(kept_m3, basins.lip_volume_m3)
    run.spilled_m3 += kept_m3 - run.volume_m3
    run.depth_m = basins.depth_m(run.volume_m3)
    run.greatest_depth_m = np.maximum(run.greatest_depth_m, run.depth_m)
    run.soak_to_the_end(np.zeros(count))
    return run.result(coarse=True)


class _Run:
    """Water in the basins while a storm is followed, and the books on it."""

    def __init__(self, basins: BasinArrays, initial_m3: FloatArray, followed_h: float) -> None:
        if not (np.isfinite(followed_h) and followed_h >= 0):
            raise InputError("The time to follow a basin after the rain must be at least zero.")
        self.basins = basins
        self.followed_s = followed_h * SECONDS_PER_HOUR
        self.soaking_m_s = m_per_s_from_mm_per_h(basins.infiltration_mm_h)
        self.initial_m3 = initial_m3
        self.volume_m3 = initial_m3.copy()
        self.depth_m = basins.depth_m(initial_m3)
        self.greatest_depth_m = self.depth_m.copy()
        count = len(basins)
        self.runoff_m3, self.inflow_m3, self.passed_by_m3 = np.zeros((3, count))
        self.soaked_m3, self.spilled_m3 = np.zeros((2, count))
        self.rain_end_s, self.emptied_s = np.zeros((2, count))

    def let_in(
        self, arriving_m3: FloatArray, rain_mm: FloatArray, lasting_s: Numbers
    ) -> FloatArray:
        """Pass arriving runoff through the inlet, add rain on the basin, book both. [m³]"""
        admitted_m3 = np.minimum(
            arriving_m3, self.basins.inlet_capacity_m3_s * np.asarray(lasting_s)
        )
        entering_m3: FloatArray = admitted_m3 + rain_mm * self.basins.open_m2 / MM_PER_M
        self.runoff_m3 += arriving_m3
        self.passed_by_m3 += arriving_m3 - admitted_m3
        self.inflow_m3 += entering_m3
        return entering_m3

    def advance(self, entering_m3: FloatArray, begin_s: float, lasting_s: float) -> None:
        """One computing step: enter, soak away, spill."""
        basins = self.basins
        filled_m3 = self.volume_m3 + entering_m3
        filled_m = basins.depth_m(filled_m3)
        self.depth_m = np.maximum(filled_m - self.soaking_m_s * lasting_s, 0.0)
        self.volume_m3 = np.minimum(basins.volume_m3(self.depth_m), filled_m3)
        self.soaked_m3 += filled_m3 - self.volume_m3

        emptied = np.flatnonzero((self.volume_m3 == 0) & (filled_m > 0) & (self.soaking_m_s > 0))
        self.emptied_s[emptied] = begin_s + filled_m[emptied] / self.soaking_m_s[emptied]

        over = np.flatnonzero(self.volume_m3 > basins.lip_volume_m3)
        if over.size:
            self._spill(over, lasting_s)
        np.maximum(self.greatest_depth_m, self.depth_m, out=self.greatest_depth_m)

    def _spill(self, over: IntArray, lasting_s: float) -> None:
        """Let the basins that stand above their lip spill for one step."""
        area_m2 = self.basins.lip_m2[over]
        lip_m3 = self.basins.lip_volume_m3[over]
        held_m3 = self.volume_m3[over]
        flow_m1_5 = LIP_COEFFICIENT_SI * self.basins.lip_length_m[over] * lasting_s
        # What is above the lip either stays or leaves: A H + C L t H^1.5 = above, with H = root².
        above_m3 = held_m3 - lip_m3
        root = np.minimum(np.sqrt(above_m3 / area_m2), np.cbrt(above_m3 / flow_m1_5))
        for _ in range(NEWTON_STEPS):
            missed_m3 = root**2 * (area_m2 + flow_m1_5 * root) - above_m3
            root -= missed_m3 / (root * (2 * area_m2 + 3 * flow_m1_5 * root))
        self.volume_m3[over] = np.minimum(lip_m3 + area_m2 * root**2, held_m3)
        self.spilled_m3[over] += held_m3 - self.volume_m3[over]
        self.depth_m[over] = self.basins.lip_depth_m[over] + root**2

    def drain(self, rain_over_s: float, sub_step_s: float) -> None:
        """Go on without rain: step while water runs over a lip, then soak away in one go."""
        gone_s = 0.0
        nothing = np.zeros(len(self.basins))
        while np.any(self.depth_m > self.basins.lip_depth_m + FILM_M) and gone_s < self.followed_s:
            lasting_s = min(sub_step_s, self.followed_s - gone_s)
            self.advance(nothing, rain_over_s + gone_s, lasting_s)
            gone_s += lasting_s
        self.soak_to_the_end(np.full(len(self.basins), rain_over_s), gone_s)

    def soak_to_the_end(self, rain_over_s: FloatArray, gone_s: float = 0.0) -> None:
        """Empty the basins at the infiltration rate until the end of the time followed."""
        left_s = self.followed_s - gone_s
        before_m3 = self.volume_m3
        needed_s = np.full(len(self.basins), np.inf)
        np.divide(self.depth_m, self.soaking_m_s, out=needed_s, where=self.soaking_m_s > 0)
        needed_s[self.depth_m == 0] = 0.0
        emptied = needed_s <= left_s
        left_m = np.where(emptied, 0.0, self.depth_m - self.soaking_m_s * left_s)
        self.volume_m3 = np.minimum(self.basins.volume_m3(np.maximum(left_m, 0.0)), before_m3)
        self.soaked_m3 += before_m3 - self.volume_m3
        now = emptied & (before_m3 > 0)
        self.emptied_s[now] = rain_over_s[now] + gone_s + needed_s[now]
        self.emptied_s[~emptied] = np.nan

    def result(self, *, coarse: bool) -> BalanceResult:
        """Close the books."""
        there_m3 = self.initial_m3 + self.inflow_m3
        missing_m3 = there_m3 - self.soaked_m3 - self.spilled_m3 - self.volume_m3
        closure_error = np.zeros(len(self.basins))
        np.divide(np.abs(missing_m3), there_m3, out=closure_error, where=there_m3 > 0)
        waited_s = np.maximum(self.emptied_s - self.rain_end_s, 0.0)
        return BalanceResult(
            runoff_m3=self.runoff_m3,
            inflow_m3=self.inflow_m3,
            passed_by_m3=self.passed_by_m3,
            soaked_m3=self.soaked_m3,
            spilled_m3=self.spilled_m3,
            stored_end_m3=self.volume_m3,
            greatest_depth_m=self.greatest_depth_m,
            hours_to_drain=waited_s / SECONDS_PER_HOUR,
            closure_error=closure_error,
            coarse=coarse,
        )


def _runoff_m3(fallen_mm: FloatArray, basins: BasinArrays) -> FloatArray:
    return catchment_runoff_m3(
        fallen_mm,
        impervious_m2=basins.impervious_m2,
        pervious_m2=basins.pervious_m2,
        impervious_curve_number=basins.impervious_curve_number,
        pervious_curve_number=basins.pervious_curve_number,
        runoff_coefficient=basins.runoff_coefficient,
    )


def _checked_rain(rain_depth_mm: Numbers, count: int) -> FloatArray:
    """Rain as (basins, steps), a view where one series serves all."""
    rain_mm = np.asarray(rain_depth_mm, dtype=np.float64)
    if rain_mm.ndim not in (1, 2) or rain_mm.shape[-1] == 0:
        raise InputError("Rain must be one series for all basins or one for each.")
    if not np.all(np.isfinite(rain_mm) & (rain_mm >= 0)):
        raise InputError("Rain is below zero or missing.")
    if rain_mm.ndim == 2 and rain_mm.shape[0] != count:
        raise InputError("There must be one series of rain for each basin.")
    return np.broadcast_to(rain_mm, (count, rain_mm.shape[-1]))


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
