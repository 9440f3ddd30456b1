"""Runoff from a catchment: curve numbers, or a fixed share of the rain.

Street and soil are computed apart and their volumes added. One curve number weighted over both
nearly loses the runoff of small rains: of 0.5 in on half street (98), half soil (68), the street
alone sheds 0.16 in over the whole, the weighted number 0.004 in.

References
----------
.. [1] *Urban Hydrology for Small Watersheds*, TR-55, USDA Soil Conservation Service, 2nd edition,
   June 1986: equations 2-1 to 2-4, tables 2-1, 2-2 and 4-1.
"""

import numpy as np

from stewardship.hydrology.errors import InputError
from stewardship.hydrology.units import MM_PER_INCH, MM_PER_M, FloatArray, Numbers

PAVED_CURVE_NUMBER = 98.0  # streets, roofs, driveways; TR-55 table 2-2a [1]
INITIAL_ABSTRACTION_RATIO = 0.2  # equation 2-2 [1]


def potential_retention_mm(curve_number: Numbers) -> FloatArray:
    """Potential maximum retention S of a curve number, TR-55 equation 2-4 [1]_.

    Parameters
    ----------
    curve_number : array_like
        Above 0, at most 100.

    Returns
    -------
    ndarray of float64
        Retention; 0 for 100. [mm]

    Raises
    ------
    InputError
        If a curve number is outside its range.
    """
    numbers = np.asarray(curve_number, dtype=np.float64)
    if not np.all((numbers > 0) & (numbers <= 100)):
        raise InputError("A curve number must be above 0 and at most 100.")
    return (1_000 / numbers - 10) * MM_PER_INCH


def runoff_mm(
    cumulative_rain_mm: Numbers,
    curve_number: Numbers,
) -> FloatArray:
    """Runoff depth of the rain fallen since the storm began, TR-55 equations 2-1 and 2-2 [1]_.

    Parameters
    ----------
    cumulative_rain_mm : array_like
        Rain from the start of the storm. [mm]
    curve_number : array_like
        Curve number for an initial abstraction of 0.2 S.

    Returns
    -------
    ndarray of float64
        Runoff since the start of the storm; 0 until the rain exceeds the initial abstraction. [mm]

    Raises
    ------
    InputError
        If rain is negative or no number, or a curve number is outside its range.

    Notes
    -----
    A curve number belongs to the rain of a whole storm. Runoff in a time step is the difference of
    this function between the step's ends, never the function of the step's own rain. TR-55 warns
    that the method is less sure where runoff is under half an inch.
    """
    rain_mm = np.asarray(cumulative_rain_mm, dtype=np.float64)
    if not np.all(np.isfinite(rain_mm) & (rain_mm >= 0)):
        raise InputError("Rain is below zero or missing.")
    retention_mm = potential_retention_mm(curve_number)
    held_back_mm = INITIAL_ABSTRACTION_RATIO * retention_mm
    effective_mm = np.maximum(rain_mm - held_back_mm, 0.0)
    divisor_mm = effective_mm + retention_mm
    depth_mm = np.zeros(divisor_mm.shape)
    np.divide(effective_mm**2, divisor_mm, out=depth_mm, where=divisor_mm > 0)
    return depth_mm


def catchment_runoff_m3(
    cumulative_rain_mm: Numbers,
    *,
    impervious_m2: Numbers,
    pervious_m2: Numbers,
    pervious_curve_number: Numbers,
    runoff_coefficient: Numbers = np.nan,
) -> FloatArray:
    """Runoff volume of a catchment since the storm began.

    Parameters
    ----------
    cumulative_rain_mm : array_like
        Rain from the start of the storm. [mm]
    impervious_m2, pervious_m2 : array_like
        Paved area, and soil or planting, that drain to the inlet. [m²]
    pervious_curve_number : array_like
        Curve number of the latter, for initial abstraction 0.2 S; the paved area has 98.
    runoff_coefficient : array_like, default NaN
        Where given, runoff is this share of the rain on both areas and the curve numbers are not
        used; NaN where they are.

    Returns
    -------
    ndarray of float64
        Runoff since the start of the storm. [m³]

    Raises
    ------
    InputError
        If an area is negative, a coefficient is not from 0 to 1, or as for `runoff_mm`.
    """
    paved_m2 = np.asarray(impervious_m2, dtype=np.float64)
    soil_m2 = np.asarray(pervious_m2, dtype=np.float64)
    share = np.asarray(runoff_coefficient, dtype=np.float64)
    if not all(np.all(np.isfinite(area) & (area >= 0)) for area in (paved_m2, soil_m2)):
        raise InputError("A catchment area is below zero or missing.")
    if np.any((share < 0) | (share > 1)):
        raise InputError("A runoff coefficient must be from 0 to 1.")
    by_number_m3 = (
        paved_m2 * runoff_mm(cumulative_rain_mm, PAVED_CURVE_NUMBER)
        + soil_m2 * runoff_mm(cumulative_rain_mm, pervious_curve_number)
    ) / MM_PER_M
    by_share_m3 = share * np.asarray(cumulative_rain_mm) * (paved_m2 + soil_m2) / MM_PER_M
    return np.where(np.isnan(share), by_number_m3, by_share_m3)
