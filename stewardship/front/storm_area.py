"""The ground that a storm is mapped on: a rectangle around sites and gauges, each gauge's cell in it, the mean rain over it."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from stewardship.front.storm_gauges import GaugeRecord
from stewardship.front.storm_sites import SiteNeed
from stewardship.hydrology.spread import flat_grid_m, thiessen_cells, thiessen_weights
from stewardship.hydrology.units import FloatArray

#: Left free around what is drawn: this share of the longer side, and so much at least; ours, no source.
MARGIN, LEAST_MARGIN_M = 0.08, 200
#: The rectangle's height over its width; a street of sites still gets a strip, not a line.
FLATTEST, TALLEST = 0.45, 0.85


Border = tuple[tuple[float, float], tuple[float, float]]


@dataclass(frozen=True)
class Area:
    """A rectangle on a flat grid, and who stands on it. [m] east and north of the middle of what is drawn

    sites_m, gauges_m  places of `sites` and `gauges`, shape (n, 2)
    borders_m          lines between the counting gauges' cells, each once, from end to end
    mean_um            rain over the rectangle, None where no gauge counts
    """

    west: float
    south: float
    east: float
    north: float
    sites: list[SiteNeed]
    sites_m: FloatArray
    gauges: list[GaugeRecord]
    gauges_m: FloatArray
    borders_m: list[Border]
    mean_um: int | None

    def holds(self, east_m: float, north_m: float) -> bool:
        return self.west <= east_m <= self.east and self.south <= north_m <= self.north


def storm_area(rows: Sequence[SiteNeed], records: Sequence[GaugeRecord]) -> Area | None:
    """The rectangle around the sites and the gauges that speak for them, and the shares of it of every gauge that stands on it
    and knows the whole storm, written into their records. None where nothing has a place.

    A gauge in the rectangle that is too far from every site counts here: the mean is over the ground, not over the sites.
    """
    sites = [row for row in rows if row.rain.site.has_place]
    gauges = [record for record in records if record.place is not None]
    if not sites and all(one.too_far for one in gauges):
        return None
    lat = [row.rain.site.lat for row in sites] + [one.place.lat for one in gauges if one.place]
    lon = [row.rain.site.lon for row in sites] + [one.place.lon for one in gauges if one.place]
    grid_m = flat_grid_m(lat, lon, origin_lat=float(np.mean(lat)), origin_lon=lon[0])
    sites_m, gauges_m = grid_m[: len(sites)], grid_m[len(sites) :]
    near = [n for n, one in enumerate(gauges) if not one.too_far]
    west, south, east, north = _rectangle(np.concatenate([sites_m, gauges_m[near]]))
    counting = [
        n
        for n, one in enumerate(gauges)
        if not one.why_out
        and one.depth_um is not None
        and west <= gauges_m[n, 0] <= east
        and south <= gauges_m[n, 1] <= north
    ]
    mean_um, borders_m = None, list[Border]()
    if counting:
        corners = [(west, south), (east, south), (east, north), (west, north)]
        shares = thiessen_weights(gauges_m[counting], corners)
        for n, share, percent in zip(counting, shares.tolist(), _percents(shares), strict=True):
            gauges[n].share, gauges[n].percent = share, percent
        mean_um = round(sum((gauges[n].share or 0) * (gauges[n].depth_um or 0) for n in counting))
        borders_m = _borders(thiessen_cells(gauges_m[counting], corners))
    return Area(
        west, south, east, north, sites, sites_m, gauges, gauges_m, borders_m, mean_um
    )  # fmt: skip


def _rectangle(points_m: FloatArray) -> tuple[float, float, float, float]:
    """West, south, east and north of a rectangle around points, with a margin, neither too flat nor too tall."""
    (west, south), (east, north) = points_m.min(axis=0).tolist(), points_m.max(axis=0).tolist()
    margin = max(MARGIN * max(east - west, north - south), LEAST_MARGIN_M)
    width, height = east - west + 2 * margin, north - south + 2 * margin
    width, height = max(width, height / TALLEST), max(height, width * FLATTEST)
    middle_e, middle_n = (west + east) / 2, (south + north) / 2
    return (
        middle_e - width / 2,
        middle_n - height / 2,
        middle_e + width / 2,
        middle_n + height / 2,
    )


def _percents(shares: FloatArray) -> list[int]:
    """Shares that sum to 1 in whole per cent that sum to 100: those cut most by rounding down get what is over."""
    whole = np.floor(100 * shares)
    cut = 100 * shares - whole
    over = round(float(cut.sum()))
    whole[np.argsort(-cut, kind="stable")[:over]] += 1
    return whole.astype(int).tolist()


def _borders(cells: list[list[FloatArray]]) -> list[Border]:
    """Sides that two cells share, to the centimetre; what only one has is the rectangle's edge. Gauges at one place have the
    same cell, which counts once."""
    owners: dict[Border, set[bytes]] = {}
    for pieces in cells:
        for outline in pieces:
            ends = [(round(east, 2), round(north, 2)) for east, north in outline.tolist()]
            for one, next_one in zip(ends, ends[1:], strict=False):
                side = (min(one, next_one), max(one, next_one))
                owners.setdefault(side, set()).add(outline.tobytes())
    return [side for side, of in owners.items() if len(of) > 1]
