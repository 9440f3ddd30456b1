"""Find what storms the readings make."""

import logging

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from people.models import Program
from stewardship.rain.models import Gauge, ReadingBatch
from stewardship.rain.reckoning.finding import Span, find_in, touched_by, widened
from stewardship.rain.reckoning.record import dry_gaps

logger = logging.getLogger(__name__)


def find_waiting_storms() -> int:
    """Find the storms of all readings that have come in since, and what they were at each site.

    Batches that have to do with each other are taken together, each such group in one transaction; one that fails is logged,
    waits, and does not keep the others back. Returns how many storms are new, changed or gone.
    """
    changed = 0
    tried: set[int] = set()
    while True:
        waiting = ReadingBatch.objects.filter(storms_found_at__isnull=True).exclude(pk__in=tried)
        first = waiting.order_by("at", "pk").values_list("pk", flat=True).first()
        if first is None:
            return changed
        tried.add(first)
        try:
            changed += _find_with(first)
        except Exception:
            logger.exception("Storms of reading batch %s could not be found.", first)


@transaction.atomic
def _find_with(batch_id: int) -> int:
    """Find the storms that one batch and those that belong with it touch."""
    lock_gauges()
    batch = (
        ReadingBatch.objects.select_related("gauge")
        .filter(pk=batch_id, storms_found_at__isnull=True)
        .first()
    )
    if batch is None:  # another worker was quicker
        return 0
    program = Program.get()
    gaps = dry_gaps(program)
    span = widened(*touched_by(batch), gaps)
    changed = find_in(span, program=program, gaps=gaps, why=_why(span))
    ReadingBatch.objects.filter(pk__in=[one.pk for one in span.batches]).update(
        storms_found_at=timezone.now()
    )
    return changed


def lock_gauges() -> None:
    """One at a time, and no import half-way: imports lock their gauge, this locks all, in one order."""
    list(Gauge.objects.select_for_update().order_by("pk").values_list("pk", flat=True))


def _why(span: Span) -> str:
    """What brought a revision about, in words."""
    came = sorted({batch.gauge.code for batch in span.batches if batch.added})
    corrected = sorted({batch.gauge.code for batch in span.batches if batch.corrected})
    said = []
    if came:
        said.append(_("Readings came in: %s.") % ", ".join(came))
    if corrected:
        said.append(_("Readings were corrected: %s.") % ", ".join(corrected))
    return " ".join(said)
