"""Sites, basins and gauges as arrays, for working out many storms at once; gauges stand where they stood on the day asked for."""

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np

from sites.models import Basin, Site
from sites.water import basin_arrays
from stewardship.hydrology.basins import BasinArrays
from stewardship.hydrology.spread import haversine_m
from stewardship.hydrology.units import BoolArray, FloatArray, IntArray
from stewardship.rain.models import Gauge, GaugePlace


@dataclass(frozen=True)
class Ground:
    """Every site that was ever built, its basins, and how far each place where a gauge has stood is from it."""

    sites: Sequence[Site]
    gauges: Sequence[Gauge]
    has_place: BoolArray  # (sites,)
    place_distance_m: FloatArray  # (sites, places of gauges), infinite for a site without a place
    #: of each gauge, sorted: the days (as ordinals) from which it stood at its places, and the columns of those
    stood_since: Sequence[tuple[Sequence[int], Sequence[int]]]
    reach_m: FloatArray  # (gauges,)
    basin_ids: Sequence[int]
    basin_site: IntArray  # (basins,) place of its site in `sites`
    every_basin: BasinArrays  # (basins,)

    @classmethod
    def load(cls, gauges: Sequence[Gauge]) -> "Ground":
        sites = list(Site.objects.filter(built_on__isnull=False).order_by("code"))
        place = {site.pk: n for n, site in enumerate(sites)}
        basins = list(
            Basin.objects.filter(site__built_on__isnull=False)
            .prefetch_related("inlets")
            .order_by("site__code", "label")
        )
        has_place = np.array([site.has_place for site in sites], dtype=bool)
        stands = list(GaugePlace.objects.filter(gauge__in=gauges).order_by("gauge", "since"))
        distance_m = np.full((len(sites), len(stands)), np.inf)
        placed = [site for site in sites if site.has_place]
        if placed and stands:
            distance_m[has_place] = haversine_m(
                np.array([[site.lat] for site in placed]),
                np.array([[site.lon] for site in placed]),
                np.array([stand.lat for stand in stands]),
                np.array([stand.lon for stand in stands]),
            )
        stood: dict[int, tuple[list[int], list[int]]] = {gauge.pk: ([], []) for gauge in gauges}
        for column, stand in enumerate(stands):
            since, columns = stood[stand.gauge_id]
            since.append(stand.since.toordinal())
            columns.append(column)
        return cls(
            sites=sites,
            gauges=gauges,
            has_place=has_place,
            place_distance_m=distance_m,
            stood_since=[stood[gauge.pk] for gauge in gauges],
            reach_m=np.array([gauge.reach_m for gauge in gauges], dtype=np.float64),
            basin_ids=[basin.pk for basin in basins],
            basin_site=np.array([place[basin.site_id] for basin in basins], dtype=np.int64),
            every_basin=basin_arrays(basins),
        )

    def distance_m(self, day: date, stood: IntArray) -> FloatArray:
        """How far each gauge was on a day from the sites at some places, (places, gauges). [m]

        Before its first place a gauge counts as there.
        """
        number = day.toordinal()
        columns = [
            columns[max(bisect_right(since, number) - 1, 0)] for since, columns in self.stood_since
        ]
        return self.place_distance_m[np.ix_(stood, columns)]

    def stood(self, day: date) -> IntArray:
        """Places of the sites that stood, built and not retired, on that day."""
        return np.array(
            [
                n
                for n, site in enumerate(self.sites)
                if site.built_on <= day and (site.retired_on is None or site.retired_on > day)
            ],
            dtype=np.int64,
        )

    def basins(self, places: IntArray) -> BasinArrays:
        """The basins at some places, which may come more than once."""
        return self.every_basin.take(places)
