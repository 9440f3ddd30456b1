"""The book written out as the same lists, so that it comes in again unchanged."""

import csv
import io
from collections.abc import Iterator
from typing import Any

from people.choices import ContactKind
from people.models import Person
from sites.models import Basin, Inlet, Site
from stewardship.agreements.choices import AgreementState
from stewardship.agreements.lists.sheets import SHEETS, person_key
from stewardship.agreements.models import Agreement, Party
from stewardship.common.lists import formula_safe

Cells = dict[str, Any]


def _people() -> Iterator[Cells]:
    people = Person.objects.known().filter(erased_on__isnull=True)
    for one in people.select_related("household", "agency").prefetch_related("contact_points"):
        reach: dict[str, list[str]] = {kind: [] for kind in ContactKind.values}
        for point in sorted(one.contact_points.all(), key=lambda p: p.pk):
            if not point.dead_since:
                reach[point.kind].append(point.value)
        yield {
            "person": person_key(one),
            "given_name": one.given_name,
            "family_name": one.family_name,
            "language": one.language,
            "channel": one.channel,
            "emails": "; ".join(reach[ContactKind.EMAIL]),
            "phones": "; ".join(reach[ContactKind.PHONE]),
            "postal": "; ".join(reach[ContactKind.POSTAL][0].splitlines())
            if reach[ContactKind.POSTAL]
            else "",
            "household": one.household.name if one.household else "",
            "household_address": one.household.address if one.household else "",
            "agency": one.agency.code if one.agency else "",
            "office": one.agency_office,
        }


def _sites() -> Iterator[Cells]:
    sites = Site.objects.filter(merged_into__isnull=True).select_related("agency")
    for one in sites.prefetch_related("along__parcel", "external_ids"):
        yield {
            "site": one.code,
            "street": one.street,
            "address": one.address,
            "lat": one.lat,
            "lon": one.lon,
            "agency": one.agency.code if one.agency else "",
            "drains": one.source_class,
            "collection_day": None
            if one.collection_weekday is None
            else one.collection_weekday + 1,
            "cart": one.cart_litres,
            "parcels": "; ".join(
                f"{a.parcel.number}/{a.parcel.county}" if a.parcel.county else a.parcel.number
                for a in one.along.all()
            ),
            "other_ids": "; ".join(
                f"{x.kept_by}: {x.value}" for x in one.external_ids.all() if not x.basin_id
            ),
            "built_on": one.built_on,
        }


def _basins() -> Iterator[Cells]:
    for one in Basin.objects.select_related("site").order_by("site__code", "label"):
        yield {
            "site": one.site.code,
            "basin": one.label,
            "bottom_area": one.bottom_area_m2,
            "top_area": one.top_area_m2,
            "depth": one.depth_m,
            "lip_length": one.lip_length_m,
            "soak": one.soak_mm_h,
            "paved": one.paved_m2,
            "unpaved": one.planted_catchment_m2,
            "unpaved_curve_number": one.unpaved_curve_number,
            "accepted_on": one.phase_from,
        }


def _inlets() -> Iterator[Cells]:
    inlets = Inlet.objects.select_related("basin__site", "trap")
    place: dict[int, int] = {}
    for one in inlets.order_by("basin__site__code", "basin__label", "pk"):
        place[one.basin_id] = place.get(one.basin_id, 0) + 1
        trap = getattr(one, "trap", None)
        yield {
            "site": one.basin.site.code,
            "basin": one.basin.label,
            "inlet": place[one.basin_id],
            "kind": one.kind,
            "width": one.width_m,
            "height": one.height_m,
            "gutter_slope_percent": one.gutter_slope_percent,
            "cross_slope_percent": one.cross_slope_percent,
            "trap_length": trap and trap.length_m,
            "trap_width": trap and trap.width_m,
            "trap_depth": trap and trap.depth_m,
            "trap_lip_below_inlet": trap and trap.lip_below_inlet_m,
        }


def _agreements() -> Iterator[Cells]:
    agreements = Agreement.objects.order_by("reference").prefetch_related(
        "sites", "external_ids", "parties__signature"
    )
    for one in agreements:
        signatures = [p.signature for p in one.parties.all() if hasattr(p, "signature")]
        yield {
            "agreement": one.reference,
            "instrument": one.instrument,
            "language": one.language,
            "sites": "; ".join(sorted(site.code for site in one.sites.all())),
            "begins_on": one.begins_on,
            "ends_on": one.ends_on,
            "ended_why": one.ended_why if one.state == AgreementState.ENDED else "",
            "paper_kept_at": next(
                (s.original_kept_at for s in signatures if s.original_kept_at), "in this book"
            ),
            "other_ids": "; ".join(f"{x.kept_by}: {x.value}" for x in one.external_ids.all()),
        }


def _signers() -> Iterator[Cells]:
    parties = Party.objects.select_related(
        "agreement", "person", "agency", "organisation", "signature"
    )
    for one in parties.order_by("agreement__reference", "pk"):
        signature = getattr(one, "signature", None)
        yield {
            "agreement": one.agreement.reference,
            "person": person_key(one.person),
            "capacity": one.capacity,
            "signed_on": signature and signature.signed_on,
            "name_as_signed": signature.typed_name if signature else "",
            "agency": one.agency.code if one.agency else "",
            "organisation": one.organisation.name if one.organisation else "",
        }


ROWS = {
    "people": _people,
    "sites": _sites,
    "basins": _basins,
    "inlets": _inlets,
    "agreements": _agreements,
    "signers": _signers,
}


def _plain(value: Any) -> Any:
    """A cell: numbers as they are, anything else as text that no spreadsheet runs."""
    if value is None:
        return ""
    return value if isinstance(value, int | float) else formula_safe(value)


def as_workbook() -> bytes:
    """All lists as one .xlsx workbook, one sheet each."""
    from openpyxl import Workbook  # only who writes a workbook pays for it

    book = Workbook(write_only=True)
    for name, sheet in SHEETS.items():
        page = book.create_sheet(name)
        page.freeze_panes = "A2"
        page.append(sheet.names)
        for cells in ROWS[name]():
            page.append([_plain(cells[column]) for column in sheet.names])
    file = io.BytesIO()
    book.save(file)
    return file.getvalue()


def as_csv(name: str) -> bytes:
    """One list as CSV (RFC 4180, UTF-8 with a byte-order mark)."""
    file = io.StringIO()
    writer = csv.writer(file)
    writer.writerow(SHEETS[name].names)
    for cells in ROWS[name]():
        writer.writerow([_plain(cells[column]) for column in SHEETS[name].names])
    return b"\xef\xbb\xbf" + file.getvalue().encode()


def faults_as_csv(rows: list[dict[str, Any]]) -> bytes:
    """Rows that were not taken: list, line, column, why."""
    file = io.StringIO()
    writer = csv.writer(file)
    writer.writerow(["list", "line", "row", "column", "why"])
    for one in rows:
        writer.writerow(
            [
                formula_safe(one[k]) if k != "line" else one[k]
                for k in ("sheet", "line", "label", "column", "words")
            ]
        )
    return b"\xef\xbb\xbf" + file.getvalue().encode()
