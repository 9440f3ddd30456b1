"""A storm at its gauges: what each measured, who was left out and why."""

from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from stewardship.rain.models import GaugeStorm
from tests import factory
from tests.front.storm_pages import START, page, text_of

pytestmark = pytest.mark.usefixtures("frozen_day")


def test_a_gauge_that_was_left_out_is_warned_of_at_the_top_and_named_at_each_site(
    cast, coordinator, storm
):
    gauge = factory.make_gauge("G5")
    for site in (cast.site, cast.other_site):
        rain = factory.make_site_rain(storm, site, gauge=gauge)
        rain.left_out = [{"gauge": "G1", "why": "one reading is missing"}]
        rain.save()
    far = factory.make_site_rain(storm, factory.make_site("FAR-1"), depth_in=None)
    far.left_out = [{"gauge": "", "why": "no gauge is near enough"}]
    far.save()
    html = text_of(page(coordinator, storm))
    assert html.count("The gauge Gauge G1 (G1) is left out: one reading is missing.") == 1
    assert html.count("without G1") == 2
    assert "without G1:" not in html  # why that is stands at the top
    assert html.count("no gauge is near enough") == 1
    assert "without :" not in html


def test_it_says_how_unusual_the_rain_was_and_which_part_is_representative(coordinator, storm):
    """40 CFR 122.21(g)(7)(ii): over 0.1 in, at least 72 h after the last one over 0.1 in."""
    assert "How unusual it was" not in page(coordinator, storm).content.decode()
    factory.make_frequency_table()
    earlier = factory.make_storm(START - timedelta(days=4), hours=1)
    part = GaugeStorm.objects.get(storm=storm)
    before = {"gauge": part.gauge, "storm": earlier, "depth_um": factory.um(0.2)}
    GaugeStorm.objects.create(start_s=earlier.start_s, end_s=earlier.end_s, **before)
    GaugeStorm.objects.filter(pk=part.pk).update(
        peak_5min_um=factory.um(0.1), peak_60min_um=factory.um(0.6)
    )
    text = text_of(page(coordinator, storm))
    assert "between a 1- and 2-year 60-minute rain" in text
    assert "fit for sampling" in text and "72 hours or more" in text
    assert "How unusual it was at G1 · Gauge G1" in text

    GaugeStorm.objects.filter(storm=earlier).update(end_s=part.start_s - 71 * 3600)
    assert "fit for sampling" not in page(coordinator, storm).content.decode()


def test_more_gauges_cost_no_more_queries(coordinator, storm):
    factory.make_frequency_table()

    def queries() -> int:
        with CaptureQueriesContext(connection) as seen:
            page(coordinator, storm)
        return len(seen)

    few = queries()
    for code in ("G2", "G3", "G4"):
        gauge = factory.make_gauge(code)
        factory.make_readings(gauge, START, factory.QUARTER, [0.2, 0.3, None, 0.12], found=True)
        span = {"start_s": storm.start_s, "end_s": storm.end_s, "depth_um": factory.um(0.4)}
        GaugeStorm.objects.create(gauge=gauge, storm=storm, peak_60min_um=span["depth_um"], **span)
    assert queries() == few


def test_the_gauges_table_says_how_hard_it_rained_and_how_long_it_had_been_dry(
    cast, coordinator, storm
):
    GaugeStorm.objects.filter(storm=storm).update(
        peak_15min_um=factory.um(0.3), peak_60min_um=factory.um(0.6), dry_before_s=30 * 3600
    )
    html = " ".join(page(coordinator, storm).content.decode().split())
    for words in ("0.30 in", "0.60 in", "30 h", "one reading is missing"):
        assert words in html
