"""Odd readings, as the sweep finds them."""

from datetime import date, timedelta

import pytest

from stewardship.rain.choices import GaugeKind, SuspicionKind
from stewardship.rain.models import ReadingBatch, Suspicion
from stewardship.rain.services import check_gauges
from stewardship.rain.tasks import sweep_gauges
from tests import factory
from tests.rain.odd_gauges import (
    DAY,
    FIRST,
    MISSED,
    NEAR,
    RAIN,
    STUCK_SINCE,
    STUCK_UNTIL,
    mornings,
    page,
    stuck_gauge,
)

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen_day")]


# -- found -----------------------------------------------------------------------------------------------------
def test_a_stuck_gauge_is_found_with_its_time_and_its_figures(stuck):
    assert (stuck.gauge.code, stuck.kind) == ("G1", SuspicionKind.STUCK)
    assert stuck.start_at == factory.at(FIRST + 90 * DAY, "08:00")  # 7:00 by the winter's clock
    assert stuck.end_at == factory.at(FIRST + 118 * DAY, "08:00")
    assert stuck.facts["days"] == 10
    assert stuck.facts["near_um"] == factory.um(MISSED)
    assert stuck.facts["gauges"] == ["G2", "G3"]


def test_good_gauges_are_left_alone(program):
    for code in ("G1", "G2", "G3"):
        mornings(code, RAIN)
    assert check_gauges() == 3
    assert not Suspicion.objects.exists()


def test_looking_again_finds_the_same_and_looks_only_at_what_is_new(stuck):
    assert check_gauges() == 0
    ReadingBatch.objects.update(checked_at=None)
    sweep_gauges()
    assert Suspicion.objects.get().pk == stuck.pk
    assert not ReadingBatch.objects.filter(checked_at__isnull=True).exists()


def test_a_neighbours_readings_make_its_neighbours_be_looked_at_too(program):
    stuck = [0 if STUCK_SINCE <= n < STUCK_UNTIL else depth for n, depth in enumerate(RAIN)]
    mornings("G1", stuck)
    assert check_gauges() == 1
    assert not Suspicion.objects.exists()  # nobody to compare it with
    mornings("G2", NEAR)
    assert check_gauges() == 2
    assert Suspicion.objects.get().gauge.code == "G1"


def test_what_the_readings_no_longer_show_goes_away(stuck):
    wet = stuck.gauge.readings.filter(start_s__gte=stuck.start_s - 7200, end_s__lte=stuck.end_s)
    for n, reading in enumerate(wet.order_by("start_s")):
        if n % 3 == 0:
            reading.kind, reading.depth_um = "measured", factory.um((n % 4 + 1) / 10)
            reading.save()
    ReadingBatch.objects.update(checked_at=None)
    check_gauges()
    assert not Suspicion.objects.exists()


def test_a_gauge_far_away_proves_nothing(program):
    stuck = [0 if STUCK_SINCE <= n < STUCK_UNTIL else depth for n, depth in enumerate(RAIN)]
    mornings("G1", stuck)
    mornings("G2", NEAR, lat=factory.LAT + 0.5)  # about 55 km
    check_gauges()
    assert not Suspicion.objects.exists()


def test_an_automatic_gauge_is_held_against_daily_neighbours(program):
    gauge = factory.make_gauge("G1", kind=GaugeKind.INTERVAL)
    steps = []
    for n in range(135):
        wet = n % 3 == 0 and not STUCK_SINCE <= n < STUCK_UNTIL
        steps += [0.05 if wet and 10 <= hour < 16 else 0 for hour in range(24)]
    factory.make_readings(gauge, factory.at(FIRST, "07:00"), timedelta(hours=1), steps, found=True)
    mornings("G2", NEAR)
    check_gauges()
    found = Suspicion.objects.get(kind=SuspicionKind.STUCK)
    assert found.gauge == gauge
    assert found.facts["days"] == 10


def test_one_gauge_that_fails_does_not_keep_the_others_back(program, monkeypatch, caplog):
    from stewardship.rain.services import suspicions

    stuck_gauge()
    sound = suspicions.suspicions_in

    def fails_for_two(gauge, **rest):
        if gauge.code == "G2":
            raise ArithmeticError
        return sound(gauge, **rest)

    monkeypatch.setattr(suspicions, "suspicions_in", fails_for_two)
    assert check_gauges() == 2
    assert Suspicion.objects.get().gauge.code == "G1"
    assert ReadingBatch.objects.get(checked_at__isnull=True).gauge.code == "G2"
    assert "G2 could not be looked through" in caplog.text


@pytest.mark.parametrize(
    ("depths", "kind", "said"),
    [
        ([0.1, 0.3, 2.6, 0.2], "rate", "2.60 in within 15 min: 30 % of the most"),
        (
            [*[0.03, 0.05, 0.02] * 30, 0, *[0.04] * 14],
            "streak",
            "14 wet readings one after another say 0.04 in.",
        ),
        (
            [0.1, 0.2, *[0.237] * 3, 0, 0.237, 0, 0.237, 0.2],
            "odd",
            "5 of 5 wet readings are no multiple of 0.01 in",
        ),
    ],
)
def test_odd_amounts_are_told_in_one_sentence(coordinator, depths, kind, said):
    gauge = factory.make_gauge()
    factory.make_readings(gauge, factory.at(date(2026, 7, 1)), factory.QUARTER, depths)
    check_gauges()
    assert Suspicion.objects.get().kind == kind
    assert said in page(coordinator)


def test_a_reader_who_writes_a_day_late_is_found(coordinator):
    own = [(n * 7) % 10 / 10 if n % 4 == 0 else 0 for n in range(135)]
    mornings("G1", [0, *own[:-1]])
    mornings("G2", own)
    mornings("G3", own)
    check_gauges()
    assert "when they are taken a day earlier" in page(coordinator)
