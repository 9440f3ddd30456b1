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

from people.models import Program, User
from stewardship.common.errors import Refused
from stewardship.common.written import US, moment_text
from stewardship.rain.choices import BatchSource, ReadingKind
from stewardship.rain.intake.blocks import (
    Block,
    BlockReader,
    NewReading,
    blocks_of_readings,
    check,
    mark_totals,
    refuse_after,
    refuse_before,
)
from stewardship.rain.intake.csvfile import (
    SAMPLE_ROWS,
    encoding_and_digest,
    find_delimiter,
    first_lines,
    opened,
    row_blocks,
    text_of,
)
from stewardship.rain.intake.csvfile import cut as cut_lines
from stewardship.rain.intake.layout import WHOLE_DAY, Layout, Wishes, find_layout
from stewardship.rain.intake.storing import Shelf
from stewardship.rain.models import Gauge, Reading, ReadingBatch
from stewardship.rain.times import DAILY_SLACK_S, LONGEST_DAY_S, local_s, seconds

BLOCK_ROWS = 50_000
#: More rows than this, and a larger share, for times that the file has already: it holds more than one gauge.
REPEATS, REPEATED_SHARE = 10, 0.01

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
        layout, delimiter = _look(file, encoding, gauge, wishes or Wishes(), program)
        digest.update(repr((layout, delimiter)).encode())
        reader = BlockReader(layout, gauge.observation_hour)
        with text_of(file, encoding) as text:
            rows = row_blocks(text, delimiter, skip=layout.skip, size=BLOCK_ROWS)
            return _take(
                gauge,
                (reader.read(block) for block in rows),
                batch=ReadingBatch(
                    gauge=gauge,
                    source=BatchSource.FILE,
                    file_name=os.path.basename(file_name)[:200],
                    sha256=digest.hexdigest(),
                    understood=layout.words()[:400],
                    by=by,
                ),
                progress=progress,
            )


def add_readings(
    *,
    gauge: Gauge,
    rows: Iterable[NewReading | tuple],
    source: str,
    by: User | None = None,
) -> ReadingBatch:
    """Take readings that are understood already into a gauge's record.

    Parameters
    ----------
    rows : (start_s, end_s, kind, depth_um, typed) each: seconds since 1970, a ReadingKind, µm or None, number as given.
    source : a BatchSource.

    Raises
    ------
    Refused : no row is good. Then nothing is stored; of several rows the bad ones are the batch's `rejected_rows`.
    """
    with timezone.override(Program.get().tz):
        blocks = blocks_of_readings(rows, BLOCK_ROWS)
        return _take(gauge, blocks, batch=ReadingBatch(gauge=gauge, source=source, by=by))


def _look(
    file: BinaryIO, encoding: str, gauge: Gauge, wishes: Wishes, program: Program
) -> tuple[Layout, str]:
    """Find out from the first rows how the file is laid out."""
    with text_of(file, encoding) as text:
        lines = first_lines(text, SAMPLE_ROWS)
    if not any(line.strip() for line in lines):
        raise Refused(_("The file is empty."))
    delimiter = find_delimiter(lines)
    last = (
        Reading.objects.filter(gauge=gauge, kind=ReadingKind.MEASURED).order_by("-start_s").first()
    )
    usual_s = None if last is None else last.end_s - last.start_s
    layout = find_layout(
        cut_lines(lines, delimiter, 1),
        wishes,
        gauge_code=gauge.code,
        gauge_unit=gauge.unit,
        daily_hour=gauge.observation_hour,
        zone=program.tz,
        month_first=program.units == US,
        usual_step_s=usual_s if usual_s is None or usual_s < LONGEST_DAY_S - 7200 else WHOLE_DAY,
    )
    return layout, delimiter


@transaction.atomic
def _take(
    gauge: Gauge,
    blocks: Iterable[Block],
    *,
    batch: ReadingBatch,
    progress: Progress | None = None,
) -> ReadingBatch:
    # One import per gauge at a time, and none while storms are being found.
    gauge = Gauge.objects.select_for_update().get(pk=gauge.pk)
    _refuse_known_file(batch)
    batch.save()
    shelf = Shelf(batch)
    now = timezone.now()
    zone = Program.get().tz
    since_s = local_s(gauge.started_on, zone)
    # An hour-stamped day begins before midnight and ends after: it is of the last day if it begins in it.
    end_s = 0 if gauge.ended_on is None else local_s(gauge.ended_on + timedelta(days=1), zone)
    # A daily reader may be early; the reading still stands for the day that ends at the gauge's hour.
    early_s = 0 if gauge.observation_hour is None else DAILY_SLACK_S
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
        raise Refused(
            _(
                "The file gives the same times more than once, as if it held several gauges. "
                "Say which rows are of this one, as column=value."
            )
        )
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
