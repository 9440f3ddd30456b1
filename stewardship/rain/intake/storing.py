"""Puts blocks of readings into the database: new, known, corrected, or rejected with a sentence. Inside the caller's transaction."""

from bisect import bisect_left, insort
from dataclasses import dataclass, field
from itertools import chain
from typing import NamedTuple

import numpy as np
from django.db import connection
from django.utils.translation import gettext as _

from stewardship.common.written import moment_text
from stewardship.hydrology.units import BoolArray, IntArray
from stewardship.rain.choices import Became, ReadingKind
from stewardship.rain.intake.blocks import KINDS, MISSING, NO_DEPTH, Block
from stewardship.rain.intake.seen import LENGTHS, Contradiction, Seen, interval_key, value_key
from stewardship.rain.intake.writing import correct_readings, insert_readings
from stewardship.rain.models import (
    Reading,
    ReadingBatch,
    ReadingCorrection,
    RejectedRow,
)
from stewardship.rain.times import LONGEST_READING_S, instant

SHOWN_BAD = 10  # rows named where none could be taken in


class Outcome(NamedTuple):
    """What became of one row, and why it was refused."""

    became: str
    why: str = ""


class Standing(NamedTuple):
    """What stands for an interval, and whether this batch brought it."""

    kind: str
    depth_um: int | None
    typed: str
    end_s: int
    own: bool


@dataclass
class Stored:
    """Readings of a gauge that are in the database already, by start and length; all arrays of the same shape."""

    pk: IntArray
    start_s: IntArray
    end_s: IntArray
    kind: IntArray
    depth_um: IntArray
    batch: IntArray

    @classmethod
    def between(cls, gauge_id: int, start_s: int, end_s: int) -> "Stored":
        table = Reading._meta.db_table
        kind = "CASE kind " + " ".join(
            f"WHEN '{name}' THEN {place}" for place, name in enumerate(KINDS)
        )
        with connection.cursor() as cursor:
            cursor.execute(
                f"SELECT id, start_s, end_s, {kind} END, COALESCE(depth_um, {NO_DEPTH}), batch_id FROM {table} "  # noqa: S608
                "WHERE gauge_id = %s AND start_s < %s AND start_s > %s AND end_s > %s ORDER BY start_s, end_s",
                [gauge_id, end_s, start_s - LONGEST_READING_S, start_s],
            )
            table = np.fromiter(chain.from_iterable(cursor), dtype=np.int64).reshape(-1, 6)
        return cls(*table.T)

    def places_of(self, start_s: IntArray, end_s: IntArray) -> IntArray:
        """Where each interval stands here, -1 where it does not."""
        if not self.pk.size:
            return np.full(start_s.shape, -1)
        keys = interval_key(self.start_s, self.end_s)
        wanted = interval_key(start_s, end_s)
        place = np.minimum(np.searchsorted(keys, wanted), keys.size - 1)
        return np.where(keys[place] == wanted, place, -1)

    def overlapped(self, start_s: IntArray, end_s: IntArray) -> IntArray:
        """Which known reading each interval overlaps, -1 where none."""
        known = np.flatnonzero(self.kind != MISSING)
        if not known.size:
            return np.full(start_s.shape, -1)
        # Known readings do not overlap each other, so the last one that starts before an interval's end reaches furthest.
        place = known[np.maximum(np.searchsorted(self.start_s[known], end_s) - 1, 0)]
        hit = (self.start_s[place] < end_s) & (self.end_s[place] > start_s)
        return np.where(hit, place, -1)


