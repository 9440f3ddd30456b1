"""The works for the papers of an agreement: places, list of works, plans and sections, from the measures in the book."""

from collections.abc import Iterator, Sequence
from datetime import date

from django.db.models import Prefetch
from django.utils.translation import gettext as _

from sites.models import Basin, Planting, Site, SiteParcel
from sites.water import USUAL_LIP_M, Capacity, capacities
from stewardship.agreements.documents_sheet import Drawing, Place, Plan, Works, WorksLine
from stewardship.agreements.models import Agreement
from stewardship.common.plan_drawing import IN_A_ROW, PlanBasin, PlanInlet
from stewardship.common.written import area_text, length_text, volume_text

SECTIONS = (
    2  # the first basin of so many sites is drawn in section; all stand in plan and in the list
)


def sites_of(agreement: Agreement) -> list[Site]:
    """The agreement's sites with what the papers say of them, in a fixed number of queries."""
    return list(
        agreement.sites.order_by("code").prefetch_related(
            Prefetch(
                "basins",
                Basin.objects.select_related("site").prefetch_related("inlets__trap", "plantings"),
            ),
            Prefetch("along", SiteParcel.objects.select_related("parcel")),
        )
    )


def works_of(sites: Sequence[Site], units: str, *, on: date, built: bool = False) -> Works:
    """What is planned on that day; with `built`, what stands, plants included."""
    held = capacities([basin for site in sites for basin in site.basins.all()])
    return Works(
        places=tuple(
            Place(site.code, site.address, site.street, tuple(_parcels(site, on))) for site in sites
        ),
        lines=tuple(_line(one, units, built) for one in held),
        plans=tuple(plan for site in sites for plan in _plans(site)),
        sections=tuple(_sections(held, built)),
    )


def _parcels(site: Site, on: date) -> Iterator[str]:
    """The lots it lies along, as they are numbered on that day."""
    for along in site.along.all():
        parcel = along.parcel
        if (parcel.since and parcel.since > on) or (parcel.until and parcel.until <= on):
            continue
        share = along.share_percent
        yield (
            _("%(parcel)s (%(share)s %% of the frontage)") % {"parcel": parcel, "share": share}
            if share
            else str(parcel)
        )


def _line(held: Capacity, units: str, built: bool) -> WorksLine:
    basin = held.basin
    inlets = list(basin.inlets.all())
    traps = [inlet.trap for inlet in inlets if hasattr(inlet, "trap")]
    return WorksLine(
        site=basin.site.code,
        basin=basin.label,
        size=_("%(area)s at the lip, %(depth)s deep")
        % {
            "area": area_text(basin.top_area_m2, units),
            "depth": length_text(basin.depth_m, units),
        },
        holds=str(volume_text(held.holds_m3, units)),
        drains=str(area_text(basin.paved_m2 + basin.planted_catchment_m2, units)),
        inlets=tuple(
            _("%(kind)s, %(width)s across")
            % {"kind": inlet.get_kind_display(), "width": length_text(inlet.width_m, units)}
            for inlet in inlets
        ),
        traps=tuple(
            _("%(length)s × %(width)s, %(depth)s deep")
            % {
                "length": length_text(trap.length_m, units),
                "width": length_text(trap.width_m, units),
                "depth": length_text(trap.depth_m, units),
            }
            for trap in traps
        ),
        plants=tuple(_plants(basin.plantings.all())) if built else (),
    )


def _plants(plantings: Sequence[Planting]) -> Iterator[str]:
    for one in plantings:
        yield f"{one.count} × {one.species}"


def _plans(site: Site) -> Iterator[Plan]:
    basins = list(site.basins.all())
    for first in range(0, len(basins), IN_A_ROW):
        yield Plan(
            caption=_(
                "%(site)s from above. Openings, traps and basins have the sizes that are written down; their shapes and the "
                "distances between them have not been surveyed. The box inside an inlet is its sediment trap."
            )
            % {"site": site.code},
            beside=site.address,
            basins=tuple(_in_plan(basin) for basin in basins[first : first + IN_A_ROW]),
        )


def _in_plan(basin: Basin) -> PlanBasin:
    return PlanBasin(
        label=basin.label,
        lip_area_m2=basin.top_area_m2,
        bottom_area_m2=basin.bottom_area_m2,
        inlets=tuple(
            PlanInlet(
                width_m=inlet.width_m,
                trap_m=(inlet.trap.length_m, inlet.trap.width_m)
                if hasattr(inlet, "trap")
                else None,
            )
            for inlet in basin.inlets.all()
        ),
    )


def _sections(held: list[Capacity], built: bool) -> Iterator[Drawing]:
    first_of_site = {one.basin.site_id: one for one in reversed(held)}
    for one in sorted(first_of_site.values(), key=held.index)[:SECTIONS]:
        trap = next((i.trap for i in one.basin.inlets.all() if hasattr(i, "trap")), None)
        yield Drawing(
            caption=_("Basin %(basin)s at %(site)s, full to its lip. Not to scale lengthwise.")
            % {"basin": one.basin.label, "site": one.basin.site.code},
            depth_at_lip_m=one.basin.depth_m,
            lip_below_inlet_m=trap.lip_below_inlet_m if trap else USUAL_LIP_M,
            trap_depth_m=trap.depth_m if trap else None,
            water_depth_m=one.basin.depth_m,
        )
