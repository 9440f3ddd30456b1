"""Readings come in: from a file, typed by a reader, or made for the demo. One transaction each; nothing is half taken in."""

import gc
import os
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from datetime import datetime, timedelta
from typing import BinaryIO

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from people.models import Person, Program, User
from stewardship.common.errors import Refused
from stewardship.common.written import moment_text
from stewardship.rain.choices import BatchSource
from stewardship.rain.intake.blocks import (
    REPEATED_SHARE,
    REPEATS,
    Block,
    NewReading,
    blocks_of_readings,
    check,
    mark_totals,
    refuse_after,
    refuse_before,
    several_gauges,
)
from stewardship.rain.intake.csvfile import (
    SAMPLE_ROWS,
    encoding_and_digest,
    first_lines,
    opened,
    text_of,
)
from stewardship.rain.intake.layout import Wishes
from stewardship.rain.intake.storing import Outcome, Shelf
from stewardship.rain.intake.understanding import Understanding, understand
from stewardship.rain.models import Gauge, ReadingBatch
from stewardship.rain.times import CLOCK_SLACK_S, DAILY_SLACK_S, local_s, seconds

BLOCK_ROWS = 50_000

Progress = Callable[[int], None]


def import_file(
    *,
    gauge: Gauge,
    file_name: str,
    content: bytes | str | os.PathLike[str] | BinaryIO,
    wishes: Wishes | None = None,
    by: User | None = None,
    progress: Progress | None = None,
) -> ReadingBatch:
    """Take the readings of a CSV file into a gauge's record.

    Parameters
    ----------
    gauge : whose record.
    file_name : as the person knows the file.
    content : bytes, a path, or a seekable binary file. It is read in blocks, whatever its size.
    wishes : what the person says about the layout; the rest is found out.
    by : who brings it.
    progress : told the number of rows read after each block.

    Returns
    -------
    The batch, with its counts; bad rows are its `rejected_rows`, good ones wait for the storms to be found.

    Raises
    ------
    Refused : the file is empty, no table, has no time or depth that can be told, was imported before, holds several gauges, or
        has no good row. Then nothing is stored.
    """
    program = Program.get()
    with timezone.override(program.tz), opened(content) as file:
        encoding, digest = encoding_and_digest(file)
        found = look(file, encoding, gauge, wishes or Wishes(), program)
        digest.update(found.fingerprint(gauge).encode())
        reader = found.reader()
        with text_of(file, encoding) as text, transaction.atomic():
            batch = _take(
                gauge,
                (blocks[gauge] for _line, blocks in found.blocks(text, BLOCK_ROWS, reader)),
                batch=ReadingBatch(
                    gauge=gauge,
                    source=BatchSource.FILE,
                    file_name=os.path.basename(file_name)[:200],
                    sha256=digest.hexdigest(),
                    understood=found.words()[:400],
                    by=by,
                ),
                progress=progress,
            )
            if notes := reader.notes():
                batch.understood = " ".join([batch.understood, *notes])[:400]
                batch.save(update_fields=["understood"])
            return batch


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
            batch=ReadingBatch(gauge=gauge, source=source, by=by, by_person=by_person),
        )


def add_block(
    *, gauge: Gauge, block: Block, batch: ReadingBatch
) -> tuple[ReadingBatch, dict[int, Outcome]]:
    """Take in a block of readings and tell what became of each row, by its line. It is kept even if every row is refused."""
    outcomes: dict[int, Outcome] = {}
    with timezone.override(Program.get().tz):
        return _take(gauge, [block], batch=batch, outcomes=outcomes), outcomes


def look(
    file: BinaryIO, encoding: str, gauge: Gauge | None, wishes: Wishes, program: Program
) -> Understanding:
    """Find out from the first lines what a file is and whose readings it holds."""
    with text_of(file, encoding) as text:
        lines = first_lines(text, SAMPLE_ROWS)
    return understand(lines, gauge=gauge, wishes=wishes, program=program)


@transaction.atomic
def _take(
    gauge: Gauge,
    blocks: Iterable[Block],
    *,
    batch: ReadingBatch,
    progress: Progress | None = None,
    outcomes: dict[int, Outcome] | None = None,
) -> ReadingBatch:
    # One import per gauge at a time, and none while storms are being found.
    gauge = Gauge.objects.select_for_update().get(pk=gauge.pk)
    _refuse_known_file(batch)
    batch.save()
    shelf = Shelf(batch, outcomes=outcomes)
    now = timezone.now()
    zone = Program.get().tz
    since_s = local_s(gauge.started_on, zone)
    # An hour-stamped day begins before midnight and ends after: it is of the last day if it begins in it.
    end_s = 0 if gauge.ended_on is None else local_s(gauge.ended_on + timedelta(days=1), zone)
    # A daily reader may be early; the reading still stands for the day that ends at the gauge's hour. A machine's clock may go fast.
    early_s = CLOCK_SLACK_S if batch.source == BatchSource.PUSHED else 0
    if gauge.observation_hour is not None:
        early_s = DAILY_SLACK_S
    with _no_search_for_cycles():
        for block in blocks:
            mark_totals(block)
            check(block, now_s=seconds(now) + early_s)
            refuse_before(block, since=gauge.started_on, since_s=since_s)
            if gauge.ended_on is not None:
                refuse_after(block, last=gauge.ended_on, end_s=end_s)
            shelf.put(block)
            if progress is not None:
                progress(shelf.rows + shelf.skipped)
    if outcomes is None:
        _refuse_worthless(shelf)
    return _close(batch, shelf, now)


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


def _refuse_known_file(batch: ReadingBatch) -> None:
    known = (
        ReadingBatch.objects.filter(gauge=batch.gauge, sha256=batch.sha256).first()
        if batch.sha256
        else None
    )
    if known is not None:
        raise Refused(
            _("This file was imported for %(gauge)s on %(moment)s; nothing was changed.")
            % {"gauge": batch.gauge.code, "moment": moment_text(known.at)}
        )


def _refuse_worthless(shelf: Shelf) -> None:
    if shelf.repeated > max(REPEATS, REPEATED_SHARE * shelf.rows):
        raise Refused(several_gauges())
    if shelf.rows == 0:
        raise Refused(
            _("None of the %s rows is of this gauge.") % shelf.skipped
            if shelf.skipped
            else _("There are no readings in it.")
        )
    if shelf.rejected == shelf.rows:
        bad = shelf.first_bad
        if shelf.rows == 1:
            raise Refused(bad[0].why)
        said = [_("None of the %s rows could be taken in.") % shelf.rows]
        said += [
            _("Line %(line)s: %(why)s (%(text)s)")
            % {"line": row.line, "why": row.why, "text": row.text}
            for row in bad
        ]
        raise Refused("\n".join(said))


def _close(batch: ReadingBatch, shelf: Shelf, now: datetime) -> ReadingBatch:
    for name in ("added", "same", "corrected", "rejected", "skipped"):
        setattr(batch, name, getattr(shelf, name))
    if shelf.touched:
        batch.touched_start_s, batch.touched_end_s = shelf.touched
    else:
        batch.storms_found_at = now  # nothing new to find storms in
    batch.save()
    return batch
