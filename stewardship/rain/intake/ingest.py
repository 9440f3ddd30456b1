"""Readings come in: from a file, typed by a reader, or made for the demo. One transaction each; nothing is half taken in."""

import gc
import hashlib
import os
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from typing import BinaryIO

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from people.models import Person, Program, User
from stewardship.common.errors import Refused
from stewardship.common.planner import MANY_ROWS, many_came_in
from stewardship.common.written import moment_text
from stewardship.rain.choices import BatchSource
from stewardship.rain.intake.blocks import (
    REPEATED_SHARE,
    REPEATS,
    Block,
    NewReading,
    blocks_of_readings,
    several_gauges,
)
from stewardship.rain.intake.csvfile import (
    SAMPLE_ROWS,
    encoding_and_digest,
    first_lines,
    opened,
    text_of,
)
from stewardship.rain.intake.gate import Gate
from stewardship.rain.intake.layout import Wishes
from stewardship.rain.intake.storing import SHOWN_BAD, Outcome, Shelf
from stewardship.rain.intake.understanding import Understanding, understand
from stewardship.rain.models import Gauge, Reading, ReadingBatch, ReadingFile

BLOCK_ROWS = 50_000

Progress = Callable[[int], None]


@dataclass(frozen=True)
class FileAtHand:
    """A file that was opened and understood, ready to be read from the top."""

    found: Understanding
    content: BinaryIO
    encoding: str
    digest: "hashlib._Hash"

    def fingerprint(self, gauge: Gauge) -> str:
        """SHA-256 of the bytes and of how a gauge's readings are read from them: the same again is the same import."""
        digest = self.digest.copy()
        digest.update(self.found.fingerprint(gauge).encode())
        return digest.hexdigest()


@contextmanager
def at_hand(
    content: bytes | str | os.PathLike[str] | BinaryIO,
    *,
    gauge: Gauge | None,
    wishes: Wishes,
    program: Program,
) -> Iterator[FileAtHand]:
    """Open a file and find out what it is. Refuses what is no table of rain."""
    with opened(content) as file:
        encoding, digest = encoding_and_digest(file)
        found = look(file, encoding, gauge, wishes, program)
        yield FileAtHand(found, file, encoding, digest)


def import_file(
    *,
    gauge: Gauge,
    file_name: str,
    content: bytes | str | os.PathLike[str] | BinaryIO,
    wishes: Wishes | None = None,
    by: User | None = None,
    progress: Progress | None = None,
) -> ReadingBatch:
    """Take the readings of a file into one gauge's record; see `import_several`."""
    return import_several(
        gauge=gauge, file_name=file_name, content=content, wishes=wishes, by=by, progress=progress
    )[0]


def import_several(
    *,
    gauge: Gauge | None,
    file_name: str,
    content: bytes | str | os.PathLike[str] | BinaryIO,
    wishes: Wishes | None = None,
    by: User | None = None,
    file: ReadingFile | None = None,
    progress: Progress | None = None,
) -> list[ReadingBatch]:
    """Take the readings of a file into the records of the gauges that it is of, all or none.

    Parameters
    ----------
    gauge : whose record; None: the file says it.
    file_name : as the person knows the file.
    content : bytes, a path, or a seekable binary file. It is read in blocks, whatever its size.
    wishes : what the person says about the layout; the rest is found out.
    by : who brings it.
    file : the upload that it comes from.
    progress : told the number of lines read after each block.

    Returns
    -------
    One batch for each gauge of which the file says something new to us, with its counts; bad rows are its `rejected_rows`, good
    ones wait for the storms to be found.

    Raises
    ------
    Refused : the file is empty, no table, has no time or depth that can be told, was imported before, holds several gauges where
        one is named, or has no good row. Then nothing is stored.
    """
    program = Program.get()
    with (
        timezone.override(program.tz),
        at_hand(content, gauge=gauge, wishes=wishes or Wishes(), program=program) as read,
        transaction.atomic(),
    ):
        # One import per gauge at a time, and none while storms are being found.
        keys = [one.pk for one in read.found.layouts]
        list(Gauge.objects.select_for_update().filter(pk__in=keys).order_by("pk"))
        shelves = {
            one: Shelf(
                ReadingBatch(
                    gauge=one,
                    source=BatchSource.FILE,
                    file=file,
                    file_name=os.path.basename(file_name)[:200],
                    sha256=read.fingerprint(one),
                    understood=read.found.words()[:400],
                    by=by,
                )
            )
            for one in read.found.layouts
        }
        refuse_known_file(shelves.values())
        for shelf in shelves.values():
            shelf.batch.save()
        now = timezone.now()
        notes = pour(read, shelves, now=now, progress=progress)
        refuse_worthless(shelves.values())
        batches = []
        for shelf in shelves.values():
            if shelf.rows:
                batches.append(_close(shelf.batch, shelf, now, notes))
            else:
                shelf.batch.delete()  # no row of the file is of this gauge
        return batches


def pour(
    read: FileAtHand,
    shelves: dict[Gauge, Shelf],
    *,
    now: datetime,
    progress: Progress | None = None,
    gates: dict[Gauge, Gate] | None = None,
) -> list[str]:
    """Read a whole file, block by block, through each gauge's gate onto its shelf. Returns what was met on the way, in words."""
    zone = Program.get().tz
    if gates is None:
        gates = {
            gauge: Gate(gauge, source=BatchSource.FILE, zone=zone, now=now) for gauge in shelves
        }
    reader = read.found.reader()
    with text_of(read.content, read.encoding) as text, _no_search_for_cycles():
        for line, blocks in read.found.blocks(text, BLOCK_ROWS, reader):
            for gauge, block in blocks.items():
                if gauge in shelves:
                    gates[gauge].check(block)
                    shelves[gauge].put(block)
            if progress is not None:
                progress(line - read.found.skip)
    return reader.notes()


