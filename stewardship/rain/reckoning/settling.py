"""Site rain and basin water brought up to date with what storms turned out to be; only rows whose figures changed are written."""

from collections.abc import Sequence
from zoneinfo import ZoneInfo

from stewardship.rain.models import (
    BasinWater,
    DeclaredRain,
    Gauge,
    SiteRain,
    Storm,
    StormRevision,
)
from stewardship.rain.reckoning.ground import Ground
from stewardship.rain.reckoning.grouping import Storms
from stewardship.rain.reckoning.record import Outage, known_times
from stewardship.rain.reckoning.spreading import Rain, Water, as_declared, rain_at_sites
from stewardship.rain.times import last_day

STORMS_AT_ONCE = 200
#: what care rules look at: a change asks for them to look again
FIGURES = ("sureness", "depth_um", "peak_15min_um", "peak_60min_um")
WORDS = ("sources", "left_out")
WATERS = (
    "inflow_m3",
    "passed_by_m3",
    "soaked_m3",
    "spilled_m3",
    "greatest_depth_m",
    "hours_to_drain",
    "coarse",
)


def settle_rain(
    *,
    storms: Storms,
    stored: Sequence[Storm],
    gauges: Sequence[Gauge],
    outages: dict[int, list[Outage]],
    span: tuple[int, int],
    zone: ZoneInfo,
) -> int:
    """Work out the rain at every site in each found storm, and write what changed. `stored`: the saved storm of each.

    Returns how many site rains are new, changed or gone.
    """
    ground = Ground.load(gauges)
    if not len(storms) or not ground.sites:
        return 0
    changed = 0
    known = [known_times(gauge, outages.get(gauge.pk, []), *span) for gauge in gauges]
    for first in range(0, len(storms), STORMS_AT_ONCE):
        numbers = range(first, min(first + STORMS_AT_ONCE, len(storms)))
        rains = rain_at_sites(storms, numbers, ground, known, zone)
        declared = DeclaredRain.objects.of_storms([stored[n] for n in numbers])
        for n, at_sites in zip(numbers, rains, strict=True) if declared else ():
            for rain in at_sites:
                said = declared.get((stored[n].pk, rain.site_id))
                if said:
                    length_s = int(storms.end_s[n] - storms.start_s[n])
                    as_declared(rain, said.depth_um, length_s, ground)
        changed += _write([stored[n] for n in numbers], rains, zone)
    return changed


def _write(storms: Sequence[Storm], rains: Sequence[Sequence[Rain]], zone: ZoneInfo) -> int:
    before = {
        (row.storm_id, row.site_id): row
        for row in SiteRain.objects.filter(storm__in=storms).prefetch_related("waters")
    }
    ended_s: dict[tuple[int, int], int] = {
        (storm_id, number): end_s
        for storm_id, number, end_s in StormRevision.objects.filter(
            storm__in={row.storm_id for row in before.values()}
        ).values_list("storm_id", "number", "end_s")
    }
    new: list[SiteRain] = []
    changed: list[SiteRain] = []
    waters: list[tuple[SiteRain, dict[int, Water]]] = []
    dried: list[int] = []
    for storm, at_sites in zip(storms, rains, strict=True):
        for rain in at_sites:
            row = before.pop((storm.pk, rain.site_id), None)
            if row is None:
                row = SiteRain(storm=storm, site_id=rain.site_id, storm_revision=storm.revision)
                new.append(row)
                waters.append((row, rain.waters))
            else:
                if _water_figures(row) != {k: _as_tuple(w) for k, w in rain.waters.items()}:
                    dried += [water.pk for water in row.waters.all()]
                    waters.append((row, rain.waters))
                # What falls due counts from the storm's last day; if that moved, care rules look again.
                was_s = ended_s.get((storm.pk, row.storm_revision), storm.end_s)
                moved = last_day(was_s, zone) != last_day(storm.end_s, zone)
                if not moved and all(
                    getattr(row, name) == getattr(rain, name) for name in FIGURES + WORDS
                ):
                    continue
                changed.append(row)
                if moved or any(getattr(row, name) != getattr(rain, name) for name in FIGURES):
                    row.weighed_at = None
                row.storm_revision = storm.revision
            for name in FIGURES + WORDS:
                setattr(row, name, getattr(rain, name))
    # What is left are sites that did not stand any more on the storm's last day, as it is now.
    SiteRain.objects.filter(pk__in=[row.pk for row in before.values()]).delete()
    SiteRain.objects.bulk_create(new, batch_size=1000)
    SiteRain.objects.bulk_update(
        changed, [*FIGURES, *WORDS, "storm_revision", "weighed_at"], batch_size=200
    )
    for first in range(0, len(dried), 500):
        BasinWater.objects.filter(pk__in=dried[first : first + 500]).delete()
    BasinWater.objects.bulk_create(
        (
            BasinWater(site_rain=row, basin_id=basin_id, **vars(water))
            for row, of_basins in waters
            for basin_id, water in of_basins.items()
        ),
        batch_size=1000,
    )
    return len(new) + len(changed) + len(before)


def _as_tuple(water: Water | BasinWater) -> tuple:
    return tuple(getattr(water, name) for name in WATERS)


def _water_figures(row: SiteRain) -> dict[int, tuple]:
    return {water.basin_id: _as_tuple(water) for water in row.waters.all()}
