"""Readings written to the database many at a time."""

from collections.abc import Iterable
from itertools import repeat

import numpy as np
from django.db import connection

from stewardship.hydrology.units import IntArray
from stewardship.rain.intake.blocks import KINDS, NO_DEPTH, Block
from stewardship.rain.models import Reading, ReadingBatch, ReadingCorrection

_COLUMNS = ("gauge_id", "start_s", "end_s", "kind", "depth_um", "typed", "batch_id")


def _values(batch: ReadingBatch, block: Block, rows: IntArray) -> Iterable[tuple]:
    depth: list[int | None] = block.depth_um[rows].tolist()
    for n in np.flatnonzero(block.depth_um[rows] == NO_DEPTH):
        depth[n] = None
    whole = rows.size == len(block)
    return zip(
        repeat(batch.gauge_id),
        block.start_s[rows].tolist(),
        block.end_s[rows].tolist(),
        [KINDS[place] for place in block.kind[rows].tolist()],
        depth,
        block.typed if whole else [block.typed[n] for n in rows.tolist()],
        repeat(batch.pk),
    )


def insert_readings(batch: ReadingBatch, block: Block, rows: IntArray) -> None:
    """Insert rows of a block, past the model layer: a million model instances take half a minute, rows a few seconds."""
    table = Reading._meta.db_table
    names = ", ".join(_COLUMNS)
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            with cursor.copy(f"COPY {table} ({names}) FROM STDIN") as copy:
                for values in _values(batch, block, rows):
                    copy.write_row(values)
        else:
            cursor.executemany(
                f"INSERT INTO {table} ({names}) VALUES (%s, %s, %s, %s, %s, %s, %s)",  # noqa: S608
                _values(batch, block, rows),
            )


def correct_readings(batch: ReadingBatch, block: Block, rows: IntArray, pks: IntArray) -> None:
    """Give stored readings the depth of these rows, and keep what they said before."""
    for part in range(0, rows.size, 500):
        row_of = dict(
            zip(pks[part : part + 500].tolist(), rows[part : part + 500].tolist(), strict=True)
        )
        readings = list(Reading.objects.filter(pk__in=row_of))
        ReadingCorrection.objects.bulk_create(
            ReadingCorrection(
                reading=reading,
                was_kind=reading.kind,
                was_depth_um=reading.depth_um,
                was_typed=reading.typed,
                was_batch_id=reading.batch_id,
                batch=batch,
            )
            for reading in readings
        )
        for reading in readings:
            row = row_of[reading.pk]
            depth_um = int(block.depth_um[row])
            reading.kind = KINDS[block.kind[row]]
            reading.depth_um = None if depth_um == NO_DEPTH else depth_um
            reading.typed = block.typed[row]
            reading.batch = batch
        Reading.objects.bulk_update(readings, ["kind", "depth_um", "typed", "batch"])
