"""What a curb cut or a curb core lets in.

Which flow decides:

- Where the slopes of the gutter are not known, water is taken to stand before the opening at the
  design depth for the whole storm, as at a low point: a weir, an orifice when drowned. The capacity
  is then constant, what the gutter brings beyond it passes by.
- Where they are known, water runs along the curb and past the opening. A cut takes the share that
  HEC-22 gives for its length, a core what its head in the gutter's own depth drives through it;
  neither takes more than it would at the design depth. A steeper street lets more pass by.

Clean openings and gutters that are not lowered at the inlet are meant; debris takes from these
figures, a lowered gutter adds to them.

References
----------
.. [1] S. A. Brown, J. D. Schall, J. L. Morris, C. L. Doherty, S. M. Stein, J. C. Warner, *Urban
   Drainage Design Manual*, Hydraulic Engineering Circular No. 22 (HEC-22), 3rd edition, FHWA-NHI-
   10-009, 2009: gutter flow, section 4.3, equation 4-2; curb opening on grade, section 4.4.4.2,
   equations 4-22 to 4-25; in a sag, section 4.4.5.2, equations 4-28 to 4-31.
.. [2] *Storm Water Management Model Reference Manual, Volume II - Hydraulics*, US EPA
   EPA/600/R-17/111, 2017: orifices, flow below full by (h/D)^1.5.
"""

import numpy as np

from stewardship.hydrology.errors import InputError
from stewardship.hydrology.units import GRAVITY_M_S2, FloatArray, IntArray, Numbers

GUTTER_HEAD_M = 0.075  # [m] design depth at the opening, half a 6-inch curb; common practice
#: [m^0.5/s] Weir without depressed gutter, HEC-22's value for SI; its 3.0 for US units would be 1.656 [1].
CURB_CUT_WEIR_SI = 1.60
CURB_CUT_ORIFICE = 0.67  # [-] orifice coefficient of a curb opening, HEC-22 [1]
CORE_ORIFICE = (
    0.60  # [-] sharp-edged round orifice, common practice; a ragged core lets through less
)
GUTTER_ROUGHNESS = (
    0.016  # [s/m^(1/3)] Manning's n of a broomed or rough gutter, as in HEC-22's examples
)
GUTTER_SI = 0.376  # [m^(1/3)/s] gutter flow, HEC-22 equation 4-2 [1]
FULL_LENGTH_SI = 0.817  # [s^0.42/m^0.26] opening that takes all, HEC-22 equation 4-22 [1]


def curb_cut_capacity_m3_s(
    length_m: Numbers,
    height_m: Numbers,
    head_m: Numbers = GUTTER_HEAD_M,
) -> FloatArray:
    """Flow through a curb cut without a depressed gutter, HEC-22 equations 4-30 and 4-31 [1]_.

    Parameters
    ----------
    length_m : array_like
        Clear length along the curb. [m]
    height_m : array_like
        Height of the opening; infinite where the curb is cut through to its top. [m]
    head_m : array_like, default 0.075
        Depth of water above the bottom of the opening. [m]

    Returns
    -------
    ndarray of float64
        Flow. [m³/s]

    Raises
    ------
    InputError
        If a length, height or head is negative or missing.

    Notes
    -----
    A weir up to the height of the opening, above it the lesser of weir and orifice. HEC-22 asks
    for the lesser only up to 1.4 heights and for the orifice beyond; taking it throughout differs
    by less than 3 % just above that and avoids a jump.
    """
    length, height, head = _lengths(length_m, height_m, head_m)
    weir_m3_s = CURB_CUT_WEIR_SI * length * head**1.5
    under_water = np.isfinite(height) & (head > height)
    finite_height = np.where(np.isfinite(height), height, 0.0)
    above_middle = np.maximum(head - finite_height / 2, 0.0)
    orifice_m3_s = (
        CURB_CUT_ORIFICE * finite_height * length * np.sqrt(2 * GRAVITY_M_S2 * above_middle)
    )
    return np.where(under_water, np.minimum(weir_m3_s, orifice_m3_s), weir_m3_s)


