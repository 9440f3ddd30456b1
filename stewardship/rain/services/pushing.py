"""Readings that a machine sends for one gauge."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, time, timedelta
from typing import Any

from django.db import transaction
from django.db.models import Sum
from django.utils import timezone

from people.models import Program
from stewardship.rain.choices import BatchSource
from stewardship.rain.intake.ingest import add_block
from stewardship.rain.intake.pushed import block_of_rows
from stewardship.rain.intake.storing import Outcome
from stewardship.rain.models import Gauge, GaugeToken, ReadingBatch
from stewardship.rain.services.tokens import note_use

MOST_ROWS = 5_000  # readings in one request: half a year of hours
#: Requests of one token in this time; a gauge that reports each minute needs fewer. Our default.
MOST_REQUESTS, REQUESTS_WITHIN = 60, timedelta(minutes=1)
#: Bad rows of one token that are kept in a day; all are counted and answered. A day of 5-min readings has 288: one that is wrong
#: throughout is kept whole, while a machine gone wrong, which could send 300,000 a minute, fills no disk. Our default.
MOST_REJECTED_KEPT = 500


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

    Of the bad rows of a token, the first MOST_REJECTED_KEPT of a day are kept to be looked at; all are counted.
    The same interval with the same depth is known already, with another depth a correction, so a request may be repeated.

    Parameters
    ----------
    rows : parsed JSON, numbers as Decimal (see `intake.pushed`), at most MOST_ROWS.

    Raises
    ------
    TooOften : nothing is taken in.
    """
    now = timezone.now()
    # One request of a gauge at a time, so that each sees what the one before it used up.
    gauge = Gauge.objects.select_for_update().get(pk=token.gauge_id)
    if token.batches.filter(at__gt=now - REQUESTS_WITHIN).count() >= MOST_REQUESTS:
        raise TooOften
    batch, outcomes = add_block(
        gauge=gauge,
        block=block_of_rows(rows),
        batch=ReadingBatch(gauge=gauge, source=BatchSource.PUSHED, token=token),
        keep_rejected=max(0, MOST_REJECTED_KEPT - _rejected_today(token, now)),
    )
    note_use(token, at=now)
    return Pushed(batch, [outcomes[line] for line in range(len(rows))])


def _rejected_today(token: GaugeToken, now: datetime) -> int:
    zone = Program.get().tz
    today = datetime.combine(now.astimezone(zone), time(), tzinfo=zone)
    sent = token.batches.filter(at__gte=today)
    return sent.aggregate(rejected=Sum("rejected", default=0))["rejected"]
