"""Gauges, readings, storms, rain at sites."""

from collections.abc import Iterable, Sequence
from datetime import date, datetime, timedelta

from sites.models import Site
from stewardship.rain.choices import BatchSource, GaugeKind, ReadingKind, Sureness
from stewardship.rain.models import (
    BasinWater,
    FrequencyTable,
    Gauge,
    GaugePlace,
    GaugeStorm,
    Reading,
    ReadingBatch,
    SiteRain,
    Storm,
    StormRevision,
)
from stewardship.rain.services import keep_frequencies
from tests.factory.times import LAT, LON, seconds, um
from tests.frequency_files import table_file


def make_gauge(code: str = "G1", *, kind: str = GaugeKind.INTERVAL, **fields) -> Gauge:
    place = {"lat": fields.pop("lat", LAT + 0.004), "lon": fields.pop("lon", LON)}
    facts = {
        "name": f"Gauge {code}",
        "started_on": date(2023, 1, 1),
        "observation_hour": 7 if kind == GaugeKind.DAILY else None,
    }
    gauge = Gauge.objects.create(code=code, kind=kind, **(facts | fields))
    GaugePlace.objects.create(gauge=gauge, since=gauge.started_on, **place)
    return gauge


def make_readings(
    gauge: Gauge,
    start: datetime,
    step: timedelta,
    depths_in: Sequence[float | str | None],
    *,
    found: bool = False,
) -> ReadingBatch:
    """Readings one after another from `start`: inches, "T" for a trace, None for missing. `found`: storms are found already."""
    start_s, step_s = seconds(start), int(step.total_seconds())
    batch = ReadingBatch.objects.create(
        gauge=gauge,
        source=BatchSource.TYPED,
        added=len(depths_in),
        touched_start_s=start_s,
        touched_end_s=start_s + step_s * len(depths_in),
        storms_found_at=start if found else None,
    )
    readings = []
    for n, depth in enumerate(depths_in):
        if depth is None:
            kind, depth_um = ReadingKind.MISSING, None
        elif depth == "T":
            kind, depth_um = ReadingKind.TRACE, 0
        else:
            kind = ReadingKind.MEASURED if depth else ReadingKind.ZERO
            depth_um = um(depth)
        readings.append(
            Reading(
                gauge=gauge,
                batch=batch,
                start_s=start_s + n * step_s,
                end_s=start_s + (n + 1) * step_s,
                kind=kind,
                depth_um=depth_um,
                typed="" if depth is None else str(depth),
            )
        )
    Reading.objects.bulk_create(readings)
    return batch


def make_storm(
    start: datetime,
    *,
    hours: float = 2,
    depth_in: float = 0.62,
    gauges: Iterable[Gauge] = (),
    **fields,
) -> Storm:
    """A storm with its first revision, and the same depth at each of `gauges`."""
    start_s = seconds(start)
    span = {"start_s": start_s, "end_s": start_s + int(hours * 3600)}
    storm = Storm.objects.create(**span, greatest_um=um(depth_in), **fields)
    StormRevision.objects.create(
        storm=storm, number=1, greatest_um=um(depth_in), why="First readings", **span
    )
    for gauge in gauges:
        GaugeStorm.objects.create(storm=storm, gauge=gauge, depth_um=um(depth_in), **span)
    return storm


def make_site_rain(
    storm: Storm,
    site: Site,
    *,
    depth_in: float | None = 0.62,
    sureness: str = Sureness.ESTIMATED,
    gauge: Gauge | None = None,
    weighed_at: datetime | None = None,
    water: dict | None = None,
) -> SiteRain:
    """What the storm was at the site; depth None is unknown. `water`: figures for every basin, e.g. {"hours_to_drain": 1.2}."""
    rain = SiteRain.objects.create(
        storm=storm,
        site=site,
        sureness=Sureness.UNKNOWN if depth_in is None else sureness,
        depth_um=None if depth_in is None else um(depth_in),
        sources=[{"gauge": gauge.code, "weight": 1.0, "distance_m": 445, "depth_um": um(depth_in)}]
        if gauge and depth_in is not None
        else [],
        storm_revision=storm.revision,
        weighed_at=weighed_at,
    )
    if water is not None:
        figures = {
            "inflow_m3": 1.2,
            "passed_by_m3": 0.1,
            "soaked_m3": 0.9,
            "spilled_m3": 0.3,
            "greatest_depth_m": 0.18,
            "hours_to_drain": 1.1,
        }
        for basin in site.basins.all():
            BasinWater.objects.create(site_rain=rain, basin=basin, **(figures | water))
    return rain


def make_frequency_table(text: str | None = None, *, name: str = "Palo Azul") -> FrequencyTable:
    """Published frequencies of rain, invented: 0.50 in an hour once a year, 0.70 in every two years, 1.00 in every five."""
    return keep_frequencies(text=text or table_file(), name=name, by=None)
