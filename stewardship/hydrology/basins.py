"""Many basins at once, as arrays, and the shape that they share.

A basin is a frustum from its bottom up to its lip: the square root of its plan area grows evenly
with height, as in a cut cone or pyramid. Above the lip its banks stand upright, which errs toward
more spill.
"""

import numpy as np

from stewardship.hydrology.errors import InputError
from stewardship.hydrology.inlets import GradedInlets
from stewardship.hydrology.units import FloatArray, IntArray, Numbers

TINY_M2 = 1e-300  # [m²] keeps nothing over nothing from being no number


class BasinArrays:
    """Basins with their catchments and inlets: for each quantity one number for all, or one each.

    Parameters
    ----------
    impervious_m2, pervious_m2 : array_like
        Paved area, and soil or planting, that drain to the inlet; the basin itself not counted.
        [m²]
    pervious_curve_number : array_like
        Curve number of the latter, for initial abstraction 0.2 S.
    runoff_coefficient : array_like, default NaN
        Where given, the share of the rain that runs off, instead of the curve numbers.
    inlet_capacity_m3_s : array_like, default infinite
        What the basin's inlets without known slopes let in together, see
        `stewardship.hydrology.inlets`; 0 if there are only others. [m³/s]
    graded_inlets : GradedInlets, default none
        Inlets along gutters of known slopes; they get what the former leave.
    bottom_m2, lip_m2 : array_like
        Plan area at the bottom, and at the height of the lip. [m²]
    lip_depth_m : array_like
        Height of the lip above the bottom. [m]
    lip_length_m : array_like
        Length of the lip over which water leaves. [m]
    infiltration_mm_h : array_like
        Rate at which water soaks away through the wetted plan area; 0 if it does not. [mm/h]
    open_m2 : array_like, default ``lip_m2``
        Area whose rain falls straight into the basin. [m²]

    Attributes
    ----------
    lip_volume_m3 : ndarray of float64, shape (basins,)
        What the basin holds up to its lip. [m³]

    Raises
    ------
    InputError
        If a number is missing, negative, zero where it may not be, or the lip encloses less than
        the bottom.

    Notes
    -----
    Each parameter is kept as an attribute of the same name, arrays as float64 of shape (basins,).
    """

    def __init__(
        self,
        *,
        impervious_m2: Numbers,
        pervious_m2: Numbers,
        pervious_curve_number: Numbers,
        runoff_coefficient: Numbers = np.nan,
        inlet_capacity_m3_s: Numbers = np.inf,
        graded_inlets: GradedInlets | None = None,
        bottom_m2: Numbers,
        lip_m2: Numbers,
        lip_depth_m: Numbers,
        lip_length_m: Numbers,
        infiltration_mm_h: Numbers,
        open_m2: Numbers | None = None,
    ) -> None:
        (
            self.impervious_m2,
            self.pervious_m2,
            self.pervious_curve_number,
            self.runoff_coefficient,
            self.inlet_capacity_m3_s,
            self.bottom_m2,
            self.lip_m2,
            self.lip_depth_m,
            self.lip_length_m,
            self.infiltration_mm_h,
            self.open_m2,
        ) = _one_each(
            impervious_m2,
            pervious_m2,
            pervious_curve_number,
            runoff_coefficient,
            inlet_capacity_m3_s,
            bottom_m2,
            lip_m2,
            lip_depth_m,
            lip_length_m,
            infiltration_mm_h,
            lip_m2 if open_m2 is None else open_m2,
        )
        self.graded_inlets = graded_inlets
        self._check()
        self._bottom_side_m: FloatArray = np.sqrt(self.bottom_m2)
        self._bottom_cube_m3: FloatArray = self._bottom_side_m * self.bottom_m2
        self._flare: FloatArray = (np.sqrt(self.lip_m2) - self._bottom_side_m) / self.lip_depth_m
        self.lip_volume_m3 = self._frustum_m3(self.lip_depth_m)

    def __len__(self) -> int:
        return self.lip_m2.size

    def take(self, places: IntArray) -> "BasinArrays":
        """The basins at some places, which may come more than once.

        Parameters
        ----------
        places : ndarray of int64, shape (n,)
            Positions in these arrays.

        Returns
        -------
        BasinArrays
            Copies, n basins in the order asked for.
        """
        taken = object.__new__(BasinArrays)
        for name, values in vars(self).items():
            setattr(taken, name, None if values is None else values[places])
        return taken

    def volume_m3(self, depth_m: FloatArray) -> FloatArray:
        """Water in each basin at a depth.

        Parameters
        ----------
        depth_m : ndarray, shape (basins,)
            Depth above the bottom. [m]

        Returns
        -------
        ndarray of float64, shape (basins,)
            Volume. [m³]
        """
        below_lip_m = np.minimum(depth_m, self.lip_depth_m)
        return self._frustum_m3(below_lip_m) + self.lip_m2 * (depth_m - below_lip_m)

    def depth_m(self, volume_m3: FloatArray) -> FloatArray:
        """Depth of water in each basin, the inverse of `volume_m3`.

        Parameters
        ----------
        volume_m3 : ndarray, shape (basins,)
            Volume. [m³]

        Returns
        -------
        ndarray of float64, shape (basins,)
            Depth above the bottom. [m]
        """
        below_lip_m3 = np.minimum(volume_m3, self.lip_volume_m3)
        above_lip_m = (volume_m3 - below_lip_m3) / self.lip_m2
        # From x³ - a³ = 3 b V with x = a + b h: no division by b, which is 0 for upright sides.
        side_m = self._bottom_side_m
        surface_m = np.cbrt(self._bottom_cube_m3 + 3 * self._flare * below_lip_m3)
        divisor_m2 = surface_m * (surface_m + side_m) + self.bottom_m2
        # Zero only for nothing in a basin without a bottom.
        below_lip_m = 3 * below_lip_m3 / np.maximum(divisor_m2, TINY_M2)
        return np.asarray(below_lip_m + above_lip_m, dtype=np.float64)

    def _frustum_m3(self, depth_m: FloatArray) -> FloatArray:
        side_m = self._bottom_side_m
        surface_m = side_m + self._flare * depth_m
        return np.asarray(
            depth_m / 3 * (self.bottom_m2 + surface_m * (surface_m + side_m)), dtype=np.float64
        )

    def _check(self) -> None:
        for name, value in (
            ("catchment area", self.impervious_m2),
            ("catchment area", self.pervious_m2),
            ("bottom area", self.bottom_m2),
            ("infiltration rate", self.infiltration_mm_h),
            ("area open to the rain", self.open_m2),
        ):
            if not np.all(np.isfinite(value) & (value >= 0)):
                raise InputError(f"A basin's {name} must be at least zero.")
        for name, value in (
            ("area at the lip", self.lip_m2),
            ("height of the lip", self.lip_depth_m),
            ("length of the lip", self.lip_length_m),
        ):
            if not np.all(np.isfinite(value) & (value > 0)):
                raise InputError(f"A basin's {name} must be above zero.")
        if np.any(np.isnan(self.inlet_capacity_m3_s) | (self.inlet_capacity_m3_s < 0)):
            raise InputError("An inlet's capacity must be at least zero.")
        if self.graded_inlets is not None and len(self.graded_inlets) != len(self):
            raise InputError("There must be one row of inlets for each basin.")
        if np.any(self.lip_m2 < self.bottom_m2):
            raise InputError("A basin is smaller at its lip than at its bottom.")
        if not np.all((self.pervious_curve_number > 0) & (self.pervious_curve_number <= 100)):
            raise InputError("A curve number must be above 0 and at most 100.")
        if np.any((self.runoff_coefficient < 0) | (self.runoff_coefficient > 1)):
            raise InputError("A runoff coefficient must be from 0 to 1.")


def _one_each(*values: Numbers) -> list[FloatArray]:
    arrays = [np.atleast_1d(np.asarray(value, dtype=np.float64)) for value in values]
    counts = {array.size for array in arrays} - {1}
    if len(counts) > 1 or any(array.ndim != 1 for array in arrays):
        raise InputError("Each quantity needs one number for all basins or one for each.")
    count = counts.pop() if counts else 1
    return [np.broadcast_to(array, (count,)).copy() for array in arrays]
