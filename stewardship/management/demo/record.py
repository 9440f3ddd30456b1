"""Takes the invented rain into the book the way gauges and readers would, and lets the storms be found."""

from django.db.models import F
from django.utils import timezone

from stewardship.management.demo.days import Days
from stewardship.management.demo.readings import rows_of
from stewardship.management.demo.weather import showers
from stewardship.management.demo.where import Where
from stewardship.rain.choices import BatchSource
from stewardship.rain.models import ReadingBatch, SiteRain, StormRevision
from stewardship.rain.services import add_readings, find_waiting_storms
from stewardship.rain.times import instant


def load_rain(days: Days, where: Where) -> None:
    """Readings of every gauge, the storms in them, and what each was at each site that stood then.

    The care rules have not looked at it yet; what they made of it is told day by day in history.py.
    """
    rain = showers(days)
    for gauge, place in where.gauges:
        add_readings(gauge=gauge, rows=rows_of(place, rain, days), source=BatchSource.DEMO)
    find_waiting_storms()
    for batch in ReadingBatch.objects.all():
        assert batch.storms_found_at and not batch.rejected, batch
    days.backdate(ReadingBatch.objects.all(), days.at(days.ago(1), 8))
    for revision in StormRevision.objects.all():
        StormRevision.objects.filter(pk=revision.pk).update(made_at=instant(revision.end_s))
    SiteRain.objects.update(weighed_at=timezone.now(), weighed_um=F("depth_um"))