def curb_core_capacity_m3_s(
    diameter_m: Numbers,
    head_m: Numbers = GUTTER_HEAD_M,
) -> FloatArray:
    """Flow through a round core drilled through the curb [2]_.

    Parameters
    ----------
    diameter_m : array_like
        Inner diameter. [m]
    head_m : array_like, default 0.075
        Depth of water above the bottom of the core. [m]

    Returns
    -------
    ndarray of float64
        Flow: an orifice under the head to its centre where it is drowned, and below that the flow
        just drowned times (head/diameter)^1.5. [m³/s]

    Raises
    ------
    InputError
        If a diameter or head is negative or missing.
    """
    diameter, head = _lengths(diameter_m, head_m)
    area_m2 = np.pi * diameter**2 / 4
    drowned_m3_s = (
        CORE_ORIFICE
        * area_m2
        * np.sqrt(2 * GRAVITY_M_S2 * np.maximum(head - diameter / 2, diameter / 2))
    )
    filled = np.divide(head, diameter, out=np.zeros(area_m2.shape), where=diameter > 0)
    return drowned_m3_s * np.minimum(filled, 1.0) ** 1.5


def gutter_spread_m(flow_m3_s: Numbers, gutter_slope: Numbers, cross_slope: Numbers) -> FloatArray:
    """Width of the water in a gutter of one cross slope, HEC-22 equation 4-2 [1]_.

    Parameters
    ----------
    flow_m3_s : array_like
        Flow along the curb. [m³/s]
    gutter_slope, cross_slope : array_like
        Fall along the curb, and of the street toward it; above 0. [m/m]

    Returns
    -------
    ndarray of float64
        Spread; times the cross slope it is the depth at the curb. [m]

    Raises
    ------
    InputError
        If a flow is negative or a slope not above zero.
    """
    flow, along, across = _flow_and_slopes(flow_m3_s, gutter_slope, cross_slope)
    per_spread = GUTTER_SI / GUTTER_ROUGHNESS * across ** (5 / 3) * np.sqrt(along)
    return np.asarray((flow / per_spread) ** (3 / 8), dtype=np.float64)


def on_grade_share(
    flow_m3_s: Numbers, length_m: Numbers, gutter_slope: Numbers, cross_slope: Numbers
) -> FloatArray:
    """Share of the gutter's flow that a curb cut on a slope takes, HEC-22 equations 4-22, 4-24 [1]_.

    Parameters
    ----------
    flow_m3_s : array_like
        Flow along the curb toward the opening. [m³/s]
    length_m : array_like
        Clear length along the curb. [m]
    gutter_slope : array_like
        Fall along the curb, above 0. [m/m]
    cross_slope : array_like
        Fall of the street toward the curb, above 0; HEC-22's equivalent cross slope where the
        gutter is lowered. [m/m]

    Returns
    -------
    ndarray of float64
        Share from 0 to 1; 1 where the opening is as long as it takes to catch all.

    Raises
    ------
    InputError
        If a flow or length is negative or a slope not above zero.
    """
    flow, along, across = _flow_and_slopes(flow_m3_s, gutter_slope, cross_slope)
    (length,) = _lengths(length_m)
    full_m = FULL_LENGTH_SI * flow**0.42 * along**0.3 / (GUTTER_ROUGHNESS * across) ** 0.6
    caught = np.ones(np.broadcast_shapes(full_m.shape, length.shape))
    np.divide(length, full_m, out=caught, where=full_m > length)
    return np.asarray(1 - (1 - caught) ** 1.8, dtype=np.float64)


