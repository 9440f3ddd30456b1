"""A gauge's rain summed up against its neighbours': a straight line while nothing changed, a bend where something did.

References
----------
.. [1] J. K. Searcy and C. H. Hardison, "Double-Mass Curves", U.S. Geological Survey Water-Supply Paper 1541-B, 1960.
.. [2] P. Good, *Permutation Tests*, Springer, 2nd edition 2000; from memory: the p-value counts the data as one of the shuffles.
"""

from dataclasses import dataclass

import numpy as np

from stewardship.hydrology.units import BoolArray, FloatArray, IntArray

#: [µm] The record is cut into pieces in which the neighbours had the same rain, at least so much. Common practice, no source.
LEAST_PIECE_UM = 10_000
MOST_PIECES = 60
#: Fewer pieces than this, or fewer on one side of a break, say nothing. Common practice, no source.
LEAST_PIECES = 12
LEAST_SIDE = 4
#: [days] Nor does a side that is shorter: a few big storms are not a habit. Common practice, no source.
LEAST_SIDE_DAYS = 60
#: A change of catch smaller than this is left alone. Common practice, no source; [1] warns against bends that are not explained.
LEAST_CHANGE = 0.10
#: A break is named when shuffled pieces show one as clear so seldom [2]_.
SURE = 0.01
SHUFFLES = 999


@dataclass(frozen=True)
class Break:
    day: int  # place of the first day after it
    before: float  # slope, gauge over neighbours
    after: float
    chance: float  # share of shuffles with as clear a break


@dataclass(frozen=True)
class DoubleMass:
    """Sums over the days on which the gauge and its neighbours are known, one element per such day."""

    day: IntArray  # place of the day
    gauge_um: FloatArray  # sum up to and with that day
    near_um: FloatArray
    slope: float
    tested: bool  # enough rain and days to look for a break
    change: Break | None


def double_mass(
    *, depth_um: FloatArray, complete: BoolArray, near_um: FloatArray
) -> DoubleMass | None:
    """The double-mass curve [1]_ of a gauge and its clearest break, if there is one.

    The pieces' ratios are split at every place; the split with the greatest difference between the means, in units of their
    spread, is a break when no more than SURE of SHUFFLES random orders of the same pieces have one as great.

    Parameters
    ----------
    depth_um, near_um : rain of each day at the gauge and in the mean of its neighbours, shape (days,); NaN: not known. [µm]
    complete : whether the gauge's day is known.

    Returns
    -------
    None where no day with rain is known at both.
    """
    day = np.flatnonzero(complete & np.isfinite(near_um))
    gauge_um, sum_um = np.cumsum(depth_um[day]), np.cumsum(near_um[day])
    if not day.size or sum_um[-1] <= 0:
        return None
    pieces = min(int(sum_um[-1] // LEAST_PIECE_UM), MOST_PIECES)
    long_enough = day[-1] - day[0] >= 2 * LEAST_SIDE_DAYS
    tested = bool(long_enough and pieces >= LEAST_PIECES)
    return DoubleMass(
        day=day,
        gauge_um=gauge_um,
        near_um=sum_um,
        slope=float(gauge_um[-1] / sum_um[-1]),
        tested=tested,
        change=_break(day, gauge_um, sum_um, pieces) if tested else None,
    )


def _break(day: IntArray, gauge_um: FloatArray, near_um: FloatArray, pieces: int) -> Break | None:
    edges_um = np.linspace(0, near_um[-1], pieces + 1)
    rising = np.append(
        True, np.diff(near_um) > 0
    )  # a sum that stands still has no place of its own
    at_um = np.interp(
        edges_um, np.append(0, near_um[rising]), np.append(0, _last_of(gauge_um, near_um)[rising])
    )
    ratio = np.diff(at_um) / np.diff(edges_um)
    left = np.arange(LEAST_SIDE, pieces - LEAST_SIDE + 1)
    first = day[np.minimum(np.searchsorted(near_um, edges_um[left], "left"), day.size - 1)]
    long_enough = (first - day[0] >= LEAST_SIDE_DAYS) & (day[-1] - first >= LEAST_SIDE_DAYS)
    left, first = left[long_enough], first[long_enough]
    if not left.size or np.ptp(ratio) == 0:
        return None
    clear = _clearness(ratio[np.newaxis, :], left)[0]
    best = int(np.argmax(clear))
    dice = np.random.default_rng(0)  # the same record always gets the same answer
    shuffled = dice.permuted(np.tile(ratio, (SHUFFLES, 1)), axis=1)
    as_clear = np.count_nonzero(_clearness(shuffled, left).max(axis=1) >= clear[best] - 1e-12)
    chance = (1 + as_clear) / (1 + SHUFFLES)
    before, after = float(ratio[: left[best]].mean()), float(ratio[left[best] :].mean())
    if chance > SURE or abs(after - before) < LEAST_CHANGE * max(before, after):
        return None
    return Break(int(first[best]), before, after, float(chance))


def _last_of(gauge_um: FloatArray, near_um: FloatArray) -> FloatArray:
    """The gauge's sum at the last day on which the neighbours' sum is the same: what it caught while they were dry counts."""
    last = np.searchsorted(near_um, near_um, "right") - 1
    return np.asarray(gauge_um[last], dtype=np.float64)


def _clearness(ratio: FloatArray, left: IntArray) -> FloatArray:
    """Difference of the means left and right of each split, squared and weighted by both sizes; shape (rows, splits)."""
    pieces = ratio.shape[1]
    sums = np.cumsum(ratio, axis=1)
    left_mean = sums[:, left - 1] / left
    right_mean = (sums[:, -1:] - sums[:, left - 1]) / (pieces - left)
    return np.asarray((left_mean - right_mean) ** 2 * left * (pieces - left) / pieces)


def bends_beside(
    change: Break, *, depth_um: FloatArray, complete: BoolArray, others_um: FloatArray
) -> BoolArray:
    """Beside which single neighbours a break shows, too: the catch changes there the same way, at least half as much.

    A break beside most of them is the gauge's own; one beside a single one is that neighbour's.

    Parameters
    ----------
    depth_um, complete : of the gauge, as for `double_mass`.
    others_um : rain of each neighbour and day, shape (neighbours, days); NaN: not known. [µm]
    """
    least = 0.5 * np.log(max(change.after, 1e-9) / max(change.before, 1e-9))
    shows = np.zeros(others_um.shape[0], dtype=bool)
    for n, other_um in enumerate(others_um):
        both = complete & np.isfinite(other_um)
        slopes = []
        for part in (slice(None, change.day), slice(change.day, None)):
            near_um = other_um[part][both[part]].sum()
            slopes.append(depth_um[part][both[part]].sum() / near_um if near_um else np.nan)
        before, after = np.maximum(slopes, 1e-9)
        bent = np.log(after / before)
        shows[n] = bent * np.sign(least) >= abs(least)
    return shows
