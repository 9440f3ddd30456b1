"""What a curb cut or a curb core lets in.

Both take the depth of water in the gutter above the bottom of the opening. Streets are not
measured while it rains, so the water balance uses the depth of a gutter running at its design
depth for the whole storm: the capacity is then constant, what the gutter brings beyond it passes
by. Clean openings are meant; debris takes from these figures.

References
----------
.. [1] S. A. Brown, J. D. Schall, J. L. Morris, C. L. Doherty, S. M. Stein, J. C. Warner, *Urban
   Drainage Design Manual*, Hydraulic Engineering Circular No. 22 (HEC-22), 3rd edition, FHWA-NHI-
   10-009, 2009, section 4.4.5.2: curb opening in a sag, equations 4-28 to 4-31.
.. [2] *Storm Water Management Model Reference Manual, Volume II - Hydraulics*, US EPA
   EPA/600/R-17/111, 2017: orifices, flow below full by (h/D)^1.5.
"""

import numpy as np

from stewardship.hydrology.errors import InputError
from stewardship.hydrology.units import GRAVITY_M_S2, FloatArray, Numbers

GUTTER_HEAD_M = 0.075  # [m] design depth at the opening, half a 6-inch curb; common practice
CURB_CUT_WEIR_SI = 1.60  # [m^0.5/s] weir coefficient without depressed gutter, HEC-22 [1]
CURB_CUT_ORIFICE = 0.67  # [-] orifice coefficient of a curb opening, HEC-22 [1]
CORE_ORIFICE = 0.60  # [-] sharp-edged round orifice, common practice


def curb_cut_capacity_m3_s(
    length_m: Numbers,
    height_m: Numbers,
    head_m: Numbers = GUTTER_HEAD_M,
    *,
    weir_coefficient: float = CURB_CUT_WEIR_SI,
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
    weir_coefficient : float, default 1.60
        HEC-22's value for SI; its value for US units, 3.0, is 1.656 in SI. [m^0.5/s]

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
    weir_m3_s = weir_coefficient * length * head**1.5
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
    *,
    orifice_coefficient: float = CORE_ORIFICE,
) -> FloatArray:
    """Flow through a round core drilled through the curb [2]_.

    Parameters
    ----------
    diameter_m : array_like
        Inner diameter. [m]
    head_m : array_like, default 0.075
        Depth of water above the bottom of the core. [m]
    orifice_coefficient : float, default 0.60
        For a sharp edge; a ragged core lets through less.

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
        orifice_coefficient
        * area_m2
        * np.sqrt(2 * GRAVITY_M_S2 * np.maximum(head - diameter / 2, diameter / 2))
    )
    filled = np.divide(head, diameter, out=np.zeros(area_m2.shape), where=diameter > 0)
    return drowned_m3_s * np.minimum(filled, 1.0) ** 1.5


def _lengths(*values: Numbers) -> list[FloatArray]:
    lengths = np.broadcast_arrays(*(np.asarray(value, dtype=np.float64) for value in values))
    if any(np.any(np.isnan(length) | (length < 0)) for length in lengths):
        raise InputError("A length, height or depth of an inlet is below zero or missing.")
    return list(lengths)