class GradedInlets:
    """Inlets along gutters of known slopes, basin by basin; those of one basin one after another.

    Parameters
    ----------
    length_m, height_m : array_like, shape (basins, inlets)
        Clear length and height of a curb cut; length 0 for a core and where there is no inlet. [m]
    diameter_m : array_like, shape (basins, inlets)
        Inner diameter of a curb core; 0 for a cut and where there is no inlet. [m]
    gutter_slope, cross_slope : array_like, shape (basins, inlets)
        Fall along the curb and of the street toward it; NaN where there is no inlet. [m/m]

    Raises
    ------
    InputError
        If shapes differ, a size is negative, or an inlet's slope is not above zero.
    """

    def __init__(
        self,
        *,
        length_m: Numbers,
        height_m: Numbers,
        diameter_m: Numbers,
        gutter_slope: Numbers,
        cross_slope: Numbers,
    ) -> None:
        tables = [
            np.asarray(value, dtype=np.float64)
            for value in (length_m, height_m, diameter_m, gutter_slope, cross_slope)
        ]
        if tables[0].ndim != 2 or len({table.shape for table in tables}) > 1:
            raise InputError("Inlets with slopes must be tables of basins by inlets.")
        self.length_m, self.height_m, self.diameter_m, self.gutter_slope, self.cross_slope = tables
        _lengths(self.length_m, self.height_m, self.diameter_m)
        there = (self.length_m > 0) | (self.diameter_m > 0)
        _flow_and_slopes(0.0, self.gutter_slope[there], self.cross_slope[there])

    def __len__(self) -> int:
        return len(self.length_m)

    def __getitem__(self, places: IntArray) -> "GradedInlets":
        taken = object.__new__(GradedInlets)
        for name, table in vars(self).items():
            setattr(taken, name, table[places])
        return taken

    def admitted_m3_s(self, flow_m3_s: FloatArray) -> FloatArray:
        """What they let in together of what the gutters bring.

        Parameters
        ----------
        flow_m3_s : ndarray of float64, shape (steps, basins)
            Flow along each basin's curb. [m³/s]

        Returns
        -------
        ndarray of float64, shape (steps, basins)
            Flow let in; from 0 to what came. [m³/s]
        """
        left_m3_s = flow_m3_s.copy()
        for inlet in range(self.length_m.shape[1]):
            for sizes, through in (
                (self.length_m[:, inlet], self._through_cuts),
                (self.diameter_m[:, inlet], self._through_cores),
            ):
                at = np.flatnonzero(sizes)
                if at.size:
                    left_m3_s[:, at] -= through(left_m3_s[:, at], at, inlet)
        return flow_m3_s - left_m3_s

    def _through_cuts(self, flow_m3_s: FloatArray, at: IntArray, inlet: int) -> FloatArray:
        length_m = self.length_m[at, inlet]
        share = on_grade_share(
            flow_m3_s, length_m, self.gutter_slope[at, inlet], self.cross_slope[at, inlet]
        )
        most_m3_s = curb_cut_capacity_m3_s(length_m, self.height_m[at, inlet])
        return np.minimum(flow_m3_s * share, most_m3_s)

    def _through_cores(self, flow_m3_s: FloatArray, at: IntArray, inlet: int) -> FloatArray:
        across = self.cross_slope[at, inlet]
        depth_m = across * gutter_spread_m(flow_m3_s, self.gutter_slope[at, inlet], across)
        most_m3_s = curb_core_capacity_m3_s(
            self.diameter_m[at, inlet], np.minimum(depth_m, GUTTER_HEAD_M)
        )
        return np.minimum(flow_m3_s, most_m3_s)


def _flow_and_slopes(
    flow_m3_s: Numbers, gutter_slope: Numbers, cross_slope: Numbers
) -> tuple[FloatArray, FloatArray, FloatArray]:
    flow, along, across = (
        np.asarray(value, dtype=np.float64) for value in (flow_m3_s, gutter_slope, cross_slope)
    )
    if not np.all(np.isfinite(flow) & (flow >= 0)):
        raise InputError("The flow in a gutter is below zero or missing.")
    if not all(np.all(np.isfinite(slope) & (slope > 0)) for slope in (along, across)):
        raise InputError("A slope of a gutter must be above zero.")
    return flow, along, across


def _lengths(*values: Numbers) -> list[FloatArray]:
    lengths = np.broadcast_arrays(*(np.asarray(value, dtype=np.float64) for value in values))
    if any(np.any(np.isnan(length) | (length < 0)) for length in lengths):
        raise InputError("A length, height or depth of an inlet is below zero or missing.")
    return list(lengths)
