"""What will be built under an agreement, in one number: a document that was offered says nothing else than what is planned now."""

import hashlib
import json
from collections.abc import Iterable
from typing import Any

from django.db.models import Prefetch

from sites.models import Basin
from stewardship.agreements.models import Agreement

#: What a household agrees to have beside its street: the measures that stand in the document or follow from those that do.
SITE = ("code", "address", "street")
BASIN = (
    "label",
    "bottom_area_m2",
    "top_area_m2",
    "depth_m",
    "lip_length_m",
    "paved_m2",
    "planted_catchment_m2",
)
INLET = ("kind", "width_m", "height_m")
TRAP = ("length_m", "width_m", "depth_m", "lip_below_inlet_m")
PLANTING = ("species", "count")


def works_mark(agreement: Agreement) -> str:
    """SHA-256 of the agreement's sites and works; equal as long as none of them is corrected, added or taken away."""
    basins = Basin.objects.order_by("label", "pk").prefetch_related("inlets__trap", "plantings")
    sites = agreement.sites.order_by("code").prefetch_related(Prefetch("basins", basins))
    facts = [
        [
            _of(site, SITE),
            [
                [
                    _of(basin, BASIN),
                    [
                        [_of(inlet, INLET), _of(getattr(inlet, "trap", None), TRAP)]
                        for inlet in _in_order(basin.inlets.all())
                    ],
                    [_of(plants, PLANTING) for plants in _in_order(basin.plantings.all())],
                ]
                for basin in site.basins.all()
            ],
        ]
        for site in sites
    ]
    return hashlib.sha256(json.dumps(facts).encode()).hexdigest()


def _in_order(rows: Iterable[Any]) -> list[Any]:
    return sorted(rows, key=lambda one: one.pk)


def _of(row: Any, fields: tuple[str, ...]) -> list[Any]:
    return [getattr(row, field) for field in fields] if row else []
