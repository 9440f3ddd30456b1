"""What is known of each day of a gauge's record, and what its neighbours had on it."""

from enum import StrEnum

import numpy as np

from stewardship.hydrology.spread import gauge_weights
from stewardship.hydrology.units import BoolArray, FloatArray, IntArray

#: A day is complete when so much of it is known: the day in spring that has 23 hours is. Of 24 hours.
COMPLETE_SHARE = 0.95
#: [m] Gauges up to so far away are compared. Totals of days and months go together over tens of kilometres, those of a single
#: shower do not; how well they go together here is learned from the record. Common practice, no source.
NEIGHBOUR_M = 30_000
#: Neighbours that are compared, the nearest ones. Common practice, no source.
MOST_NEIGHBOURS = 4


class DayState(StrEnum):
    """What a record says of a day."""

    KNOWN = "known"
    PART = "part"
    MISSING = "missing"
    OUT = "out"
    BEFORE = "before"
    AFTER = "after"
    AHEAD = "ahead"


def day_states(
    *, edges_s: IntArray, known_s: IntArray, out_s: IntArray, stands_s: tuple[int, int], now_s: int
) -> list[DayState]:
    """What is known of each day, in one word.

    Parameters
    ----------
    edges_s : rising edges of the days, shape (days + 1,). [s since 1970]
    known_s : how much of each day is known from times at work, shape (days,). [s]
    out_s : how much of each day the gauge was out of order. [s]
    stands_s : from when until when the gauge stands. [s since 1970]
    now_s : what is after this has not come yet; the day that it falls into is judged by what has passed of it.
    """
    states = []
    for start_s, end_s, known, out in zip(
        edges_s[:-1].tolist(), edges_s[1:].tolist(), known_s.tolist(), out_s.tolist(), strict=True
    ):
        from_s, until_s = max(start_s, stands_s[0]), min(end_s, stands_s[1], now_s)
        if start_s >= now_s:
            states.append(DayState.AHEAD)
        elif end_s <= stands_s[0]:
            states.append(DayState.BEFORE)
        elif start_s >= stands_s[1]:
            states.append(DayState.AFTER)
        elif known and known >= until_s - from_s:
            states.append(DayState.KNOWN)
        elif out and not known:
            states.append(DayState.OUT)
        elif known:
            states.append(DayState.PART)
        elif until_s < end_s and now_s < end_s:
            states.append(DayState.AHEAD)  # today's reading may still come
        else:
            states.append(DayState.MISSING)
    return states


def near_rain(depth_um: FloatArray, complete: BoolArray, distance_m: FloatArray) -> FloatArray:
    """Rain of each day at a gauge's place as its neighbours have it, weighted by distance; NaN where none is complete. [µm]

    Parameters
    ----------
    depth_um, complete : of each neighbour and day, shape (neighbours, days).
    distance_m : of each neighbour, shape (neighbours,). [m]
    """
    if not distance_m.size:
        return np.full(depth_um.shape[1], np.nan)
    weights = gauge_weights(
        np.broadcast_to(distance_m, complete.T.shape),
        complete.T,
        most=MOST_NEIGHBOURS,
        reach_m=NEIGHBOUR_M,
    )
    near_um = np.asarray((weights * depth_um.T).sum(axis=1), dtype=np.float64)
    near_um[weights.sum(axis=1) == 0] = np.nan
    return near_um
