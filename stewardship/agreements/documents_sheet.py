"""What stands on the papers of an agreement, as plain values in the paper's language. No queries here."""

import hashlib
import json
from collections.abc import Sequence
from dataclasses import asdict, dataclass, field
from typing import Any

from stewardship.agreements.texts import Block
from stewardship.common.plan_drawing import PlanBasin


@dataclass(frozen=True, slots=True)
class PartyLine:
    """Somebody who signs. `holder`: agency or organisation; `by`: who signs in their place, and by what right."""

    name: str
    capacity: str
    holder: str
    by: str
    part: str
    address: str
    must_sign: bool
    landlord: bool


@dataclass(frozen=True, slots=True)
class Place:
    """One site, with the parcels it lies along as far as they are written down."""

    code: str
    address: str
    street: str
    parcels: tuple[str, ...]


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
    plants: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Drawing:
    """What `basin_section` draws, in metres."""

    caption: str
    depth_at_lip_m: float
    lip_below_inlet_m: float
    trap_depth_m: float | None
    water_depth_m: float


@dataclass(frozen=True, slots=True)
class Plan:
    """What `street_plan` draws, in metres and square metres."""

    caption: str
    beside: str
    basins: tuple[PlanBasin, ...]


@dataclass(frozen=True, slots=True)
class Works:
    """Exhibits A and B, of the works as planned or as they stand."""

    places: tuple[Place, ...] = ()
    lines: tuple[WorksLine, ...] = ()
    plans: tuple[Plan, ...] = ()
    sections: tuple[Drawing, ...] = ()


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
    terms: tuple[tuple[str, str], ...]
    works: Works
    schedule: tuple[tuple[str, str, str], ...]
    duties: tuple[tuple[str, str, str], ...]
    cautions: tuple[str, ...]
    summary: tuple[str, ...]
    blocks: tuple[Block, ...]
    exhibits: tuple[tuple[str, str], ...] = field(default=())

    @property
    def consenting(self) -> list[PartyLine]:
        """Landlords, each of whom gets a page of consent."""
        return [party for party in self.parties if party.landlord and party.must_sign]


def content_hash(sheet: Any) -> str:
    """SHA-256 of what stands on the sheet; two documents of one hash say the same."""
    words = json.dumps(asdict(sheet), sort_keys=True, ensure_ascii=False)
    return hashlib.sha256(words.encode()).hexdigest()


def short_hash(sheet: Any) -> str:
    """The beginning of it, for the foot of each page."""
    return content_hash(sheet)[:12]


def joined(parts: Sequence[str | None]) -> str:
    return ", ".join(part for part in parts if part)
