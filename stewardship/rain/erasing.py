"""What gauges know of a person whose data are erased."""

from datetime import date
from typing import Any

from django.db.models import Q
from django.utils import timezone
from django.utils.translation import gettext as _

from people.erasure import Share, Subject
from stewardship.rain.models import Gauge, GaugeEvent, ReaderLink, ReadingBatch


def share(sender: Any, *, subject: Subject, on: date, **kwargs: Any) -> Share:
    found = Share()
    gauges = Gauge.objects.filter(readers__in=subject.keys).distinct()
    found.wipe(_("gauges that they read: their part in it, and their links"), gauges.count())
    batches = ReadingBatch.objects.filter(by_person__in=subject.keys)
    found.keep(
        _("readings that they handed in"),
        _("Rain on record; storms and duties were worked out from it."),
        batches.count(),
    )
    return found


def wipe(sender: Any, *, subject: Subject, on: date, by: Any, **kwargs: Any) -> None:
    gauges = list(Gauge.objects.filter(readers__in=subject.keys).distinct())
    for gauge in gauges:
        gauge.readers.remove(*subject.keys)
    ReaderLink.objects.live().filter(person__in=subject.keys).update(revoked_at=timezone.now())
    subject.scrub_rows(GaugeEvent.objects.all(), "why", about_them=Q(gauge__in=gauges))
