"""Rain from gauges: at a site by inverse distance, as a mean over an area by Thiessen cells.

References
----------
.. [1] Inverse-distance weighting with power 2 over nearby gauges, a gauge's own value at the gauge:
   common practice of hydrology; the formula stands for instance in D. Shepard, "A two-dimensional
   interpolation function for irregularly-spaced data", Proc. 23rd ACM National Conference, 1968,
   pp. 517-524.
.. [2] H. Moritz, "Geodetic Reference System 1980", Journal of Geodesy 74, 2000, pp. 128-133: mean
   radius R1 = (2a + b)/3 = 6 371 008.7714 m.
.. [3] R. W. Sinnott, "Virtues of the Haversine", Sky and Telescope 68(2), 1984, p. 159.
.. [4] A. H. Thiessen, "Precipitation averages for large areas", Monthly Weather Review 39(7), 1911,
   pp. 1082-1084 (from memory): each point of an area takes the rain of its nearest gauge.
"""

import numpy as np
import shapely

from stewardship.hydrology.errors import InputError
from stewardship.hydrology.units import FloatArray, IntArray, Numbers

EARTH_RADIUS_M = 6_371_008.7714  # [m] mean radius R1 [2]
POWER = 2  # [1]
MOST_GAUGES = 4  # common practice, no source
SAME_PLACE_M = 0.01  # [m] gauges of a Thiessen map are told apart by whole centimetres


def haversine_m(lat1: Numbers, lon1: Numbers, lat2: Numbers, lon2: Numbers) -> FloatArray:
    """Distance over the ground along a great circle [3]_.

    Parameters
    ----------
    lat1, lon1, lat2, lon2 : array_like
        Two points or arrays of points that broadcast together. [degrees]

    Returns
    -------
    ndarray of float64
        Distance on a sphere; within about 0.6 % of the ellipsoid's. [m]

    Raises
    ------
    InputError
        If a latitude is beyond a pole or a coordinate is not a number.
    """
    points = [np.asarray(value, dtype=np.float64) for value in (lat1, lon1, lat2, lon2)]
    if not all(np.all(np.isfinite(value)) for value in points):
        raise InputError("A coordinate is not a number.")
    if any(np.any(np.abs(value) > 90) for value in (points[0], points[2])):
        raise InputError("A latitude is beyond a pole.")
    phi1, lambda1, phi2, lambda2 = (np.radians(value) for value in points)
    half_chord_squared = (
        np.sin((phi2 - phi1) / 2) ** 2
        + np.cos(phi1) * np.cos(phi2) * np.sin((lambda2 - lambda1) / 2) ** 2
    )
    # Rounding may lift opposite points of the globe a hair above 1.
    distance_m = 2 * EARTH_RADIUS_M * np.arcsin(np.sqrt(np.minimum(half_chord_squared, 1.0)))
    return np.asarray(distance_m, dtype=np.float64)


def flat_grid_m(lat: Numbers, lon: Numbers, *, origin_lat: float, origin_lon: float) -> FloatArray:
    """Places on a flat grid around an origin, for maps of a town and Thiessen cells.

    Parameters
    ----------
    lat, lon : array_like, shape (places,)
        [degrees]
    origin_lat, origin_lon : float
        The place that gets (0, 0). [degrees]

    Returns
    -------
    ndarray of float64, shape (places, 2)
        Metres east and north. Every place is taken to be as far from its neighbour to the east as on
        the origin's latitude, so distances over 10 km on either side of it are within 0.3 % of
        `haversine_m` up to 60 degrees of latitude. [m]

    Raises
    ------
    InputError
        If a latitude is beyond a pole or a coordinate is not a number.
    """
    lats, lons = (np.asarray(value, dtype=np.float64) for value in (lat, lon))
    if not all(np.all(np.isfinite(v)) for v in (lats, lons, origin_lat, origin_lon)):
        raise InputError("A coordinate is not a number.")
    if np.any(np.abs(lats) > 90) or abs(origin_lat) > 90:
        raise InputError("A latitude is beyond a pole.")
    east_deg = (lons - origin_lon + 180) % 360 - 180  # the short way, over the date line too
    east_m = np.radians(east_deg) * EARTH_RADIUS_M * np.cos(np.radians(origin_lat))
    north_m = np.radians(lats - origin_lat) * EARTH_RADIUS_M
    return np.stack([east_m, north_m], axis=-1)


