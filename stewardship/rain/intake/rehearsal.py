"""What would become of a file if it were taken in: the same reading, checking and comparing, with nothing written.

Only reads the database, each block by itself, so that nobody who writes has to wait. What the file's own rows would change is laid
over what is stored; that takes some 50 bytes a row, and nothing is kept of a row's text.
"""

import os
from collections.abc import Callable
from dataclasses import asdict, dataclass, field
from datetime import date
from typing import Any, BinaryIO

import numpy as np
from django.utils import timezone

from people.models import Program
from stewardship.common.errors import Refused
from stewardship.hydrology.units import BoolArray, IntArray
from stewardship.rain.choices import BatchSource
from stewardship.rain.intake.blocks import KINDS, NO_DEPTH, Block
from stewardship.rain.intake.gate import Gate
from stewardship.rain.intake.ingest import (
    FileAtHand,
    Progress,
    at_hand,
    pour,
    refuse_known_file,
    refuse_worthless,
)
from stewardship.rain.intake.layout import Wishes
from stewardship.rain.intake.seen import LENGTHS, interval_key
from stewardship.rain.intake.storing import Shelf, Standing, Stored
from stewardship.rain.models import Gauge, Reading, ReadingBatch, RejectedRow
from stewardship.rain.times import local_day

OWN = -1  # stands for the batch that is not there
SHOWN_REJECTED = 50
SHOWN_CORRECTIONS = 8
_QUARTER_S = 900  # no zone's midnight falls between quarters of an hour


@dataclass
class GaugeFound:
    """What a file says of one gauge, and what would become of it. Times in s since 1970, depths in µm."""

    code: str
    added: int = 0
    same: int = 0
    corrected: int = 0
    rejected: int = 0
    in_future: int = 0  # rows that end after now
    stored: int = (
        0  # readings that are in the book for the file's time, whatever the file says of them
    )
    first_s: int | None = None
    last_s: int | None = None
    known: int = 0  # readings that say how much fell, dry ones too
    depth_um: int = 0
    wettest_day: str = ""  # ISO date
    wettest_um: int = 0
    #: [start_s, end_s, was kind, was depth, kind, depth] of the first corrections
    corrections: list[list] = field(default_factory=list)

    @property
    def wettest(self) -> date | None:
        return date.fromisoformat(self.wettest_day) if self.wettest_day else None


@dataclass
class Found:
    """What would become of a file. Plain values, to be kept as JSON."""

    rows: int = 0
    skipped: int = 0  # of other gauges
    gauges: list[GaugeFound] = field(default_factory=list)
    #: [line, gauge code, text, why] of the first rejected rows
    rejected: list[list] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    refusal: str = ""  # why nothing of it could be taken in as it is understood now

    def total(self, name: str) -> int:
        return sum(getattr(gauge, name) for gauge in self.gauges)

    def as_json(self) -> dict[str, Any]:
        return asdict(self)

    @classmethod
    def of_json(cls, kept: dict[str, Any]) -> "Found":
        gauges = [GaugeFound(**one) for one in kept["gauges"]]
        return cls(**{**kept, "gauges": gauges})


def rehearse(
    *,
    content: bytes | str | os.PathLike[str] | BinaryIO,
    gauge: Gauge | None,
    wishes: Wishes,
    progress: Progress | None = None,
    hear: Callable[[list[RejectedRow]], None] | None = None,
) -> Found:
    """Go through a whole file as if it were taken in; parameters as of `ingest.import_several`.

    `hear` is told of every rejected row as it is met, roughly in the order of lines. Nothing is raised for a file that would be
    refused: `Found.refusal` says why.
    """
    program = Program.get()
    with timezone.override(program.tz):
        try:
            with at_hand(content, gauge=gauge, wishes=wishes, program=program) as read:
                return _rehearse(read, program, progress, hear)
        except Refused as refusal:
            return Found(refusal=str(refusal))


