"""Readings written to the database many at a time."""

from collections.abc import Iterable
from itertools import repeat

import numpy as np
from django.db import connection
from django.utils import timezone

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
    """Give stored readings the depth of these rows, and keep what they said before; past the model layer, as inserting does."""
    readings, corrections = Reading._meta.db_table, ReadingCorrection._meta.db_table
    # SQLite's driver would write the moment in a form of its own.
    at = connection.ops.adapt_datetimefield_value(timezone.now())
    keys = pks.tolist()
    with connection.cursor() as cursor:
        cursor.executemany(
            f"INSERT INTO {corrections} (reading_id, was_kind, was_depth_um, was_typed, was_batch_id, batch_id, at) "  # noqa: S608
            f"SELECT id, kind, depth_um, typed, batch_id, %s, %s FROM {readings} WHERE id = %s",
            zip(repeat(batch.pk), repeat(at), keys),
        )
    say_otherwise(
        zip(
            [KINDS[place] for place in block.kind[rows].tolist()],
            [None if um == NO_DEPTH else um for um in block.depth_um[rows].tolist()],
            [block.typed[n] for n in rows.tolist()],
            repeat(batch.pk),
            keys,
        )
    )


def say_otherwise(rows: Iterable[tuple[str, int | None, str, int, int]]) -> None:
    """Let stored readings say something else: (kind, µm or None, as given, key of the batch, key of the reading) each."""
    with connection.cursor() as cursor:
        cursor.executemany(
            f"UPDATE {Reading._meta.db_table} SET kind = %s, depth_um = %s, typed = %s, batch_id = %s WHERE id = %s",  # noqa: S608
            rows,
        )
