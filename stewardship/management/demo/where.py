"""Loads where the demo happens: sites as they were proposed, their basins, inlets, traps and plants, and the gauges."""

from dataclasses import dataclass
from datetime import date, timedelta
from math import cos, radians

from sites.choices import Stage
from sites.models import Basin, Inlet, Planting, SedimentTrap, Site, SiteEvent
from stewardship.management.demo import facts, read_table
from stewardship.management.demo.days import Days
from stewardship.management.demo.weather import GaugeSpot, outage
from stewardship.management.demo.who import Who
from stewardship.rain.models import Gauge, GaugeOutage, GaugePlace

EARTH_M_PER_DEGREE = 111_195.0  # [m] of latitude, on a sphere of radius 6371 km
TALK_DAYS = 75  # from the first talk to the day on which a site is built


@dataclass(frozen=True, slots=True)
class Where:
    """Sites by code, and gauges with what the readings need to know of them."""

    sites: dict[str, Site]
    gauges: list[tuple[Gauge, GaugeSpot]]

    def reread(self) -> "Where":
        """With the sites as the services have left them, and their basins."""
        sites = Site.objects.prefetch_related("basins")
        return Where({site.code: site for site in sites}, self.gauges)


def degrees(east_m: str, north_m: str) -> tuple[float, float]:
    """Latitude and longitude of a place so many metres east and north of the middle of the town."""
    middle = facts()["middle"]
    lat = middle["lat"] + float(north_m) / EARTH_M_PER_DEGREE
    lon = middle["lon"] + float(east_m) / (EARTH_M_PER_DEGREE * cos(radians(middle["lat"])))
    return round(lat, 6), round(lon, 6)


def load_where(days: Days, who: Who) -> Where:
    sites = {row["site"]: _load_site(row, days, who) for row in read_table("sites")}
    for row in read_table("basins"):
        _load_basin(row, sites[row["site"]], days)
    basins = {(basin.site.code, basin.label): basin for basin in Basin.objects.all()}
    Planting.objects.bulk_create(
        Planting(
            basin=basins[row["site"], row["label"]],
            species=row["species"],
            count=int(row["count"]),
            height_m=float(row["height_m"]),
            measured_on=days.months_ago(2),
        )
        for row in read_table("plantings")
    )
    return Where(sites, [_load_gauge(row, days, who) for row in read_table("gauges")])


def built_on(row: dict[str, str], days: Days) -> date | None:
    """The day on which the site of this row of fixtures/sites.csv was built, or None."""
    return days.months_ago(row["built_months_ago"]) if row["built_months_ago"] else None


def _load_site(row: dict[str, str], days: Days, who: Who) -> Site:
    """The site as it was proposed; agreements and the building of it come later."""
    lat, lon = degrees(row["east_m"], row["north_m"]) if row["east_m"] else (None, None)
    site = Site.objects.create(
        code=row["site"],
        street=row["street"],
        address=row["address"],
        lat=lat,
        lon=lon,
        stage=Stage.PROPOSED,
        agency=who.agencies.get(row["agency"]),
        source_class=row["source_class"],
        collection_weekday=int(row["collection_weekday"]) if row["collection_weekday"] else None,
        cart_litres=int(row["cart_litres"]) if row["cart_litres"] else None,
    )
    built = built_on(row, days)
    SiteEvent.objects.create(
        site=site,
        became=Stage.PROPOSED,
        why="Somebody asked for a basin here",
        at=days.at((built or days.ago(20)) - timedelta(days=TALK_DAYS), 11),
        by=who.coordinator,
    )
    return site


def _load_basin(row: dict[str, str], site: Site, days: Days) -> None:
    replanted = row["replanted_months_ago"]
    basin = Basin.objects.create(
        site=site,
        label=row["label"],
        phase_from=days.months_ago(replanted) if replanted else None,
        **{
            name: float(row[name])
            for name in (
                "bottom_area_m2",
                "top_area_m2",
                "depth_m",
                "lip_length_m",
                "soak_mm_h",
                "paved_m2",
                "planted_catchment_m2",
                "unpaved_curve_number",
            )
        },
    )
    inlet = Inlet.objects.create(
        basin=basin,
        kind=row["inlet"],
        width_m=float(row["inlet_width_m"]),
        height_m=float(row["inlet_height_m"]) if row["inlet_height_m"] else None,
    )
    SedimentTrap.objects.create(
        inlet=inlet,
        length_m=float(row["trap_length_m"]),
        width_m=float(row["trap_width_m"]),
        depth_m=float(row["trap_depth_m"]),
        lip_below_inlet_m=float(row["lip_below_inlet_m"]),
    )


def _load_gauge(row: dict[str, str], days: Days, who: Who) -> tuple[Gauge, GaugeSpot]:
    lat, lon = degrees(row["east_m"], row["north_m"])
    hour = int(row["observation_hour"]) if row["observation_hour"] else None
    gauge = Gauge.objects.create(
        code=row["gauge"],
        name=row["name"],
        kind=row["kind"],
        reach_m=int(row["reach_m"]),
        observation_hour=hour,
        lists_dry=row["lists_dry"] == "yes",
        started_on=days.first,
    )
    GaugePlace.objects.create(gauge=gauge, since=days.first, lat=lat, lon=lon)
    place = GaugeSpot(
        code=gauge.code,
        kind=gauge.kind,
        east_m=float(row["east_m"]),
        north_m=float(row["north_m"]),
        observation_hour=hour,
        lists_dry=gauge.lists_dry,
    )
    if row["reader"]:
        gauge.readers.add(who.people[row["reader"]])
    if row["gauge"] == "waterworks":
        out = outage(days, east_m=place.east_m, north_m=place.north_m)
        GaugeOutage.objects.create(
            gauge=gauge,
            start_s=out.start_s,
            end_s=out.end_s,
            why="Lightning took the power; nobody could get to it until the next evening",
        )
        place = place.without_power(out)
    return gauge, place
