"""What may be done with rain: take readings in, note that a gauge is out, find what storms the readings make."""

import logging

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from people.models import Program
from stewardship.common.errors import Refused
from stewardship.rain.finding import Span, find_in, touched_by, widened
from stewardship.rain.ingest import add_readings, import_file
from stewardship.rain.models import Gauge, GaugeOutage, ReadingBatch
from stewardship.rain.record import dry_gaps
from stewardship.rain.times import seconds

__all__ = ["add_readings", "find_waiting_storms", "import_file", "note_outage"]

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
    _lock_gauges()
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


def _lock_gauges() -> None:
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


@transaction.atomic
def note_outage(
    *, gauge: Gauge, start_s: int, end_s: int | None, why: str, outage: GaugeOutage | None = None
) -> GaugeOutage:
    """Write down that a gauge did not measure for a time (`end_s` None: still), and find the storms of that time again.

    With `outage` that one is changed, and the time it named before is looked at again too.
    """
    if end_s is not None and end_s < start_s:
        raise Refused(_("The gauge cannot be back before it was out."))
    _lock_gauges()
    outage = outage or GaugeOutage(gauge=gauge)
    spans = [(outage.start_s, outage.end_s)] if outage.pk else []
    outage.start_s, outage.end_s, outage.why = start_s, end_s, why
    outage.save()
    program = Program.get()
    gaps = dry_gaps(program)
    now_s = seconds(timezone.now())
    for from_s, until_s in [*spans, (start_s, end_s)]:
        span = widened(from_s, max(from_s + 1, now_s if until_s is None else until_s), gaps)
        find_in(span, program=program, gaps=gaps, why=_("%s was out of order.") % gauge.code)
        ReadingBatch.objects.filter(pk__in=[one.pk for one in span.batches]).update(
            storms_found_at=timezone.now()
        )
    return outage
