"""Exact greatest depth in a sliding window, for many storms at once.

The cumulative depth C(t) of a storm is piecewise linear: it rises evenly inside a wet reading and
is level between them. The depth in a window, C(t) - C(t - w), therefore has its maximum where the
rain slackens at the window's end or strengthens at its start; only those ends and starts of
readings need looking at.
"""

import numpy as np

from stewardship.hydrology.units import BoolArray, FloatArray, IntArray


def greatest_depths(
    start_s: IntArray,
    end_s: IntArray,
    depth_um: IntArray,
    first: IntArray,
    windows_s: tuple[int, ...],
) -> dict[int, FloatArray]:
    """Find the greatest depth in any window of each length, storm by storm.

    Parameters
    ----------
    start_s, end_s : ndarray of int64, shape (n,)
        Wet readings as (start, end], sorted, not overlapping, each longer than nothing. [s]
    depth_um : ndarray of int64, shape (n,)
        Their depths, all above zero. [µm]
    first : ndarray of int64, shape (storms,)
        Position of the first reading of each storm; strictly rising from 0.
    windows_s : tuple of int
        Window lengths. [s]

    Returns
    -------
    dict of int to ndarray of float64, shape (storms,)
        Greatest depth by window length; NaN where the window is shorter than a reading of the
        storm, the storm's whole depth where the storm is shorter than the window. [µm]

    Notes
    -----
    Memory is a fixed number of arrays of the length of the readings, whatever the windows.
    """
    after = np.append(first[1:], start_s.size)
    length_s = end_s - start_s
    longest_s = np.maximum.reduceat(length_s, first)
    storm_start_s, storm_end_s = start_s[first], end_s[after - 1]
    whole_um = np.add.reduceat(depth_um, first).astype(np.float64)

    # The curve's break points; where two readings touch, one instant stands there twice.
    instants = np.empty(2 * start_s.size)
    instants[0::2], instants[1::2] = start_s, end_s
    curve = np.empty_like(instants)
    np.cumsum(depth_um, out=curve[1::2])
    curve[0], curve[2::2] = 0.0, curve[1:-1:2]

    rate = depth_um / length_s
    apart = start_s[1:] > end_s[:-1]
    slackens = np.append(apart | (rate[1:] < rate[:-1]), True)
    strengthens = np.append(True, apart | (rate[1:] > rate[:-1]))
    slackens[after - 1] = strengthens[first] = True

    found: dict[int, FloatArray] = {}
    for window_s in windows_s:
        peak_um = np.where(window_s < longest_s, np.nan, whole_um)
        searched = (longest_s <= window_s) & (window_s < storm_end_s - storm_start_s)
        if searched.any():
            peak_um[searched] = np.maximum(
                _at_ends(instants, curve, first, after, slackens, searched, window_s),
                _at_starts(instants, curve, first, after, strengthens, searched, window_s),
            )
        found[window_s] = peak_um
    return found


def _at_ends(
    instants: FloatArray,
    curve: FloatArray,
    first: IntArray,
    after: IntArray,
    slackens: BoolArray,
    searched: BoolArray,
    window_s: int,
) -> FloatArray:
    """Greatest depth in windows that close where the rain slackens."""
    reading, storm, offset = _candidates(slackens, first, after, searched)
    # Clipped to the storm, so that a long window never reaches into a neighbour.
    opens = np.maximum(instants[1::2][reading] - window_s, instants[0::2][first][storm])
    inside = curve[1::2][reading] - np.interp(opens, instants, curve)
    return np.maximum.reduceat(inside, offset)


def _at_starts(
    instants: FloatArray,
    curve: FloatArray,
    first: IntArray,
    after: IntArray,
    strengthens: BoolArray,
    searched: BoolArray,
    window_s: int,
) -> FloatArray:
    """Greatest depth in windows that open where the rain strengthens."""
    reading, storm, offset = _candidates(strengthens, first, after, searched)
    closes = np.minimum(instants[0::2][reading] + window_s, instants[1::2][after - 1][storm])
    inside = np.interp(closes, instants, curve) - curve[0::2][reading]
    return np.maximum.reduceat(inside, offset)


def _candidates(
    marked: BoolArray, first: IntArray, after: IntArray, searched: BoolArray
) -> tuple[IntArray, IntArray, IntArray]:
    """Marked readings of the searched storms, the storm of each, and where each storm begins."""
    kept = marked & np.repeat(searched, after - first)
    reading = np.flatnonzero(kept)
    storms = np.flatnonzero(searched)
    offset = np.searchsorted(reading, first[storms])
    storm = np.repeat(storms, np.diff(np.append(offset, reading.size)))
    return reading, storm, offset
