"""Many storms through many basins, side by side: one pass over the steps serves all of them."""

from collections.abc import Iterator, Sequence
from dataclasses import fields

import numpy as np

from stewardship.hydrology.balance import BalanceResult, basin_balance
from stewardship.hydrology.basins import BasinArrays
from stewardship.hydrology.errors import InputError
from stewardship.hydrology.units import FloatArray, IntArray

#: Rain steps of all storms together that are held at once, so that long records do not fill the memory.
CELLS_AT_ONCE = 2_000_000


def balance_of_each(
    rain_depth_mm: Sequence[FloatArray],
    step_s: float,
    basins: BasinArrays,
    places: IntArray,
    *,
    cells_at_once: int = CELLS_AT_ONCE,
) -> BalanceResult:
    """Follow storms of any lengths, each through one basin that it finds empty.

    Parameters
    ----------
    rain_depth_mm : sequence of ndarray of float64, each of shape (steps,)
        Rain in each step from the start of each storm. [mm]
    step_s : float
        Length of a step, at most one hour. [s]
    basins : BasinArrays
        The basins.
    places : ndarray of int64, shape (storms,)
        Which basin each storm goes through; a basin may come more than once.
    cells_at_once : int, default 2 000 000
        Bound of memory: steps times storms that are followed together.

    Returns
    -------
    BalanceResult
        As `basin_balance` gives it for each storm alone, in the order passed.

    Raises
    ------
    InputError
        As for `basin_balance`, or if there is not one place for each storm.
    """
    if places.shape != (len(rain_depth_mm),):
        raise InputError("There must be one basin for each storm.")
    figures = [field.name for field in fields(BalanceResult) if field.name != "coarse"]
    found = {name: np.empty(places.size) for name in figures}
    steps = np.array([rain_mm.size for rain_mm in rain_depth_mm], dtype=np.int64)
    for together in _alike(steps, cells_at_once):
        rain_mm = np.zeros((together.size, steps[together[-1]]))
        for row, storm in enumerate(together.tolist()):
            rain_mm[row, : steps[storm]] = rain_depth_mm[storm]
        result = basin_balance(rain_mm, step_s, basins.take(places[together]))
        for name in figures:
            found[name][together] = getattr(result, name)
    return BalanceResult(**found, coarse=False)


def _alike(steps: IntArray, cells_at_once: int) -> Iterator[IntArray]:
    """Storms of like length together, shortest first: what is padded stays below what is rain."""
    order = np.argsort(steps, kind="stable")
    first = 0
    while first < order.size:
        length = steps[order[first:]]
        fits = (length <= 2 * length[0] + 12) & (
            np.arange(1, length.size + 1) * length <= cells_at_once
        )
        number = max(1, int(fits.size if fits.all() else np.argmin(fits)))
        yield order[first : first + number]
        first += number
