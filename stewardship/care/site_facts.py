"""Reads from the rows what `checklist.py` and the drawing need to know of a duty's site."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from django.db.models import Exists, OuterRef, Prefetch

from sites.models import Basin, Inlet, Site
from sites.water import USUAL_LIP_M
from stewardship.care.checklist import (
    BasinFacts,
    Checklist,
    Plant,
    SiteFacts,
    Water,
    after_finding,
    after_rain,
    by_calendar,
)
from stewardship.care.choices import Item, Trigger
from stewardship.care.models import CleanOut, Duty, Finding
from stewardship.rain.models import BasinWater, SiteRain


@dataclass(frozen=True)
class DutySheet:
    """All that a person needs at the basin: the checklist, and a drawing's measures for each basin."""

    checklist: Checklist
    drawings: tuple[dict[str, Any], ...]


def basins_of(site: Site) -> list[Basin]:
    """The site's basins with their inlets, traps and plants: four queries, however many basins."""
    return list(
        site.basins.prefetch_related(
            Prefetch("inlets", Inlet.objects.select_related("trap").order_by("pk")), "plantings"
        )
    )


def facts_of(site: Site, basins: Iterable[Basin]) -> SiteFacts:
    return SiteFacts(
        basins=tuple(
            BasinFacts(
                label=basin.label,
                inlet_kinds=tuple(inlet.kind for inlet in basin.inlets.all()),
                traps=len(_traps(basin)),
                plants=tuple(Plant(p.species, p.height_m) for p in basin.plantings.all()),
            )
            for basin in basins
        ),
        source_class=site.source_class,
        cart_litres=site.cart_litres,
        collection_weekday=site.collection_weekday,
    )


def waters_of(duty: Duty) -> dict[str, Water]:
    """What the duty's storms did in each basin, by label: of several storms the most of each."""
    waters: dict[str, Water] = {}
    # In two steps, each by its key: joined in one, the database may walk all of the water there is.
    rains = SiteRain.objects.filter(
        site=duty.site_id, storm__in=list(duty.storms.standing().values_list("pk", flat=True))
    )
    rows = BasinWater.objects.filter(
        site_rain__in=list(rains.values_list("pk", flat=True))
    ).select_related("basin")
    for row in rows:
        so_far = waters.get(row.basin.label, Water())
        stands = row.hours_to_drain is None and row.greatest_depth_m > 0 and not row.coarse
        waters[row.basin.label] = Water(
            greatest_depth_m=max(so_far.greatest_depth_m or 0, row.greatest_depth_m),
            spilled_m3=so_far.spilled_m3 + row.spilled_m3,
            hours_to_drain=max(so_far.hours_to_drain or 0, row.hours_to_drain or 0),
            drains=so_far.drains and not stands,
        )
    return waters


def sheet_of(duty: Duty) -> DutySheet:
    """Checklist and drawings for the duty; the same number of queries for every duty of its trigger."""
    basins = basins_of(duty.site)
    facts = facts_of(duty.site, basins)
    waters = waters_of(duty) if duty.trigger == Trigger.AFTER_RAIN else {}
    if duty.trigger == Trigger.AFTER_RAIN:
        checklist = after_rain(facts, waters)
    elif duty.trigger == Trigger.FINDING:
        reason = duty.reason
        checklist = after_finding(
            facts,
            item=reason.get("item", Item.INLET),
            basin=reason.get("basin", ""),
            note=reason.get("note", ""),
        )
    else:
        checklist = by_calendar(facts)
    drops = {basin_id: finding.measured_m for basin_id, finding in latest_measures(basins).items()}
    drawings = tuple(_drawing(basin, waters.get(basin.label), drops) for basin in basins)
    return DutySheet(checklist, drawings)


def _traps(basin: Basin) -> list:
    return [inlet.trap for inlet in basin.inlets.all() if hasattr(inlet, "trap")]


def latest_measures(basins: list[Basin]) -> dict[int, Finding]:
    """By basin: the finding with the drop to the silt as last measured; none once silt was taken out of any trap of it."""
    emptied_since = CleanOut.objects.filter(
        trap__inlet__basin=OuterRef("basin"), visit__happened_on__gte=OuterRef("visit__happened_on")
    )
    measured = (
        Finding.objects.filter(basin__in=basins, item=Item.TRAP, measured_m__isnull=False)
        .filter(~Exists(emptied_since))
        .select_related("visit")
        .order_by("visit__happened_on", "pk")
    )
    return {finding.basin_id: finding for finding in measured}


def _drawing(basin: Basin, water: Water | None, drops: dict[int, float]) -> dict[str, Any]:
    """Arguments of `{% basin_section %}`, and the basin's label."""
    traps = _traps(basin)
    return {
        "label": basin.label,
        "depth_at_lip_m": basin.depth_m,
        "lip_below_inlet_m": traps[0].lip_below_inlet_m if traps else USUAL_LIP_M,
        "water_depth_m": water.greatest_depth_m if water else None,
        "trap_drop_m": drops.get(basin.pk),
        "trap_depth_m": traps[0].depth_m if traps else None,
        "plant_heights_m": [p.height_m for p in basin.plantings.all()],
    }
