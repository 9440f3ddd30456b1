"""Readings that a machine sends for one gauge."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import timedelta
from typing import Any

from django.db import transaction
from django.utils import timezone

from stewardship.rain.choices import BatchSource
from stewardship.rain.intake.ingest import add_block
from stewardship.rain.intake.pushed import block_of_rows
from stewardship.rain.intake.storing import Outcome
from stewardship.rain.models import GaugeToken, ReadingBatch
from stewardship.rain.services.tokens import note_use

MOST_ROWS = 5_000  # readings in one request: half a year of hours
#: Requests of one token in this time; a gauge that reports each minute needs fewer. Our default.
MOST_REQUESTS, REQUESTS_WITHIN = 60, timedelta(minutes=1)


class TooOften(Exception):
    """The token was used for many requests just now."""


@dataclass(frozen=True)
class Pushed:
    """What became of readings that were sent: their batch, and each row in the order in which they came."""

    batch: ReadingBatch
    outcomes: list[Outcome]


@transaction.atomic
def push_readings(*, token: GaugeToken, rows: Sequence[Any]) -> Pushed:
    """Take in what a machine sends for its gauge. Bad rows are refused by themselves; good ones are kept.

    The same interval with the same depth is known already, with another depth a correction, so a request may be repeated.

    Parameters
    ----------
    rows : parsed JSON, numbers as Decimal (see `intake.pushed`), at most MOST_ROWS.

    Raises
    ------
    TooOften : nothing is taken in.
    """
    now = timezone.now()
    if token.batches.filter(at__gt=now - REQUESTS_WITHIN).count() >= MOST_REQUESTS:
        raise TooOften
    batch, outcomes = add_block(
        gauge=token.gauge,
        block=block_of_rows(rows),
        batch=ReadingBatch(gauge=token.gauge, source=BatchSource.PUSHED, token=token),
    )
    note_use(token, at=now)
    return Pushed(batch, [outcomes[line] for line in range(len(rows))])
