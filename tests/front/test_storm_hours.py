"""The hours of a storm at its gauges, as drawings and as tables."""

from datetime import date, timedelta
from xml.etree import ElementTree as ET

import pytest

from stewardship.rain.models import GaugeStorm
from tests import factory
from tests.front.storm_pages import START, SVG, by_code, has_part, page

pytestmark = pytest.mark.usefixtures("frozen_day")


def test_every_drawing_has_its_figures_as_a_table(cast, coordinator, storm):
    response = page(coordinator, storm)
    (record,) = response.context["records"]
    assert 'role="img"' in record.svg
    assert "no reading" in record.svg
    assert record.missing == 1
    assert [one.depth_um for one in record.intervals] == [5080, 7620, None, 3048]
    html = response.content.decode()
    assert "one reading is missing" in html
    assert "Tue 14 Jul, 4:15 p.m." in html


def test_a_daily_gauge_shows_its_whole_day(cast, coordinator, storm):
    daily = factory.make_gauge("D2", kind="daily")
    seven = factory.at(date(2026, 7, 14), "07:00")
    factory.make_readings(daily, seven, timedelta(days=1), [0.62], found=True)
    GaugeStorm.objects.create(
        gauge=daily,
        storm=storm,
        start_s=factory.seconds(seven),
        end_s=factory.seconds(seven) + 86_400,
        depth_um=factory.um(0.62),
        coarse=True,
    )
    records = {r.gauge.code: r for r in page(coordinator, storm).context["records"]}
    assert [one.start for one in records["D2"].intervals] == [seven]
    assert records["D2"].svg == ""  # one bar says no more than its number


def test_silence_of_a_gauge_that_reports_only_rain_is_dry(cast, coordinator, storm):
    bucket = factory.make_gauge("T3", kind="tipping", lists_dry=False)
    for hours in (0, 0.5, 0.75):
        factory.make_readings(
            bucket, START + timedelta(hours=hours), timedelta(minutes=5), [0.1], found=True
        )
    GaugeStorm.objects.create(
        gauge=bucket, storm=storm, start_s=storm.start_s, end_s=storm.end_s, depth_um=5080
    )
    records = {r.gauge.code: r for r in page(coordinator, storm).context["records"]}
    assert records["T3"].svg
    assert "no reading" not in records["T3"].svg


def test_a_gauge_with_two_parts_in_a_long_storm_is_one_line_with_both(cast, coordinator):
    gauge = factory.make_gauge()
    storm = factory.make_storm(START, hours=12)
    for hours, depth, peak in ((0, 0.3, 0.2), (10, 0.2, 0.15)):
        start = START + timedelta(hours=hours)
        factory.make_readings(gauge, start, factory.QUARTER, [depth / 4] * 4, found=True)
        start_s = factory.seconds(start)
        has_part(
            gauge, storm, depth, start_s=start_s, end_s=start_s + 3600, peak_15min_um=factory.um(peak)
        )  # fmt: skip
    (record,) = page(coordinator, storm).context["records"]
    assert record.depth_um == factory.um(0.5)
    assert record.peak_15min_um == factory.um(0.2)
    assert [one.kind for one in record.intervals] == [
        *["Measured"] * 4,
        "no reading",
        *["Measured"] * 4,
    ]
    assert record.svg.count("<svg") == 1


def test_all_drawings_of_a_page_share_one_scale(cast, coordinator, storm):
    """The same ticks on both axes, so that a slow rain looks slow beside a fast one."""
    slow = factory.make_gauge("SLOW")
    hour = timedelta(hours=1)
    factory.make_readings(slow, START - hour, hour, [0.02, 0.03, 0.02], found=True)
    start_s = storm.start_s - 3600
    has_part(slow, storm, 0.07, start_s=start_s, end_s=start_s + 3 * 3600)
    records = by_code(page(coordinator, storm))

    def ticks(svg: str) -> list[str]:
        words = [one.text or "" for one in ET.fromstring(svg).iter(f"{SVG}text")]
        return [one for one in words if one[0].isdigit()]

    assert ticks(records["SLOW"].svg) == ticks(records["G1"].svg)
    assert "in per hour, each bar 1 h" in records["SLOW"].svg
    assert "in per hour, each bar 15 min" in records["G1"].svg
    # 0.3 in of 15 minutes is 1.2 in per hour, which the axis of both reaches
    assert "1.00" in ticks(records["SLOW"].svg)