@dataclass
class Shelf:
    """Takes the blocks of one batch in the order in which they arrive, and counts."""

    batch: ReadingBatch
    added: int = 0
    same: int = 0
    corrected: int = 0
    rejected: int = 0
    skipped: int = 0
    repeated: int = 0  # rows whose interval stood in this batch before
    touched: list[int] = field(default_factory=list)
    first_bad: list[RejectedRow] = field(default_factory=list)
    seen: Seen = field(default_factory=Seen)
    #: how many rejected rows are kept at most; all are counted. None: all
    keep_rejected: int | None = None
    #: by line what became of each row of a single block, where somebody asks for it
    outcomes: dict[int, Outcome] | None = None

    @property
    def rows(self) -> int:
        return self.added + self.same + self.corrected + self.rejected

    @property
    def own(self) -> int:
        """What stands for this batch in `Stored.batch`."""
        return self.batch.pk

    def put(self, block: Block) -> None:
        self.skipped += block.skipped
        self._reject(block)
        rest = block.keep(block.good())
        self._refuse_contradictions(rest)
        rest = rest.keep(rest.good())
        while len(rest):
            order = np.lexsort((rest.end_s, rest.start_s))
            again = np.zeros(len(rest), dtype=bool)
            again[order[1:]] = (np.diff(rest.start_s[order]) == 0) & (
                np.diff(rest.end_s[order]) == 0
            )
            once = rest.keep(np.flatnonzero(~again)) if again.any() else rest
            self._put_once(once)
            rest = rest.keep(np.flatnonzero(again))

    def _refuse_contradictions(self, block: Block) -> None:
        """Rows of the batch that say different things of one interval are refused, all of them, whatever is stored."""
        says = np.flatnonzero(block.kind != MISSING)  # a missing value contradicts nothing
        interval = interval_key(block.start_s, block.end_s)[says]
        value = value_key(block.kind, block.depth_um)[says]
        line = block.line[says]
        taken: list[Contradiction] = []
        for found in self.seen.contradictions(interval, value, line):
            for place in found.here:
                row = int(says[place])
                block.why[row] = _contradiction(
                    found.other[int(block.line[row])], int(block.end_s[row])
                )
            self.repeated += len(found.here) - (0 if found.before else 1)
            if found.fresh:
                taken.append(found)
        self.seen.add(interval, value, line)
        for first in range(0, len(taken), 500):
            self._take_back(taken[first : first + 500])
        self._reject(block)

    def _take_back(self, contradictions: list[Contradiction]) -> None:
        """Undo rows of this batch that a later one contradicts."""
        standing = self._standing([one.interval for one in contradictions])
        rejected: list[RejectedRow] = []
        own: list[int] = []
        for one in contradictions:
            reading = standing.get(one.interval)
            if reading is None or reading.kind == ReadingKind.MISSING:
                continue  # refused already, as it overlaps another reading
            text = f"{moment_text(instant(reading.end_s))}, {reading.typed}"
            rejected += [
                RejectedRow(
                    batch=self.batch,
                    line=line,
                    text=text[:300],
                    why=_contradiction(one.other[line], reading.end_s),
                )
                for line in one.before
            ]
            self.same -= len(one.before)
            if reading.own:
                self.same += 1  # the first of them was no repetition
                own.append(one.interval)
            else:
                self._not_known_again(reading, len(one.before))
        corrections = self._withdraw(own)
        self.corrected -= corrections
        self.added -= len(own) - corrections
        self._list(rejected)

    def _standing(self, intervals: list[int]) -> dict[int, Standing]:
        """What stands for these intervals now."""
        starts = [interval // LENGTHS for interval in intervals]
        return {
            int(interval_key(start_s, end_s)): Standing(
                kind, depth_um, typed, end_s, batch == self.batch.pk
            )
            for start_s, end_s, kind, depth_um, typed, batch in Reading.objects.filter(
                gauge=self.batch.gauge_id, start_s__in=starts
            ).values_list("start_s", "end_s", "kind", "depth_um", "typed", "batch")
        }

    def _withdraw(self, intervals: list[int]) -> int:
        """Take this batch's readings for these intervals out again. Returns how many were corrections."""
        wanted = set(intervals)
        readings = [
            reading
            for reading in Reading.objects.filter(
                batch=self.batch, start_s__in=[interval // LENGTHS for interval in intervals]
            )
            if int(interval_key(reading.start_s, reading.end_s)) in wanted
        ]
        corrections = {
            one.reading_id: one
            for one in ReadingCorrection.objects.filter(batch=self.batch, reading__in=readings)
        }
        for reading in readings:
            if correction := corrections.get(reading.pk):
                correction.put_back(reading)
                correction.delete()
                reading.save()
        gone = [reading.pk for reading in readings if reading.pk not in corrections]
        Reading.objects.filter(pk__in=gone).delete()
        return len(corrections)

    def _put_once(self, block: Block) -> None:
        """Take in a block in which no interval stands twice."""
        stored = self._stored(int(block.start_s.min()), int(block.end_s.max()))
        place = stored.places_of(block.start_s, block.end_s)
        there = place >= 0
        missing = block.kind == MISSING
        was_missing = np.zeros(len(block), dtype=bool)
        was_missing[there] = stored.kind[place[there]] == MISSING
        filling = ~missing & (
            ~there | was_missing
        )  # says something about a time of which nothing is known yet
        self._refuse_overlaps(block, stored, filling)

        good = np.ones(len(block), dtype=bool)
        good[list(block.why)] = False
        new = np.flatnonzero(good & ~there)
        if new.size:
            self._insert(block, new)
            self._touch(block, new)
            self.added += new.size
            self._tell(block, new, Became.NEW)
        known = np.flatnonzero(good & there)
        if known.size:
            self._compare(block, stored, known, place[known])
        self._reject(block)

    def _stored(self, start_s: int, end_s: int) -> Stored:
        """What is in the book for a span, with what this batch brought so far."""
        return Stored.between(self.batch.gauge_id, start_s, end_s)

    def _insert(self, block: Block, rows: IntArray) -> None:
        insert_readings(self.batch, block, rows)

    def _correct(self, block: Block, rows: IntArray, stored: Stored, places: IntArray) -> None:
        correct_readings(self.batch, block, rows, stored.pk[places])

    def _refuse_overlaps(self, block: Block, stored: Stored, filling: BoolArray) -> None:
        rows = np.flatnonzero(filling)
        hit = stored.overlapped(block.start_s[rows], block.end_s[rows])
        for row, place in zip(rows[hit >= 0], hit[hit >= 0], strict=True):
            block.why[int(row)] = _overlap(int(stored.start_s[place]), int(stored.end_s[place]))
        rows = rows[hit < 0]
        order = rows[np.argsort(block.start_s[rows], kind="stable")]
        if np.all(block.start_s[order[1:]] >= block.end_s[order[:-1]]):
            return
        taken: list[tuple[int, int]] = []
        for row in rows.tolist():  # in the order in which they arrived: the first one stands
            start_s, end_s = int(block.start_s[row]), int(block.end_s[row])
            at = bisect_left(taken, (end_s,))
            if at and taken[at - 1][1] > start_s:
                block.why[row] = _overlap(*taken[at - 1])
            else:
                insort(taken, (start_s, end_s))

    def _compare(self, block: Block, stored: Stored, rows: IntArray, places: IntArray) -> None:
        """Rows whose interval is known: the same again, or a correction."""
        here = stored.batch[places] == self.own
        self.repeated += int(here.sum())
        differs = (block.kind[rows] != stored.kind[places]) | (
            block.depth_um[rows] != stored.depth_um[places]
        )
        # A missing value does not take back a depth that somebody read.
        differs &= block.kind[rows] != MISSING
        if differs.any():
            self._correct(block, rows[differs], stored, places[differs])
            self._touch(block, rows[differs])
            self.corrected += int(differs.sum())
            self._tell(block, rows[differs], Became.CORRECTED)
        self.same += int((~differs).sum())
        self._known_again(block, rows[~differs], stored, places[~differs])
        self._tell(block, rows[~differs], Became.SAME)

    def _known_again(self, block: Block, rows: IntArray, stored: Stored, places: IntArray) -> None:
        """Nothing is to be written of what is known."""

    def _not_known_again(self, standing: Standing, rows: int) -> None:
        """Rows that said what stands already are refused after all; nothing was written of them."""

    def _touch(self, block: Block, rows: IntArray) -> None:
        start_s, end_s = int(block.start_s[rows].min()), int(block.end_s[rows].max())
        self.touched = [
            min([start_s, *self.touched[:1]]),
            max([end_s, *self.touched[1:]]),
        ]

    def _tell(self, block: Block, rows: IntArray, became: Became) -> None:
        if self.outcomes is not None:
            for line in block.line[rows].tolist():
                self.outcomes[line] = Outcome(became)

    def _reject(self, block: Block) -> None:
        if not block.why:
            return
        if self.outcomes is not None:
            for n, why in block.why.items():
                self.outcomes[int(block.line[n])] = Outcome(Became.REFUSED, why)
        self._list(
            [
                RejectedRow(
                    batch=self.batch,
                    line=int(block.line[n]),
                    text=block.text[n][:300],
                    why=why[:300],
                )
                for n, why in sorted(block.why.items())
            ]
        )

    def _write_rejected(self, rows: list[RejectedRow]) -> None:
        RejectedRow.objects.bulk_create(rows, batch_size=5000)

    def _list(self, rows: list[RejectedRow]) -> None:
        room = None if self.keep_rejected is None else max(self.keep_rejected - self.rejected, 0)
        self._write_rejected(rows[:room])
        self.rejected += len(rows)
        self.first_bad = sorted([*self.first_bad, *rows[:SHOWN_BAD]], key=lambda row: row.line)
        del self.first_bad[SHOWN_BAD:]


def _contradiction(line: int, end_s: int) -> str:
    return _("Line %(line)s gives another depth for the same time (until %(end)s).") % {
        "line": line,
        "end": moment_text(instant(end_s)),
    }


def _overlap(start_s: int, end_s: int) -> str:
    return _(
        "The time overlaps another reading, from %(start)s to %(end)s, without being the same."
    ) % {"start": moment_text(instant(start_s)), "end": moment_text(instant(end_s))}
