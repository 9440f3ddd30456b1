"""How quantities and days read, in both systems and both languages."""

from datetime import UTC, date, datetime
from decimal import Decimal
from zoneinfo import ZoneInfo

import pytest
from django.utils import timezone, translation

from stewardship.common import written as w


@pytest.mark.parametrize(
    ("um", "us", "metric"),
    [
        (15_748, "0.62 in", "15.7 mm"),
        (254, "0.01 in", "0.3 mm"),
        (0, "0.00 in", "0.0 mm"),
        (25_400, "1.00 in", "25.4 mm"),
        (127, "0.01 in", "0.1 mm"),  # 0.005 in rounds half up
    ],
)
def test_rain_depth(um, us, metric):
    assert (w.depth_text(um, "us"), w.depth_text(um, "metric")) == (us, metric)


@pytest.mark.parametrize(
    ("m3", "us", "metric"),
    [(0.0038, "1.0 gal", "3.8 L"), (0.32, "85 gal", "320 L"), (4.7, "1,242 gal", "4.7 m³")],
)
def test_volume_of_water(m3, us, metric):
    assert (w.volume_text(m3, "us"), w.volume_text(m3, "metric")) == (us, metric)


def test_volume_of_silt_is_in_cubic_feet_or_litres():
    # A trap of 24 × 18 × 12 in holds 3.00 ft³ (arithmetic: 5184 cubic inches / 1728)
    m3 = Decimal(24 * 18 * 12) * Decimal("2.54") ** 3 / 1_000_000

    assert w.volume_text(m3, "us", bulk=True) == "3.0 ft³"
    assert w.volume_text(m3, "metric", bulk=True) == "85 L"


@pytest.mark.parametrize(
    ("m", "us", "metric"),
    [
        (0.0635, "2.5 in", "6.4 cm"),
        (1.5, "4.9 ft", "1.5 m"),
        (220, "722 ft", "220 m"),
        (2000, "1.2 mi", "2.0 km"),
    ],
)
def test_length(m, us, metric):
    assert (w.length_text(m, "us"), w.length_text(m, "metric")) == (us, metric)


def test_area():
    assert w.area_text(310, "us") == "3,337 ft²"
    assert w.area_text(310, "metric") == "310 m²"
    assert w.area_text(8094, "us") == "2.0 acres"
    assert w.area_text(25_000, "metric") == "2.5 ha"


@pytest.mark.parametrize(
    ("hours", "words"),
    [
        (0.25, "15 min"),
        (1, "1 h"),
        (1.4, "1 h 24 min"),
        (0.9999, "1 h"),
        (26.2, "26 h"),
        (96, "4.0 days"),
    ],
)
def test_spans(hours, words):
    assert w.hours_text(hours) == words


def test_spanish_writes_a_decimal_comma():
    with translation.override("es"):
        assert w.depth_text(15_748, "metric").startswith("15,7")


def test_a_day_shows_its_year_only_when_it_is_another():
    assert w.day_text(date(2026, 7, 14), today=date(2026, 11, 1)) == "Tue 14 Jul"
    assert w.day_text(date(2025, 7, 14), today=date(2026, 11, 1)) == "Mon 14 Jul 2025"


def test_a_moment_is_shown_in_the_zone_that_is_active(frozen_day):
    instant = datetime(2026, 7, 15, 3, 5, tzinfo=UTC)

    with timezone.override(ZoneInfo("America/Denver")):
        assert w.moment_text(instant) == "Tue 14 Jul, 9:05 p.m."


def test_what_is_not_known_has_no_text():
    assert w.depth_text(None, "us") is None
    assert w.volume_text(None, "us") is None
    assert w.length_text(None, "metric") is None
    assert w.area_text(None, "us") is None
    assert w.hours_text(None) is None
    assert w.day_text(None) is None
    assert w.moment_text(None) is None


@pytest.mark.parametrize(
    ("m", "us", "metric"),
    [
        (20, "under 0.1 mi", "under 0.1 km"),
        (445, "0.3 mi", "0.4 km"),
        (1609.344, "1.0 mi", "1.6 km"),
        (None, None, None),
    ],
)
def test_how_far_apart_places_are(m, us, metric):
    # 1 mile is 1609.344 m exactly: NIST SP 811, appendix B
    assert (w.far_text(m, "us"), w.far_text(m, "metric")) == (us, metric)
