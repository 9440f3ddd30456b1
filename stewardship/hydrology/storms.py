"""Storms: rain separated by dry gaps.

A reading is the interval (start, end] with a depth; inside it rain is taken as even, because
nothing more is known. Readings that are missing must not be passed here: a gap in a gauge's record
looks like dry weather to these functions, so the caller names it beside the result. Traces are not
passed either; they neither start nor bridge a storm.

References
----------
.. [1] E. D. Driscoll, G. E. Palhegyi, E. W. Strecker, P. E. Shelley, *Analysis of Storm Event
   Characteristics for Selected Rainfall Gages throughout the United States*, US EPA, draft,
   November 1989, sections 2.3.1-2.3.3: storms separated by a 6 h minimum dry time.
.. [2] 40 CFR 122.21(g)(7)(ii): a representative storm is greater than 0.1 inch and at least 72
   hours from the previous measurable (greater than 0.1 inch) storm.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from stewardship.hydrology._windows import greatest_depths
from stewardship.hydrology.errors import InputError
from stewardship.hydrology.units import (
    SECONDS_PER_HOUR,
    UM_PER_MM,
    BoolArray,
    FloatArray,
    IntArray,
    Numbers,
)

DRY_GAP_S = 6 * SECONDS_PER_HOUR  # [s] minimum dry time between storms [1]
WINDOWS_S = (300, 900, 1_800, 3_600, 86_400)  # [s] 5, 15, 30, 60 min and 24 h
COARSE_READING_S = SECONDS_PER_HOUR  # [s] a wet reading longer than this makes a storm coarse
REPRESENTATIVE_OVER_UM = 2_540  # [µm] 0.1 in [2]
REPRESENTATIVE_DRY_S = 72 * SECONDS_PER_HOUR  # [s] [2]
FIRST_IN_SERIES = -1  # stands for "dry time before is not known"


@dataclass(frozen=True, slots=True, eq=False)
class StormTable:
    """Storms of one series of readings, earliest first; all arrays have shape (storms,).

    Attributes
    ----------
    start_s, end_s : ndarray of int64
        Start of the first and end of the last wet reading, epoch seconds. [s]
    depth_um : ndarray of int64
        Rain of the storm, exact. [µm]
    wet_count : ndarray of int64
        Number of wet readings.
    wet_s : ndarray of int64
        Time covered by wet readings. [s]
    peak_um : dict of int to ndarray of float64
        Greatest depth in any window of the storm, by window length in seconds. NaN where the
        window is shorter than a wet reading of the storm; the storm's whole depth where the storm
        is shorter than the window. [µm]
    dry_before_s : ndarray of int64
        Time since the end of the storm before it in this series; ``FIRST_IN_SERIES`` (-1) for the
        first, because the series does not say. [s]
    first_index, last_index : ndarray of int64
        Positions of the first and the last wet reading in the arrays that were passed in.
    coarse : ndarray of bool
        True where a wet reading is longer than one hour, such as a daily total: start, end and
        duration are then only as sharp as the readings.
    """

    start_s: IntArray
    end_s: IntArray
    depth_um: IntArray
    wet_count: IntArray
    wet_s: IntArray
    peak_um: dict[int, FloatArray]
    dry_before_s: IntArray
    first_index: IntArray
    last_index: IntArray
    coarse: BoolArray

    def __len__(self) -> int:
        return self.start_s.size

    @property
    def duration_s(self) -> IntArray:
        """Time from start to end, dry spells inside included. [s]"""
        return self.end_s - self.start_s

    @property
    def mean_intensity_mm_h(self) -> FloatArray:
        """Depth over duration. [mm/h]"""
        return peak_intensity_mm_h(self.depth_um, self.duration_s)


def find_storms(
    start_s: Numbers,
    end_s: Numbers,
    depth_um: Numbers,
    *,
    dry_gap_s: int = DRY_GAP_S,
    windows_s: Sequence[int] = WINDOWS_S,
) -> StormTable:
    """Split one gauge's readings into storms.

    Parameters
    ----------
    start_s, end_s : array_like of int, shape (n,)
        Readings as intervals (start, end], epoch seconds, sorted and not overlapping. [s]
    depth_um : array_like of int, shape (n,)
        Depth of each reading. Zero readings may be passed and change nothing. [µm]
    dry_gap_s : int, default 21600
        Wet readings less than this apart belong to one storm; a gap of exactly this splits. [s]
    windows_s : sequence of int, default 5, 15, 30, 60 min and 24 h
        Window lengths for the greatest depths. [s]

    Returns
    -------
    StormTable
        One entry per storm, none if no reading is wet.

    Raises
    ------
    InputError
        If depths are negative or not whole numbers, intervals are empty, unsorted or overlap, or
        the gap or a window is not positive.

    Notes
    -----
    Consecutive wet days join by the same rule: daily totals touch, so their gap is zero.
    """
    starts, ends, depths = _checked_readings(start_s, end_s, depth_um)
    windows = tuple(int(window_s) for window_s in windows_s)
    if dry_gap_s <= 0:
        raise InputError("The dry gap between storms must be longer than nothing.")
    if any(window_s <= 0 for window_s in windows):
        raise InputError("A window for the greatest depth must be longer than nothing.")

    wet = np.flatnonzero(depths)
    if wet.size < depths.size:
        starts, ends, depths = starts[wet], ends[wet], depths[wet]
    if wet.size == 0:
        none = np.empty(0, dtype=np.int64)
        peaks = {window_s: np.empty(0) for window_s in windows}
        return StormTable(
            none, none, none, none, none, peaks, none, none, none, np.empty(0, dtype=np.bool_)
        )

    first = np.append(0, np.flatnonzero(starts[1:] - ends[:-1] >= dry_gap_s) + 1)
    last = np.append(first[1:], wet.size) - 1
    length_s = ends - starts
    dry_before_s = np.append(FIRST_IN_SERIES, starts[first[1:]] - ends[last[:-1]])
    return StormTable(
        start_s=starts[first],
        end_s=ends[last],
        depth_um=np.add.reduceat(depths, first),
        wet_count=last - first + 1,
        wet_s=np.add.reduceat(length_s, first),
        peak_um=greatest_depths(starts, ends, depths, first, windows),
        dry_before_s=dry_before_s,
        first_index=wet[first],
        last_index=wet[last],
        coarse=np.maximum.reduceat(length_s, first) > COARSE_READING_S,
    )


def join_spans(start_s: Numbers, end_s: Numbers, *, dry_gap_s: int = DRY_GAP_S) -> IntArray:
    """Join the storms of several gauges into storms of the program.

    Parameters
    ----------
    start_s, end_s : array_like of int, shape (n,)
        Storms of any gauges in any order, epoch seconds. [s]
    dry_gap_s : int, default 21600
        Spans that overlap, touch or are less than this apart belong together, and so does
        whatever they belong together with; exactly this apart splits. [s]

    Returns
    -------
    ndarray of int64, shape (n,)
        Program storm of each span in the order passed, numbered from 0 by time.

    Raises
    ------
    InputError
        If a span ends before it starts or the gap is not positive.
    """
    starts, ends = _seconds(start_s), _seconds(end_s)
    if starts.shape != ends.shape:
        raise InputError("There must be one end for each start.")
    if np.any(ends < starts):
        raise InputError("A storm ends before it starts.")
    if dry_gap_s <= 0:
        raise InputError("The dry gap between storms must be longer than nothing.")
    if starts.size == 0:
        return starts
    order = np.argsort(starts, kind="stable")
    # A long storm may hold shorter ones; what counts is the latest end so far.
    latest_end = np.maximum.accumulate(ends[order])
    apart = starts[order][1:] - latest_end[:-1] >= dry_gap_s
    group = np.empty_like(starts)
    group[order] = np.append(0, np.cumsum(apart))
    return group


def is_representative(
    depth_um: Numbers,
    start_s: Numbers,
    end_s: Numbers,
    *,
    more_than_um: int = REPRESENTATIVE_OVER_UM,
    dry_s: int = REPRESENTATIVE_DRY_S,
) -> BoolArray:
    """Mark storms that are representative in the sense of 40 CFR 122.21(g)(7)(ii) [2]_.

    Parameters
    ----------
    depth_um : array_like of int, shape (n,)
        Depth of each storm of one series. [µm]
    start_s, end_s : array_like of int, shape (n,)
        The storms, sorted and not overlapping, epoch seconds. [s]
    more_than_um : int, default 2540
        A storm counts if its depth is greater than this. [µm]
    dry_s : int, default 259200
        Shortest time from the end of the last storm that counts to the start of this one. [s]

    Returns
    -------
    ndarray of bool, shape (n,)
        True where the storm counts and the last one that counts ended long enough before. False
        for the first that counts: what came before it is not in the series.

    Raises
    ------
    InputError
        If storms are unsorted, overlap or have a negative depth.

    Notes
    -----
    Smaller storms in between do not restart the clock. The clause that duration and total be
    within half of the local average "where feasible" is left to the reader of the figures.
    """
    starts, ends, depths = _checked_readings(start_s, end_s, depth_um)
    counts = np.flatnonzero(depths > more_than_um)
    marked = np.zeros(depths.shape, dtype=np.bool_)
    marked[counts[1:]] = starts[counts[1:]] - ends[counts[:-1]] >= dry_s
    return marked


def peak_intensity_mm_h(depth_um: Numbers, window_s: Numbers) -> FloatArray:
    """Turn the depth in a window into an intensity.

    Parameters
    ----------
    depth_um : array_like
        Depth in the window; NaN stays NaN. [µm]
    window_s : array_like
        Length of the window, also where the storm was shorter. [s]

    Returns
    -------
    ndarray of float64
        Depth over the whole window. [mm/h]
    """
    hours = np.asarray(window_s, dtype=np.float64) / SECONDS_PER_HOUR
    return np.asarray(depth_um, dtype=np.float64) / UM_PER_MM / hours


def rain_in_steps(
    start_s: Numbers, end_s: Numbers, depth_um: Numbers, *, from_s: int, step_s: int, steps: int
) -> FloatArray:
    """Lay readings on even steps, as the water balance needs them.

    Parameters
    ----------
    start_s, end_s : array_like of int, shape (n,)
        Readings as intervals (start, end], epoch seconds, sorted and not overlapping. [s]
    depth_um : array_like of int, shape (n,)
        Depth of each reading. [µm]
    from_s : int
        Start of the first step, epoch seconds. [s]
    step_s, steps : int
        Length [s] and number of the steps.

    Returns
    -------
    ndarray of float64, shape (steps,)
        Rain in each step; a reading that straddles steps is shared by time. What lies outside the
        steps is left out. [mm]

    Raises
    ------
    InputError
        As for `find_storms`, or if the steps have no length or number.
    """
    starts, ends, depths = _checked_readings(start_s, end_s, depth_um)
    if step_s <= 0 or steps <= 0:
        raise InputError("Steps need a length and a number above zero.")
    if starts.size == 0:
        return np.zeros(steps)
    instants = np.stack([starts, ends], axis=1).ravel()
    total = np.cumsum(depths)
    curve = np.stack([total - depths, total], axis=1).ravel()
    edges = from_s + step_s * np.arange(steps + 1)
    return np.diff(np.interp(edges, instants, curve)) / UM_PER_MM


def _checked_readings(
    start_s: Numbers, end_s: Numbers, depth_um: Numbers
) -> tuple[IntArray, IntArray, IntArray]:
    starts, ends, depths = _seconds(start_s), _seconds(end_s), np.asarray(depth_um)
    if depths.size and not np.issubdtype(depths.dtype, np.integer):
        raise InputError("Depths must be whole micrometres.")
    if starts.ndim != 1 or not starts.shape == ends.shape == depths.shape:
        raise InputError("There must be one start, one end and one depth for each reading.")
    depths = depths.astype(np.int64, copy=False)
    if np.any(depths < 0):
        raise InputError("A depth is below zero.")
    if np.any(ends <= starts):
        raise InputError("A reading ends before or when it starts.")
    if np.any(starts[1:] < ends[:-1]):
        raise InputError("Readings overlap or are not in order of time.")
    return starts, ends, depths


def _seconds(value: Numbers) -> IntArray:
    instants = np.asarray(value)
    if instants.size and not np.issubdtype(instants.dtype, np.integer):
        raise InputError("Times must be whole epoch seconds.")
    return instants.astype(np.int64, copy=False)