def gauge_weights(
    distance_m: Numbers,
    usable: Numbers,
    *,
    most: int = MOST_GAUGES,
    reach_m: Numbers,
) -> FloatArray:
    """Share of each gauge in the rain at each site [1]_.

    Parameters
    ----------
    distance_m : array_like, shape (sites, gauges)
        Distance from site to gauge. [m]
    usable : array_like of bool, shape (gauges,) or (sites, gauges)
        False for a gauge that has no complete record of the storm; it gets no weight.
    most : int, default 4
        Number of gauges that share; those tied with the last one share too, so that the order of
        the gauges never decides.
    reach_m : array_like, scalar or shape (gauges,)
        Distance up to which, and including which, a gauge speaks for a site. [m]

    Returns
    -------
    ndarray of float64, shape (sites, gauges)
        Weights by the inverse square of the distance. A row sums to 1, or is all zero where no
        usable gauge is in reach. Gauges at the site itself share the whole weight equally.

    Raises
    ------
    InputError
        If a distance, reach or number is negative, zero where it may not be, or no number.
    """
    distances = np.asarray(distance_m, dtype=np.float64)
    reaches = np.asarray(reach_m, dtype=np.float64)
    if distances.ndim != 2:
        raise InputError("Distances must be a table of sites by gauges.")
    if not np.all(np.isfinite(distances) & (distances >= 0)):
        raise InputError("A distance is below zero or missing.")
    if np.any(np.isnan(reaches)) or np.any(reaches < 0):
        raise InputError("A gauge's reach is below zero or missing.")
    if most < 1:
        raise InputError("The number of gauges must be above zero.")
    sites, gauges = distances.shape
    if sites == 0 or gauges == 0:
        return np.zeros_like(distances)

    taken = np.asarray(usable, dtype=np.bool_) & (distances <= reaches)
    reached_m = np.where(taken, distances, np.inf)
    if most < gauges:
        taken &= reached_m <= np.partition(reached_m, most - 1, axis=1)[:, most - 1 : most]

    nearest_m = np.min(reached_m, axis=1, keepdims=True)
    # Relative to the nearest gauge, so that very small distances do not overflow.
    share = np.zeros_like(distances)
    np.divide(nearest_m, reached_m, out=share, where=taken & (nearest_m > 0))
    share = np.where(taken & (nearest_m == 0), reached_m == 0, share**POWER)
    total = share.sum(axis=1, keepdims=True)
    weights = np.zeros_like(share)
    np.divide(share, total, out=weights, where=total > 0)
    return weights


def thiessen_cells(points_m: Numbers, outline_m: Numbers) -> list[list[FloatArray]]:
    """Cut an area into the parts that are nearest to each gauge [4]_.

    Parameters
    ----------
    points_m : array_like, shape (gauges, 2)
        Gauges inside or outside the area, on a flat local grid. [m]
    outline_m : array_like, shape (corners, 2)
        Outline of the area on the same grid, in either direction, not crossing itself. [m]

    Returns
    -------
    list of list of ndarray of float64, shape (corners, 2)
        Of each gauge the pieces of its cell as closed outlines, anticlockwise: none where the cell
        lies outside the area, several where a hollow outline cuts it apart. One gauge alone has
        the whole area; gauges at one place have one cell together, listed with each. [m]

    Raises
    ------
    InputError
        If there is no gauge, a coordinate is no number, or the outline is no area.
    """
    cells, place = _clipped_cells(points_m, outline_m)
    pieces = [
        [
            np.asarray(shapely.get_coordinates(part), dtype=np.float64)
            for part in shapely.get_parts(shapely.orient_polygons(cell))
            if part.area > 0  # a cell may touch the area in a line or a point only
        ]
        for cell in cells
    ]
    return [pieces[number] for number in place.tolist()]


def thiessen_weights(points_m: Numbers, outline_m: Numbers) -> FloatArray:
    """Share of the area in each gauge's cell: weights for the mean rain over the area [4]_.

    Parameters
    ----------
    points_m, outline_m : array_like, shapes (gauges, 2) and (corners, 2)
        As for `thiessen_cells`. [m]

    Returns
    -------
    ndarray of float64, shape (gauges,)
        Weights; their sum is 1. Gauges at one place share its cell equally.

    Raises
    ------
    InputError
        As for `thiessen_cells`.
    """
    cells, place = _clipped_cells(points_m, outline_m)
    area_m2 = np.asarray(shapely.area(cells), dtype=np.float64)
    shared_m2 = (area_m2 / np.bincount(place))[place]
    return np.asarray(shared_m2 / shared_m2.sum(), dtype=np.float64)


def _clipped_cells(
    points_m: Numbers, outline_m: Numbers
) -> tuple[list[shapely.Geometry], IntArray]:
    """One clipped cell for each place where gauges stand, and the place of each gauge."""
    points, corners = (np.asarray(value, dtype=np.float64) for value in (points_m, outline_m))
    for value, name, fewest in ((points, "gauges", 1), (corners, "outline", 3)):
        if value.ndim != 2 or value.shape[1] != 2 or len(value) < fewest:
            raise InputError(f"The {name} of a Thiessen map must be a list of pairs.")
        if not np.all(np.isfinite(value)):
            raise InputError("A coordinate is not a number.")
    area = shapely.Polygon(corners)
    if not area.is_valid or area.area <= 0:
        raise InputError("The outline of a Thiessen map must enclose an area and not cross itself.")

    spots, place = np.unique(np.rint(points / SAME_PLACE_M), axis=0, return_inverse=True)
    if len(spots) == 1:  # a single point divides nothing
        return [area], np.zeros(len(points), dtype=np.int64)
    cells = shapely.voronoi_polygons(
        shapely.MultiPoint(spots * SAME_PLACE_M), extend_to=area, ordered=True
    )
    return list(shapely.intersection(shapely.get_parts(cells), area)), place.reshape(-1)