def _rehearse(
    read: FileAtHand,
    program: Program,
    progress: Progress | None,
    hear: Callable[[list[RejectedRow]], None] | None,
) -> Found:
    now = timezone.now()
    found = Found()
    shelves: dict[Gauge, Rehearsal] = {}
    gates: dict[Gauge, Gate] = {}
    for one in read.found.layouts:
        batch = ReadingBatch(gauge=one, source=BatchSource.FILE, sha256=read.fingerprint(one))
        shelves[one] = Rehearsal(batch, hear=hear)
        gates[one] = Gate(one, source=BatchSource.FILE, zone=program.tz, now=now)

    def heard(rows: int) -> None:
        found.rows = rows
        if progress is not None:
            progress(rows)

    try:
        refuse_known_file(shelves.values())
        found.notes = pour(read, dict(shelves), now=now, progress=heard, gates=gates)
        refuse_worthless(shelves.values())
    except Refused as refusal:
        found.refusal = str(refusal)
    found.skipped = max((shelf.skipped for shelf in shelves.values()), default=0)
    found.gauges = [
        shelf.found(in_future=gates[one].in_future, program=program)
        for one, shelf in shelves.items()
        if shelf.rows
    ]
    rejected = sorted(
        (row for shelf in shelves.values() for row in shelf.shown), key=lambda row: row.line
    )
    found.rejected = [
        [row.line, row.batch.gauge.code, row.text, row.why] for row in rejected[:SHOWN_REJECTED]
    ]
    return found


@dataclass
class Taken:
    """Rows of one block that would be taken in, sorted by interval. `alive`: not taken back since."""

    key: IntArray
    start_s: IntArray
    end_s: IntArray
    kind: IntArray
    depth_um: IntArray
    correction: BoolArray
    place: IntArray  # in `typed`
    typed: list[str]
    alive: BoolArray

    def within(self, start_s: int, end_s: int) -> IntArray:
        if self.start_s[0] >= end_s:
            return np.empty(0, dtype=np.int64)
        return np.flatnonzero(self.alive & (self.start_s < end_s) & (self.end_s > start_s))

    def find(self, interval: int) -> int | None:
        place = int(np.searchsorted(self.key, interval))
        hit = place < self.key.size and self.key[place] == interval and self.alive[place]
        return place if hit else None


