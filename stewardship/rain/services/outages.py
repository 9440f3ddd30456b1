"""Write down that a gauge was out."""

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from people.models import Program
from stewardship.common.errors import Refused
from stewardship.rain.models import Gauge, GaugeOutage, ReadingBatch
from stewardship.rain.reckoning.finding import find_in, widened
from stewardship.rain.reckoning.record import dry_gaps
from stewardship.rain.services.storms import lock_gauges
from stewardship.rain.times import seconds


@transaction.atomic
def note_outage(
    *, gauge: Gauge, start_s: int, end_s: int | None, why: str, outage: GaugeOutage | None = None
) -> GaugeOutage:
    """Write down that a gauge did not measure for a time (`end_s` None: still), and find the storms of that time again.

    With `outage` that one is changed, and the time it named before is looked at again too.
    """
    if end_s is not None and end_s < start_s:
        raise Refused(_("The gauge cannot be back before it was out."))
    lock_gauges()
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
