"""Wet readings that look wrong by themselves: more than falls, one amount again and again, amounts a gauge cannot show."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from stewardship.hydrology.units import BoolArray, FloatArray, IntArray
from stewardship.rain.times import HOUR_S

#: A quarter of the world's greatest rain of that length is beyond what most places see in a thousand years (105 mm in an hour,
#: 477 mm in a day). Common practice, no source.
UNLIKELY_SHARE = 0.25
#: A streak is named when so few of its kind would come about by themselves. Common practice, no source.
RARE = 0.001
#: Shorter streaks are not looked at. The checks of GHCN-Daily ask for 20 equal days, dry ones not counted (Durre et al., J. Appl.
#: Meteor. Climatol. 49, 2010; from memory); here it takes as many as the gauge's own record makes rare.
LEAST_STREAK = 5
#: So many amounts that a gauge cannot show are more than a slip of the pen. Common practice, no source.
LEAST_ODD = 5


@dataclass(frozen=True)
class WetReadings:
    """Readings with rain in them, one gauge's, in order of time; arrays of one length."""

    start_s: IntArray
    end_s: IntArray
    depth_um: IntArray


@dataclass(frozen=True)
class Rate:
    start_s: int
    end_s: int
    depth_um: int  # the worst of it
    length_s: int  # within so much time
    share: float  # of the world's greatest


def unlikely_rates(wet: WetReadings, greatest_um: Callable[[IntArray], FloatArray]) -> list[Rate]:
    """Times in which more fell than falls, by single readings and by the hour before each one's end.

    Parameters
    ----------
    greatest_um : the world's greatest rain of a length in seconds. [µm]
    """
    if not wet.depth_um.size:
        return []
    moments_s = np.stack([wet.start_s, wet.end_s], axis=1).ravel()
    fallen_um = np.stack([np.cumsum(wet.depth_um) - wet.depth_um, np.cumsum(wet.depth_um)], axis=1)
    length_s = wet.end_s - wet.start_s
    within_s = np.maximum(length_s, HOUR_S)
    hour_um = np.cumsum(wet.depth_um) - np.interp(
        wet.end_s - within_s, moments_s, fallen_um.ravel()
    )
    by_reading = wet.depth_um / greatest_um(length_s)
    by_hour = hour_um / greatest_um(within_s)
    share = np.maximum(by_reading, by_hour)
    found: list[Rate] = []
    for n in np.flatnonzero(share >= UNLIKELY_SHARE).tolist():
        single = by_reading[n] >= by_hour[n]
        lasted_s = int(length_s[n] if single else within_s[n])
        one = Rate(
            start_s=int(wet.end_s[n]) - lasted_s,
            end_s=int(wet.end_s[n]),
            depth_um=int(wet.depth_um[n]) if single else round(float(hour_um[n])),
            length_s=lasted_s,
            share=float(share[n]),
        )
        last = found[-1] if found else None
        if last is None or one.start_s > last.end_s:
            found.append(one)
            continue
        worst = max(last, one, key=lambda rate: rate.share)
        found[-1] = Rate(
            min(last.start_s, one.start_s), one.end_s, worst.depth_um, worst.length_s, worst.share
        )
    return found


@dataclass(frozen=True)
class Streak:
    start_s: int
    end_s: int
    depth_um: int  # the amount
    times: int


def streaks(wet: WetReadings, *, resolution_um: int, daily: bool) -> list[Streak]:
    """The same amount again and again.

    How often this amount follows itself is counted over the rest of the record (k of n: (k + 1) / (n + 2)); a streak is named when
    fewer than RARE of its length were to be expected. One or no step of the gauge's resolution says nothing: single tips follow
    each other in every drizzle. Readings of an automatic gauge follow each other without a gap; a daily reader's dry days between
    do not count.

    Parameters
    ----------
    resolution_um : least amount the gauge can show. [µm]
    """
    if wet.depth_um.size < LEAST_STREAK:
        return []
    follows = np.ones(wet.depth_um.size - 1, dtype=bool)
    if not daily:
        follows = wet.start_s[1:] == wet.end_s[:-1]
    same = follows & (wet.depth_um[1:] == wet.depth_um[:-1])
    firsts = np.flatnonzero(np.append(True, ~same))
    times = np.diff(np.append(firsts, wet.depth_um.size))
    found = []
    for n in np.flatnonzero(times >= LEAST_STREAK).tolist():
        first, last = int(firsts[n]), int(firsts[n] + times[n] - 1)
        depth_um = int(wet.depth_um[first])
        if depth_um < 2 * resolution_um:
            continue
        from_it: BoolArray = follows & (wet.depth_um[:-1] == depth_um)
        from_it[first : last + 1] = False
        tried, again = int(np.count_nonzero(from_it)), int(np.count_nonzero(same[from_it]))
        expected = (tried + 1) * ((again + 1) / (tried + 2)) ** (last - first)
        if expected <= RARE:
            found.append(
                Streak(int(wet.start_s[first]), int(wet.end_s[last]), depth_um, last - first + 1)
            )
    return found


@dataclass(frozen=True)
class OddAmounts:
    start_s: int
    end_s: int
    odd: int  # readings that the gauge cannot have shown
    of: int  # wet readings in the same time


def odd_amounts(wet: WetReadings, *, resolution_um: int) -> OddAmounts | None:
    """Amounts that are no multiple of what the gauge can show: a mixed-up unit, or a resolution that is written down wrong.

    The resolution is a whole number of µm, so an amount may be half a micrometre per step, and one more, beside a multiple.
    """
    steps = np.rint(wet.depth_um / resolution_um)
    odd = np.flatnonzero(np.abs(wet.depth_um - steps * resolution_um) > 1 + steps / 2)
    if odd.size < LEAST_ODD:
        return None
    first, last = int(odd[0]), int(odd[-1])
    return OddAmounts(
        int(wet.start_s[first]), int(wet.end_s[last]), int(odd.size), last - first + 1
    )