def add_readings(
    *,
    gauge: Gauge,
    rows: Iterable[NewReading | tuple],
    source: str,
    by: User | None = None,
    by_person: Person | None = None,
) -> ReadingBatch:
    """Take readings that are understood already into a gauge's record.

    Parameters
    ----------
    rows : (start_s, end_s, kind, depth_um, typed) each: seconds since 1970, a ReadingKind, µm or None, number as given.
    source : a BatchSource.
    by, by_person : who brings them, by a log-in or by a link of theirs.

    Raises
    ------
    Refused : no row is good. Then nothing is stored; of several rows the bad ones are the batch's `rejected_rows`.
    """
    with timezone.override(Program.get().tz):
        blocks = blocks_of_readings(rows, BLOCK_ROWS)
        return _take(
            gauge,
            blocks,
            Shelf(ReadingBatch(gauge=gauge, source=source, by=by, by_person=by_person)),
        )


def add_block(
    *, gauge: Gauge, block: Block, batch: ReadingBatch, keep_rejected: int
) -> tuple[ReadingBatch, dict[int, Outcome]]:
    """Take in a block of readings and tell what became of each row, by its line. It is kept even if every row is refused.

    Of the rejected rows at most `keep_rejected` are kept; the batch counts them all.
    """
    outcomes: dict[int, Outcome] = {}
    shelf = Shelf(batch, keep_rejected=keep_rejected, outcomes=outcomes)
    with timezone.override(Program.get().tz):
        return _take(gauge, [block], shelf), outcomes


def look(
    file: BinaryIO, encoding: str, gauge: Gauge | None, wishes: Wishes, program: Program
) -> Understanding:
    """Find out from the first lines what a file is and whose readings it holds."""
    with text_of(file, encoding) as text:
        lines = first_lines(text, SAMPLE_ROWS)
    return understand(lines, gauge=gauge, wishes=wishes, program=program)


@transaction.atomic
def _take(gauge: Gauge, blocks: Iterable[Block], shelf: Shelf) -> ReadingBatch:
    gauge = Gauge.objects.select_for_update().get(pk=gauge.pk)
    batch = shelf.batch
    batch.save()
    now = timezone.now()
    gate = Gate(gauge, source=batch.source, zone=Program.get().tz, now=now)
    with _no_search_for_cycles():
        for block in blocks:
            gate.check(block)
            shelf.put(block)
    if shelf.outcomes is None:
        refuse_worthless([shelf])
    return _close(batch, shelf, now, [])


@contextmanager
def _no_search_for_cycles() -> Iterator[None]:
    """A block is a hundred thousand small lists without cycles; Python's search for cycles among them would double the time."""
    was_on = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was_on:
            gc.enable()


def refuse_known_file(shelves: Iterable[Shelf]) -> None:
    """Refuse a file that was taken in before just so, for any of its gauges."""
    for shelf in shelves:
        batch = shelf.batch
        known = ReadingBatch.objects.filter(
            gauge=batch.gauge, sha256=batch.sha256, undone_at__isnull=True
        ).first()
        if known is not None:
            raise Refused(
                _("This file was imported for %(gauge)s on %(moment)s; nothing was changed.")
                % {"gauge": batch.gauge.code, "moment": moment_text(known.at)}
            )


def refuse_worthless(shelves: Iterable[Shelf]) -> None:
    """Refuse a file of which nothing could be taken in, or that gives the same times again and again."""
    shelves = list(shelves)
    if any(shelf.repeated > max(REPEATS, REPEATED_SHARE * shelf.rows) for shelf in shelves):
        raise Refused(several_gauges())
    rows = sum(shelf.rows for shelf in shelves)
    skipped = max(shelf.skipped for shelf in shelves)
    if rows == 0:
        raise Refused(
            _("None of the %s rows is of this gauge.") % skipped
            if skipped
            else _("There are no readings in it.")
        )
    if sum(shelf.rejected for shelf in shelves) == rows:
        bad = sorted((row for shelf in shelves for row in shelf.first_bad), key=lambda r: r.line)
        if rows == 1:
            raise Refused(bad[0].why)
        said = [_("None of the %s rows could be taken in.") % rows]
        said += [
            _("Line %(line)s: %(why)s (%(text)s)")
            % {"line": row.line, "why": row.why, "text": row.text}
            for row in bad[:SHOWN_BAD]
        ]
        raise Refused("\n".join(said))


def _close(batch: ReadingBatch, shelf: Shelf, now: datetime, notes: list[str]) -> ReadingBatch:
    for name in ("added", "same", "corrected", "rejected", "skipped"):
        setattr(batch, name, getattr(shelf, name))
    if notes:
        batch.understood = " ".join([batch.understood, *notes])[:400]
    if shelf.touched:
        batch.touched_start_s, batch.touched_end_s = shelf.touched
    else:
        batch.storms_found_at = now  # nothing new to find storms in
    batch.save()
    if batch.added >= MANY_ROWS:
        many_came_in(Reading)
    return batch
