"""How the demo's sediment traps fill: so much silt per cubic metre of water, until somebody takes it out."""

from collections import defaultdict
from collections.abc import Iterable
from datetime import date

from sites.choices import SourceClass
from sites.models import SedimentTrap, Site
from stewardship.care.services import TakenOut
from stewardship.management.demo.days import Days
from stewardship.management.demo.habits import luck
from stewardship.rain.models import BasinWater
from stewardship.rain.times import instant

#: [L/m³] silt that comes with the water, invented; each site differs from it by up to half
LITRES_PER_M3 = {SourceClass.QUIET: 4.5, SourceClass.BUSY: 6.0, SourceClass.HOT_SPOT: 9.0}
FULL_ENOUGH = 0.30  # a trap fuller than this is emptied by whoever comes
EMPTIED = 0.9  # of what is in it comes out


class Silt:
    """What lies in every trap, day by day."""

    def __init__(self, days: Days, sites: Iterable[Site]) -> None:
        self.traps: dict[int, list[SedimentTrap]] = defaultdict(list)
        traps = SedimentTrap.objects.select_related("inlet__basin__site").order_by("pk")
        for trap in traps:
            self.traps[trap.inlet.basin.site_id].append(trap)
        self.yields = {
            site.pk: LITRES_PER_M3[SourceClass(site.source_class)]
            * luck("yield", site.code).uniform(0.5, 1.5)
            for site in sites
        }
        #: by basin: (day on which the storm ended, what came in [m³]), latest first
        self.coming: dict[int, list[tuple[date, float]]] = defaultdict(list)
        waters = BasinWater.objects.order_by("-site_rain__storm__end_s").values_list(
            "basin_id", "site_rain__storm__end_s", "inflow_m3"
        )
        for basin, end_s, inflow_m3 in waters:
            self.coming[basin].append((instant(end_s).astimezone(days.tz).date(), inflow_m3))
        self.litres: dict[int, float] = defaultdict(float)

    def of_site(self, site: Site, on: date) -> list[tuple[SedimentTrap, float]]:
        """The site's traps and how full each is on that day, 0 to 1."""
        return [(trap, self._fill(trap, site, on)) for trap in self.traps[site.pk]]

    def taken_out(self, site: Site, on: date) -> list[TakenOut]:
        """What somebody who empties the site's fuller traps takes out that day."""
        taken = []
        for trap, fill in self.of_site(site, on):
            if fill < FULL_ENOUGH:
                continue
            litres = EMPTIED * self.litres[trap.pk]
            self.litres[trap.pk] -= litres
            taken.append(
                TakenOut(trap=trap, litres=round(litres, 0), drop_before_m=drop_m(trap, fill))
            )
        return taken

    def _fill(self, trap: SedimentTrap, site: Site, on: date) -> float:
        coming = self.coming[trap.inlet.basin_id]
        while coming and coming[-1][0] <= on:
            self.litres[trap.pk] += coming.pop()[1] * self.yields[site.pk]
        holds = trap.length_m * trap.width_m * trap.depth_m * 1_000
        self.litres[trap.pk] = min(self.litres[trap.pk], holds)
        return self.litres[trap.pk] / holds


def drop_m(trap: SedimentTrap, fill: float) -> float:
    """Inlet bottom down to the silt, to a quarter of an inch. [m]"""
    return round(trap.depth_m * (1 - fill) / 0.00635) * 0.00635
