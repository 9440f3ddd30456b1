"""The PDF of an agreement: what stands on it, gathered once as plain values, and the bytes made from that."""

import hashlib
import json
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from datetime import date
from typing import Any

from django.db.models import Prefetch
from django.utils import translation
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import ngettext, pgettext

from people.choices import ContactKind
from people.models import Program
from sites.models import Basin, Site
from sites.water import USUAL_LIP_M, Capacity, capacities
from stewardship.agreements import instruments
from stewardship.agreements.choices import Capacity as SigningCapacity
from stewardship.agreements.duties import CAUTIONS, USUAL_SCHEDULE, ScheduleLine, duties_of
from stewardship.agreements.models import Agreement, Wording
from stewardship.agreements.texts import Block, blocks
from stewardship.common.pdf import render_pdf
from stewardship.common.written import area_text, length_text, volume_text

TEMPLATE = "agreements/agreement.html"
DRAWN = 2  # the first basin of so many sites is drawn; all stand in the list of works


@dataclass(frozen=True, slots=True)
class PartyLine:
    name: str
    capacity: str
    office: str
    address: str
    must_sign: bool


@dataclass(frozen=True, slots=True)
class WorksLine:
    """One basin with its inlets and traps, in words and the program's units."""

    site: str
    basin: str
    size: str
    holds: str
    drains: str
    inlets: tuple[str, ...]
    traps: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Drawing:
    """What `basin_section` draws, in metres."""

    caption: str
    depth_at_lip_m: float
    lip_below_inlet_m: float
    trap_depth_m: float | None
    water_depth_m: float


@dataclass(frozen=True, slots=True)
class Sheet:
    """Everything that stands on an agreement's pages, in its language."""

    reference: str
    instrument: str
    title: str
    language: str
    wording: str
    dated: str
    program: str
    parties: tuple[PartyLine, ...]
    sites: tuple[tuple[str, str, str], ...]
    works: tuple[WorksLine, ...]
    drawings: tuple[Drawing, ...]
    schedule: tuple[tuple[str, str, str], ...]
    duties: tuple[tuple[str, str, str], ...]
    cautions: tuple[str, ...]
    summary: tuple[str, ...]
    blocks: tuple[Block, ...]


def content_hash(sheet: Sheet) -> str:
    """SHA-256 of what stands on the sheet; two documents of one hash say the same."""
    words = json.dumps(asdict(sheet), sort_keys=True, ensure_ascii=False)
    return hashlib.sha256(words.encode()).hexdigest()


def paper(
    agreement: Agreement,
    *,
    wording: Wording,
    dated: date,
    schedule: Sequence[ScheduleLine] | None = None,
) -> Sheet:
    """Gather the sheet in the wording's language.

    Raises
    ------
    Refused : the wording holds a placeholder that means nothing.
    """
    program = Program.get()
    with translation.override(wording.language):
        parties = _parties(agreement)
        sites = list(
            agreement.sites.prefetch_related(
                Prefetch("basins", Basin.objects.prefetch_related("inlets__trap"))
            )
        )
        covers = instruments.INSTRUMENTS[agreement.instrument].covers_sites
        held = capacities([basin for site in sites for basin in site.basins.all()])
        values = _values(agreement, program, parties, sites)
        return Sheet(
            reference=agreement.reference,
            instrument=str(agreement.get_instrument_display()),
            title=wording.title,
            language=wording.language,
            wording=str(wording.version),
            dated=_long_date(dated),
            program=program.name,
            parties=tuple(parties),
            sites=tuple((site.code, site.address, site.street) for site in sites),
            works=tuple(_works(one, program.units) for one in held),
            drawings=tuple(_drawings(held)),
            schedule=tuple(
                (str(line.phase.label), str(line.after_rain), str(line.by_calendar))
                for line in (USUAL_SCHEDULE if schedule is None else schedule)
            )
            if covers
            else (),
            duties=tuple(
                (str(duty.title), str(duty.do), str(duty.know))
                for duty in duties_of(agreement.instrument)
            ),
            cautions=tuple(str(caution) for caution in CAUTIONS),
            summary=tuple(line.strip() for line in wording.summary.splitlines() if line.strip()),
            blocks=tuple(blocks(wording.body, values)),
        )


def render(sheet: Sheet) -> bytes:
    """The sheet as a tagged PDF."""
    return render_pdf(TEMPLATE, _context(sheet), language=sheet.language)


def _context(sheet: Sheet) -> dict[str, Any]:
    return {"sheet": sheet, "short_hash": content_hash(sheet)[:12], "program": Program.get()}


def _long_date(day: date) -> str:
    return date_format(day, pgettext("date in a document: Django date format", "j F Y"))


def _parties(agreement: Agreement) -> list[PartyLine]:
    rows = agreement.parties.select_related("person", "agency").prefetch_related(
        "person__contact_points"
    )
    return [
        PartyLine(
            name=party.person.full_name,
            capacity=str(SigningCapacity(party.capacity).label),
            office=", ".join(filter(None, [party.person.agency_office, str(party.agency)]))
            if party.agency
            else "",
            address=next(
                (
                    ", ".join(line.strip() for line in point.value.splitlines() if line.strip())
                    for point in party.person.contact_points.all()
                    if point.kind == ContactKind.POSTAL and not point.dead_since
                ),
                "",
            ),
            must_sign=party.must_sign,
        )
        for party in rows
    ]


def _values(
    agreement: Agreement, program: Program, parties: list[PartyLine], sites: list[Site]
) -> dict[str, str]:
    rules = instruments.INSTRUMENTS[agreement.instrument]
    years = rules.term_years
    return {
        "program": program.name,
        "town": program.town,
        "contact": ", ".join(filter(None, [program.phone, program.email])) or program.name,
        "parties": "; ".join(
            f"{p.name} ({', '.join(filter(None, [p.capacity.lower(), p.office]))})" for p in parties
        ),
        "sites": "; ".join(f"{site.address} ({site.code})" for site in sites),
        "reference": agreement.reference,
        "begins": _long_date(agreement.begins_on)
        if agreement.begins_on
        else _("the day of the last signature"),
        "term": ngettext("for %d year", "for %d years", years) % years
        if years
        else _("until it is ended in writing"),
        "cure_days": str(rules.cure_days),
    }


def _works(held: Capacity, units: str) -> WorksLine:
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
        holds=volume_text(held.holds_m3, units),
        drains=area_text(basin.paved_m2 + basin.planted_catchment_m2, units),
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
    )


def _drawings(held: list[Capacity]) -> list[Drawing]:
    first_of_site = {one.basin.site_id: one for one in reversed(held)}
    drawn = []
    for one in sorted(first_of_site.values(), key=held.index)[:DRAWN]:
        trap = next((i.trap for i in one.basin.inlets.all() if hasattr(i, "trap")), None)
        drawn.append(
            Drawing(
                caption=_("Basin %(basin)s at %(site)s, full to its lip. Not to scale lengthwise.")
                % {"basin": one.basin.label, "site": one.basin.site.code},
                depth_at_lip_m=one.basin.depth_m,
                lip_below_inlet_m=trap.lip_below_inlet_m if trap else USUAL_LIP_M,
                trap_depth_m=trap.depth_m if trap else None,
                water_depth_m=one.basin.depth_m,
            )
        )
    return drawn
