"""Water standing in basins, and the books on it: the engine of `stewardship.hydrology.balance`.

Broad-crested weir at the lip: see the references there.
"""

from math import ceil

import numpy as np

from stewardship.hydrology.basins import BasinArrays
from stewardship.hydrology.units import (
    M_PER_FOOT,
    BoolArray,
    FloatArray,
    IntArray,
    m_per_s_from_mm_per_h,
)

LIP_COEFFICIENT_SI = 3.0 * M_PER_FOOT**0.5  # [m^0.5/s] 3.0 in US units
CALM_PARTS = 5  # a basin that cannot reach its lip goes through so many computing steps in one
FILM_M = 1e-5  # [m] head over the lip up to which water clings and soaks away
NEWTON_STEPS = 2  # from a start less than 1 % off these come within 1e-9


class Stand:
    """Water in basins at one moment; all arrays have shape (basins,).

    Parameters
    ----------
    basins : BasinArrays
        The basins.
    initial_m3 : ndarray of float64
        Water that stands in them at the start. [m³]

    Attributes
    ----------
    volume_m3, depth_m, greatest_depth_m : ndarray of float64
        Water there now, its depth above the bottom, and the greatest depth so far. [m³, m]
    soaked_m3, spilled_m3 : ndarray of float64
        What went into the ground, and over the lip, so far. [m³]
    emptied_s : ndarray of float64
        When the basin was last emptied; 0 if it never was. [s]
    """

    _BOOKS = ("volume_m3", "depth_m", "greatest_depth_m", "soaked_m3", "spilled_m3", "emptied_s")

    def __init__(self, basins: BasinArrays, initial_m3: FloatArray) -> None:
        self.basins = basins
        self.volume_m3 = initial_m3.copy()
        self.depth_m = basins.depth_m(initial_m3)
        self.greatest_depth_m = self.depth_m.copy()
        self.soaked_m3, self.spilled_m3, self.emptied_s = np.zeros((3, len(basins)))
        self._derive()

    def _derive(self) -> None:
        basins = self.basins
        self.soaking_m_s = m_per_s_from_mm_per_h(basins.infiltration_mm_h)
        #: [m/s] how fast the lip would lower the water above it under a head of 1 m
        self._lowering_m_s = LIP_COEFFICIENT_SI * basins.lip_length_m / basins.lip_m2

    def take(self, places: IntArray) -> "Stand":
        """The basins at some places, with their books; changes there come back by `put`."""
        part = object.__new__(Stand)
        part.basins = self.basins.take(places)
        for name in self._BOOKS:
            setattr(part, name, getattr(self, name)[places])
        part._derive()
        return part

    def put(self, places: IntArray, part: "Stand") -> None:
        """Bring back what became of the basins at some places."""
        for name in self._BOOKS:
            getattr(self, name)[places] = getattr(part, name)

    def runs_over(self) -> BoolArray:
        """Where water stands so far above the lip that it runs over."""
        return np.asarray(self.depth_m > self.basins.lip_depth_m + FILM_M, dtype=np.bool_)

    def fill(
        self, entering_m3: FloatArray, begin_s: float, lasting_s: float, sub_step_s: float
    ) -> None:
        """Go through a time in which water enters evenly.

        A basin that cannot reach its lip meanwhile takes long computing steps, because only the
        change of its wetted area matters; the others take short ones, which the weir asks for.
        Each basin's steps depend on itself alone.
        """
        parts = ceil(lasting_s / (CALM_PARTS * sub_step_s))
        entering_m3, part_s = entering_m3 / parts, lasting_s / parts
        for part in range(parts):
            self._fill_part(entering_m3, begin_s + part * part_s, part_s, sub_step_s)

    def _fill_part(
        self, entering_m3: FloatArray, begin_s: float, lasting_s: float, sub_step_s: float
    ) -> None:
        parts = ceil(lasting_s / sub_step_s)
        reaching = self.volume_m3 + entering_m3 > self.basins.lip_volume_m3
        if parts == 1 or not reaching.any():
            self.advance(entering_m3, begin_s, lasting_s)
            return
        if reaching.all():
            self._in_parts(entering_m3, begin_s, lasting_s, parts)
            return
        near, calm = np.flatnonzero(reaching), np.flatnonzero(~reaching)
        for places, number in ((near, parts), (calm, 1)):
            stand = self.take(places)
            stand._in_parts(entering_m3[places], begin_s, lasting_s, number)
            self.put(places, stand)

    def _in_parts(
        self, entering_m3: FloatArray, begin_s: float, lasting_s: float, parts: int
    ) -> None:
        entering_m3, part_s = entering_m3 / parts, lasting_s / parts
        for part in range(parts):
            self.advance(entering_m3, begin_s + part * part_s, part_s)

    def advance(
        self, entering_m3: FloatArray, begin_s: float, lasting_s: float | FloatArray
    ) -> None:
        """One computing step: enter, soak away, spill."""
        basins = self.basins
        filled_m3 = self.volume_m3 + entering_m3
        filled_m = basins.depth_m(filled_m3)
        self.depth_m = np.maximum(filled_m - self.soaking_m_s * lasting_s, 0.0)
        self.volume_m3 = np.minimum(basins.volume_m3(self.depth_m), filled_m3)
        self.soaked_m3 += filled_m3 - self.volume_m3

        emptied = np.flatnonzero((self.depth_m == 0) & (filled_m > 0))
        if emptied.size:
            self.emptied_s[emptied] = begin_s + filled_m[emptied] / self.soaking_m_s[emptied]
        over = np.flatnonzero(self.runs_over())
        if over.size:
            self._spill(over, lasting_s)
        np.maximum(self.greatest_depth_m, self.depth_m, out=self.greatest_depth_m)

    def _spill(self, over: IntArray, lasting_s: float | FloatArray) -> None:
        """Let the basins that stand above their lip spill for one step.

        What is above the lip either stays or leaves: A H + C L t H^1.5 = above. With
        H^0.5 = s A / (C L t) that is s² + s³ = above (C L t)² / A³.
        """
        area_m2, lip_m3 = self.basins.lip_m2[over], self.basins.lip_volume_m3[over]
        held_m3 = self.volume_m3[over]
        lowering = (self._lowering_m_s * lasting_s)[over]
        above_m = (held_m3 - lip_m3) / area_m2
        right = above_m * lowering**2
        s = _start(right)
        for _ in range(NEWTON_STEPS):
            s = (s * s * (1 + 2 * s) + right) / (s * (2 + 3 * s))
        head_m = np.minimum((s / lowering) ** 2, above_m)
        stays_m3 = np.minimum(lip_m3 + area_m2 * head_m, held_m3)
        self.volume_m3[over] = stays_m3
        self.spilled_m3[over] += held_m3 - stays_m3
        self.depth_m[over] = self.basins.lip_depth_m[over] + head_m

    def drain(self, begin_s: float, until_s: FloatArray, sub_step_s: float) -> None:
        """Go on without inflow: step while water runs over a lip, then soak away in one go.

        Each basin is followed until its own time; one that is not empty then gets NaN for when it
        was emptied.
        """
        left_s = np.maximum(until_s - begin_s, 0.0)
        gone_s = np.zeros(len(self.basins))
        running = np.flatnonzero(self.runs_over() & (left_s > 0))
        part = self.take(running)
        while running.size:
            lasting_s = np.minimum(sub_step_s, left_s[running] - gone_s[running])
            # All that still run have run equally long.
            part.advance(np.zeros(running.size), begin_s + gone_s[running[0]], lasting_s)
            gone_s[running] += lasting_s
            on = part.runs_over() & (gone_s[running] < left_s[running])
            if not on.all():
                self.put(running, part)
                running = running[on]
                part = self.take(running)
        self._soak(begin_s + gone_s, left_s - gone_s)

    def _soak(self, begin_s: FloatArray, left_s: FloatArray) -> None:
        """Empty the basins at the infiltration rate; this is exact at any length."""
        before_m3 = self.volume_m3
        needed_s = np.full(len(self.basins), np.inf)
        np.divide(self.depth_m, self.soaking_m_s, out=needed_s, where=self.soaking_m_s > 0)
        needed_s[self.depth_m == 0] = 0.0
        emptied = needed_s <= left_s
        left_m = np.where(emptied, 0.0, self.depth_m - self.soaking_m_s * left_s)
        self.volume_m3 = np.minimum(self.basins.volume_m3(np.maximum(left_m, 0.0)), before_m3)
        self.soaked_m3 += before_m3 - self.volume_m3
        now = emptied & (before_m3 > 0)
        self.emptied_s[now] = (begin_s + needed_s)[now]
        self.emptied_s[~emptied] = np.nan


def _start(right: FloatArray) -> FloatArray:
    """Nearly the root s of s² + s³ = right: exact for right toward 0 and infinity, 0.6 % off between."""
    root = np.cbrt(right)
    return np.asarray(root * np.sqrt(root / (root + 2 / 3 + 1 / (3 + 9 * root))), dtype=np.float64)
