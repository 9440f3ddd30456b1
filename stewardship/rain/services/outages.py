"""Write down that a gauge was out, and that it is back."""

from django.db import transaction
from django.db.models import Q
from django.utils import timezone
from django.utils.translation import gettext as _

from people.models import Program, User
from stewardship.common.errors import Refused
from stewardship.common.events import book_language
from stewardship.common.written import moment_text
from stewardship.rain.choices import GaugeChange
from stewardship.rain.models import Gauge, GaugeOutage, ReadingBatch
from stewardship.rain.reckoning.finding import find_in, widened
from stewardship.rain.reckoning.record import dry_gaps
from stewardship.rain.services.gauges import note_change
from stewardship.rain.services.storms import lock_gauges
from stewardship.rain.times import seconds


@transaction.atomic
def note_outage(
    *,
    gauge: Gauge,
    start_s: int,
    end_s: int | None,
    why: str,
    outage: GaugeOutage | None = None,
    by: User | None = None,
) -> GaugeOutage:
    """Write down that a gauge did not measure for a time (`end_s` None: still), and find the storms of that time again.

    With `outage` that one is changed, and the time it named before is looked at again too.

    Raises
    ------
    Refused
        No reason is given, it ends before it begins or in the future, or another outage of the gauge holds part of it.
    """
    now_s = seconds(timezone.now())
    if not why.strip():
        raise Refused(_("Say why."))
    if end_s is not None and end_s < start_s:
        raise Refused(_("The gauge cannot be back before it was out."))
    if max(start_s, end_s or start_s) > now_s:
        raise Refused(_("That is still to come. Write down what has happened."))
    lock_gauges()
    program = Program.get()
    outage = outage or GaugeOutage(gauge=gauge)
    _refuse_overlap(gauge, outage.pk, start_s, end_s)
    spans = [(outage.start_s, outage.end_s)] if outage.pk else []
    outage.start_s, outage.end_s, outage.why = start_s, end_s, why.strip()
    outage.save()
    with book_language(), timezone.override(program.tz):
        change = GaugeChange.OUT if outage.end_s is None else GaugeChange.BACK
        note_change(gauge, change, _in_words(outage), by=by)
        found_why = _("%s was out of order.") % gauge.code
    gaps = dry_gaps(program)
    for from_s, until_s in [*spans, (start_s, end_s)]:
        span = widened(from_s, max(from_s + 1, now_s if until_s is None else until_s), gaps)
        find_in(span, program=program, gaps=gaps, why=found_why)
        ReadingBatch.objects.filter(pk__in=[one.pk for one in span.batches]).update(
            storms_found_at=timezone.now()
        )
    return outage


def _refuse_overlap(gauge: Gauge, pk: int | None, start_s: int, end_s: int | None) -> None:
    """Outages of one gauge stand apart: two words for one time would have to be ended twice."""
    others = gauge.outages.exclude(pk=pk).filter(Q(end_s__isnull=True) | Q(end_s__gt=start_s))
    if end_s is not None:
        others = others.filter(start_s__lt=max(end_s, start_s + 1))
    other = others.first()
    if other is None:
        return
    facts = {
        "from": moment_text(other.start_at),
        "until": moment_text(other.end_at),
        "why": other.why,
    }
    if other.end_s is None:
        raise Refused(_("It has been out since %(from)s already: %(why)s.") % facts)
    raise Refused(
        _("It was out from %(from)s to %(until)s already: %(why)s. Change that one.") % facts
    )


def _in_words(outage: GaugeOutage) -> str:
    facts = {
        "start": moment_text(outage.start_at),
        "end": moment_text(outage.end_at),
        "why": outage.why,
    }
    if outage.end_s is None:
        return _("Out since %(start)s: %(why)s") % facts
    return _("Out from %(start)s to %(end)s: %(why)s") % facts
