"""How unusual a rain is: a storm's greatest depths beside the published frequencies of a place.

A storm has no single return period: each duration is compared by itself, and the most unusual one is quoted together with its
duration.

References
----------
.. [1] NOAA Atlas 14, *Precipitation-Frequency Atlas of the United States*, volumes 1-12: partial-duration and annual-maximum
   series, their average recurrence interval (ARI) and annual exceedance probability (AEP), AEP = 1 - exp(-1/ARI).
.. [2] D. M. Hershfield, *Rainfall Frequency Atlas of the United States*, Weather Bureau Technical Paper 40, 1961: 1.13 turns
   the greatest depth in fixed clock intervals into that in any interval of the same length. L. L. Weiss, "Ratio of true to
   fixed-interval maximum rainfall", Journal of the Hydraulics Division 90(1), ASCE, 1964, pp. 77-82, derives 1.143.
"""

import math
from bisect import bisect_right
from collections.abc import Mapping
from dataclasses import dataclass
from typing import NamedTuple

FIXED_TO_SLIDING = 1.13  # [1] greatest depth in any interval over that in one fixed interval [2]


@dataclass(frozen=True, slots=True)
class Frequencies:
    """Depths by duration and rarity.

    Attributes
    ----------
    durations_s : tuple of int, length d
        Rising. [s]
    years : tuple of float, length y
        Rising. Of a partial-duration series the ARI; of annual maxima n of "a chance of 1 in n in any year".
    depths_um : tuple of d tuples of length y
        Rising along the years; a row of None where nothing usable is published. [µm]
    annual : bool
        Whether the years are those of annual maxima.
    """

    durations_s: tuple[int, ...]
    years: tuple[float, ...]
    depths_um: tuple[tuple[int | None, ...], ...]
    annual: bool

    def row_um(self, duration_s: int) -> tuple[int, ...] | None:
        """Depths of a duration, or None where there are none. [µm]"""
        if duration_s not in self.durations_s:
            return None
        known = tuple(
            um for um in self.depths_um[self.durations_s.index(duration_s)] if um is not None
        )
        return known if len(known) == len(self.years) else None

    def duration_from(self, length_s: int) -> int | None:
        """The shortest duration with depths that is not shorter than a length of time. [s]"""
        return next((d for d in self.durations_s if d >= length_s and self.row_um(d)), None)

    @property
    def aris(self) -> tuple[float, ...]:
        """The years as average recurrence intervals, whichever the series. [years]"""
        if not self.annual:
            return self.years
        return tuple(-1 / math.log1p(-1 / years) for years in self.years)

    @property
    def chances(self) -> tuple[float, ...]:
        """Probability of such a rain or a greater one in any year."""
        return tuple(exceedance(ari) for ari in self.aris)


class Greatest(NamedTuple):
    """The greatest depth of a storm in some duration. [µm]

    `likely_um` is given where readings as long as the duration itself bound it: the depth was at least `um`, and in the
    interval that held most of it probably `likely_um`.
    """

    um: float
    likely_um: float | None = None


@dataclass(frozen=True, slots=True)
class Bracket:
    """Between which published depths a storm's greatest depth in one duration lies.

    Attributes
    ----------
    duration_s : int
        [s]
    depth_um : float
        [µm]
    over_years, under_years : float or None
        The years of the greatest published depth that is reached, and of the least one that is not; None where there is none.
    ari_years : float or None
        Interpolated, depth against the logarithm of the ARI; None below the first and from the last published depth on.
    at_least : bool
        The depth may have been greater than what was measured.
    near : bool
        Below the first published depth as measured, and probably not in truth.
    beyond : float
        Depth over the first published depth if that is not reached, else over the last. [1]
    """

    duration_s: int
    depth_um: float
    over_years: float | None
    under_years: float | None
    ari_years: float | None
    at_least: bool
    near: bool
    beyond: float

    @property
    def rank(self) -> tuple[int, float]:
        """Greater is more unusual."""
        if self.over_years is None:
            return int(self.near), self.beyond
        if self.ari_years is None:
            return 3, self.beyond
        return 2, self.ari_years


def exceedance(ari_years: float) -> float:
    """Probability that a year has a rain of this average recurrence interval or a rarer one: 1 - exp(-1/ARI) [1]_."""
    return -math.expm1(-1 / ari_years)


def bracket(table: Frequencies, duration_s: int, greatest: Greatest) -> Bracket | None:
    """Find between which published depths a greatest depth lies.

    Parameters
    ----------
    table : Frequencies
    duration_s : int
        [s]
    greatest : Greatest
        [µm]

    Returns
    -------
    Bracket or None
        None where the table has nothing usable of this duration, or no rain fell.
    """
    row_um = table.row_um(duration_s)
    if row_um is None or not greatest.um > 0:
        return None
    reached = bisect_right(row_um, greatest.um)  # a depth that is just met counts as reached
    over = table.years[reached - 1] if reached else None
    under = table.years[reached] if reached < len(row_um) else None
    ari = None
    if over is not None and under is not None:
        low_um, high_um = row_um[reached - 1], row_um[reached]
        low, high = (math.log(table.aris[n]) for n in (reached - 1, reached))
        ari = math.exp(low + (high - low) * (greatest.um - low_um) / (high_um - low_um))
    likely_um = greatest.likely_um
    return Bracket(
        duration_s=duration_s,
        depth_um=greatest.um,
        over_years=over,
        under_years=under,
        ari_years=ari,
        at_least=likely_um is not None,
        near=over is None and likely_um is not None and likely_um >= row_um[0],
        beyond=greatest.um / row_um[0 if over is None else -1],
    )


def compare(table: Frequencies, greatest: Mapping[int, Greatest]) -> tuple[Bracket, ...]:
    """Compare a storm's greatest depths, by duration in seconds; those that can be compared, by rising duration."""
    found = (bracket(table, duration_s, greatest[duration_s]) for duration_s in sorted(greatest))
    return tuple(one for one in found if one is not None)


def quoted(brackets: tuple[Bracket, ...]) -> Bracket:
    """The most unusual of some brackets, the shortest duration if several are."""
    return max(brackets, key=lambda one: one.rank)
