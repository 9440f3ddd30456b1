"""Constants and small conversions of units.

References
----------
.. [1] A. Thompson and B. N. Taylor, *Guide for the Use of the International System of Units (SI)*,
   NIST Special Publication 811, 2008 edition, appendix B (inch, foot and US gallon are exact).
.. [2] *The International System of Units (SI)*, 9th edition, BIPM 2019; standard acceleration of
   free fall fixed by the 3rd CGPM, 1901.
"""

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]
BoolArray = npt.NDArray[np.bool_]
Numbers = npt.ArrayLike

MM_PER_INCH = 25.4  # [mm/in], exact [1]
UM_PER_MM = 1_000  # [µm/mm], exact
MM_PER_M = 1_000.0  # [mm/m], exact
M_PER_FOOT = 0.3048  # [m/ft], exact [1]
M3_PER_CUBIC_FOOT = M_PER_FOOT**3  # [m³/ft³], exact [1]
L_PER_US_GALLON = 3.785411784  # [L/gal], exact: 231 cubic inches [1]
SECONDS_PER_HOUR = 3_600  # [s/h]
GRAVITY_M_S2 = 9.80665  # [m/s²], standard value [2]


def m_per_s_from_mm_per_h(rate_mm_h: Numbers) -> FloatArray:
    """Turn a rate in millimetres an hour into metres a second.

    Parameters
    ----------
    rate_mm_h : array_like
        Rate of rain or infiltration. [mm/h]

    Returns
    -------
    ndarray of float64
        The same rate. [m/s]
    """
    return np.asarray(rate_mm_h, dtype=np.float64) / (MM_PER_M * SECONDS_PER_HOUR)