@dataclass
class Rehearsal(Shelf):
    """A shelf that takes nothing in and only counts."""

    hear: Callable[[list[RejectedRow]], None] | None = None
    taken: list[Taken] = field(default_factory=list)
    shown: list[RejectedRow] = field(default_factory=list)
    corrections: list[list] = field(default_factory=list)
    known: int = 0
    first_s: int | None = None
    last_s: int | None = None
    quarters_um: dict[int, int] = field(default_factory=dict)

    @property
    def own(self) -> int:
        return OWN

    def found(self, *, in_future: int, program: Program) -> GaugeFound:
        days_um: dict[str, int] = {}
        for quarter, depth_um in self.quarters_um.items():
            day = local_day(quarter * _QUARTER_S, program.tz).isoformat()
            days_um[day] = days_um.get(day, 0) + depth_um
        wettest = max(days_um, key=lambda day: days_um[day], default="")
        stored = 0
        if self.first_s is not None and self.last_s is not None:
            span = Reading.objects.between(self.first_s, self.last_s)
            stored = span.filter(gauge=self.batch.gauge_id).count()
        return GaugeFound(
            code=self.batch.gauge.code,
            added=self.added,
            same=self.same,
            corrected=self.corrected,
            rejected=self.rejected,
            in_future=in_future,
            stored=stored,
            first_s=self.first_s,
            last_s=self.last_s,
            known=self.known,
            depth_um=sum(days_um.values()),
            wettest_day=wettest,
            wettest_um=days_um.get(wettest, 0),
            corrections=self.corrections,
        )

    # -- what a real shelf writes ------------------------------------------------------------------------------
    def _write_rejected(self, rows: list[RejectedRow]) -> None:
        room = SHOWN_REJECTED - len(self.shown)
        self.shown += rows[:room]
        if self.hear is not None:
            self.hear(rows)

    def _insert(self, block: Block, rows: IntArray) -> None:
        self._keep(block, rows, np.zeros(rows.size, dtype=bool))
        self._count(block, rows)

    def _correct(self, block: Block, rows: IntArray, stored: Stored, places: IntArray) -> None:
        self._keep(block, rows, np.ones(rows.size, dtype=bool))
        self._count(block, rows)
        for row, place in zip(rows.tolist(), places.tolist(), strict=True):
            if len(self.corrections) >= SHOWN_CORRECTIONS:
                break
            self.corrections.append(
                [
                    int(block.start_s[row]),
                    int(block.end_s[row]),
                    KINDS[int(stored.kind[place])],
                    _depth(stored.depth_um[place]),
                    KINDS[int(block.kind[row])],
                    _depth(block.depth_um[row]),
                ]
            )

    def _known_again(self, block: Block, rows: IntArray, stored: Stored, places: IntArray) -> None:
        self._count(block, rows[stored.batch[places] != OWN])

    def _not_known_again(self, standing: Standing, rows: int) -> None:
        self._uncount(standing.depth_um, standing.end_s, rows)

    def _stored(self, start_s: int, end_s: int) -> Stored:
        stored = super()._stored(start_s, end_s)
        parts = [(one, one.within(start_s, end_s)) for one in self.taken]
        parts = [(one, rows) for one, rows in parts if rows.size]
        if not parts:
            return stored
        key = np.concatenate([one.key[rows] for one, rows in parts])
        # Of rows for one interval the last one stands.
        own, last = np.unique(key[::-1], return_index=True)
        last = key.size - 1 - last
        starts, ends, kinds, depths = (
            np.concatenate([getattr(one, name)[rows] for one, rows in parts])[last]
            for name in ("start_s", "end_s", "kind", "depth_um")
        )
        untouched = np.flatnonzero(~np.isin(interval_key(stored.start_s, stored.end_s), own))
        order = np.lexsort(
            (
                np.concatenate([stored.end_s[untouched], ends]),
                np.concatenate([stored.start_s[untouched], starts]),
            )
        )

        def both(name: str, mine: IntArray) -> IntArray:
            return np.concatenate([getattr(stored, name)[untouched], mine])[order]

        nothing = np.full(own.size, OWN)
        return Stored(
            pk=both("pk", nothing),
            start_s=both("start_s", starts),
            end_s=both("end_s", ends),
            kind=both("kind", kinds),
            depth_um=both("depth_um", depths),
            batch=both("batch", nothing),
        )

    def _standing(self, intervals: list[int]) -> dict[int, Standing]:
        standing = super()._standing(intervals)
        for interval in intervals:
            for one in self.taken:
                place = one.find(interval)
                if place is not None:
                    standing[interval] = Standing(
                        KINDS[int(one.kind[place])],
                        _depth(one.depth_um[place]),
                        one.typed[int(one.place[place])],
                        int(one.end_s[place]),
                        True,
                    )
        return standing

    def _withdraw(self, intervals: list[int]) -> int:
        corrections = 0
        for interval in intervals:
            for one in reversed(self.taken):
                place = one.find(interval)
                if place is not None:
                    one.alive[place] = False
                    corrections += bool(one.correction[place])
                    self._uncount(_depth(one.depth_um[place]), int(one.end_s[place]))
                    break
        starts = {interval // LENGTHS for interval in intervals}
        self.corrections = [one for one in self.corrections if one[0] not in starts]
        return corrections

    # -- sums --------------------------------------------------------------------------------------------------
    def _keep(self, block: Block, rows: IntArray, correction: BoolArray) -> None:
        key = interval_key(block.start_s[rows], block.end_s[rows])
        order = np.argsort(key)
        place = rows[order]
        self.taken.append(
            Taken(
                key=key[order],
                start_s=block.start_s[place],
                end_s=block.end_s[place],
                kind=block.kind[place].astype(np.int8),
                depth_um=block.depth_um[place].astype(np.int32),
                correction=correction,
                place=place.astype(np.int32),
                typed=block.typed,
                alive=np.ones(rows.size, dtype=bool),
            )
        )

    def _count(self, block: Block, rows: IntArray) -> None:
        if not rows.size:
            return
        first_s, last_s = int(block.start_s[rows].min()), int(block.end_s[rows].max())
        self.first_s = first_s if self.first_s is None else min(self.first_s, first_s)
        self.last_s = last_s if self.last_s is None else max(self.last_s, last_s)
        self.known += int(np.count_nonzero(block.depth_um[rows] != NO_DEPTH))
        wet = rows[block.depth_um[rows] > 0]
        # One that ends at midnight belongs to the day before.
        quarters, which = np.unique((block.end_s[wet] - 1) // _QUARTER_S, return_inverse=True)
        sums = np.bincount(which, weights=block.depth_um[wet], minlength=quarters.size)
        for quarter, depth_um in zip(quarters.tolist(), sums.tolist(), strict=True):
            self.quarters_um[quarter] = self.quarters_um.get(quarter, 0) + int(depth_um)

    def _uncount(self, depth_um: int | None, end_s: int, rows: int = 1) -> None:
        if depth_um is not None:
            self.known -= rows
        if depth_um:
            self.quarters_um[(end_s - 1) // _QUARTER_S] -= depth_um * rows


def _depth(depth_um: np.integer) -> int | None:
    return None if depth_um == NO_DEPTH else int(depth_um)
