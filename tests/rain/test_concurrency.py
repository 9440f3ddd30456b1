"""Storms found by two workers at once, while readings come in and gauges go out. Only PostgreSQL can show it."""

from datetime import date, timedelta

import pytest
from django.db import connection
from django.utils import timezone

from stewardship.common.errors import Refused
from stewardship.rain.choices import BatchSource, ReadingKind
from stewardship.rain.models import (
    BasinWater,
    Gauge,
    GaugeOutage,
    GaugeStorm,
    Reading,
    ReadingBatch,
    SiteRain,
    Storm,
    StormRevision,
    StormSearch,
)
from stewardship.rain.services import (
    add_readings,
    carry_on_searches,
    find_again,
    find_waiting_storms,
    note_outage,
)
from tests import factory
from tests.care.test_concurrency import at_once
from tests.rain.pictures import picture

pytestmark = [
    pytest.mark.django_db(transaction=True),
    pytest.mark.skipif(connection.vendor == "sqlite", reason="one writer at a time"),
    pytest.mark.usefixtures("frozen_day"),
]

DAYS = [date(2026, 6, day) for day in range(1, 13)]
HOUR_S = 3_600


@pytest.fixture
def gauges(db) -> list[Gauge]:
    factory.make_program()
    for n in range(1, 4):
        factory.make_built_site(f"OAK-{n}", lat=factory.LAT + n / 500)
    return [factory.make_gauge(f"G{n}", lat=factory.LAT + n / 200) for n in range(1, 4)]


def rows(day: date, clock: str = "14:00", depth_um: int = 2_540) -> list[tuple]:
    start_s = factory.seconds(factory.at(day, clock))
    return [
        (start_s + n * HOUR_S, start_s + (n + 1) * HOUR_S, ReadingKind.MEASURED, depth_um, "0.1 in")
        for n in range(3)
    ]


def bring(gauge: Gauge, days: list[date], **how) -> None:
    for day in days:
        add_readings(gauge=gauge, rows=rows(day, **how), source=BatchSource.TYPED)


def worked_out_anew() -> dict[str, list]:
    """The picture of the same readings with everything that was worked out from them thrown away first."""
    for model in (BasinWater, SiteRain, GaugeStorm, StormRevision):
        model.objects.all().delete()
    Storm.objects.update(merged_into=None, split_from=None)
    Storm.objects.all().delete()
    ReadingBatch.objects.exclude(touched_start_s=None).update(storms_found_at=None)
    find_waiting_storms()
    return picture()


def check_nothing_lost_or_doubled() -> None:
    find_waiting_storms()
    carry_on_searches()
    assert not ReadingBatch.objects.filter(storms_found_at=None).exists()
    standing = list(Storm.objects.standing().order_by("start_s").values_list("start_s", "end_s"))
    assert all(after[0] > before[1] for before, after in zip(standing, standing[1:], strict=False))
    assert picture() == worked_out_anew()


def test_two_workers_find_the_same_storms_once(gauges):
    for gauge in gauges:
        bring(gauge, DAYS)
    at_once(find_waiting_storms, find_waiting_storms, find_waiting_storms)
    assert Storm.objects.count() == len(DAYS)
    assert set(Storm.objects.values_list("revision", flat=True)) == {1}
    assert StormRevision.objects.count() == len(DAYS)
    assert SiteRain.objects.count() == 3 * len(DAYS)
    check_nothing_lost_or_doubled()


def test_readings_that_come_in_while_storms_are_found_are_found_too(gauges):
    bring(gauges[0], DAYS)
    at_once(
        find_waiting_storms,
        lambda: bring(gauges[1], DAYS),
        find_waiting_storms,
        lambda: bring(gauges[2], DAYS, clock="16:00"),
        lambda: bring(gauges[0], DAYS, clock="18:00"),
    )
    assert Reading.objects.count() == 4 * 3 * len(DAYS)
    check_nothing_lost_or_doubled()


def test_the_same_readings_sent_twice_at_once_are_there_once(gauges):
    at_once(*[lambda: bring(gauges[0], DAYS)] * 3, find_waiting_storms)
    assert Reading.objects.count() == 3 * len(DAYS)
    assert sum(ReadingBatch.objects.values_list("added", flat=True)) == 3 * len(DAYS)
    check_nothing_lost_or_doubled()


def test_an_outage_noted_while_storms_are_found_counts_for_all_of_them(gauges):
    for gauge in gauges:
        bring(gauge, DAYS)

    def out() -> None:
        note_outage(
            gauge=gauges[0],
            start_s=factory.seconds(factory.at(DAYS[3])),
            end_s=factory.seconds(factory.at(DAYS[6])),
            why="no power",
        )

    at_once(find_waiting_storms, out, find_waiting_storms)
    assert GaugeOutage.objects.count() == 1
    during = Storm.objects.standing().overlapping(
        factory.seconds(factory.at(DAYS[3])), factory.seconds(factory.at(DAYS[6]))
    )
    assert during.exists()
    assert not GaugeStorm.objects.filter(gauge=gauges[0], storm__in=during).exists()
    check_nothing_lost_or_doubled()


def test_an_outage_that_two_people_note_at_once_is_there_once(gauges):
    refused = []

    def out() -> None:
        try:
            note_outage(
                gauge=gauges[0],
                start_s=factory.seconds(factory.at(DAYS[3])),
                end_s=None,
                why="no power",
            )
        except Refused as refusal:
            refused.append(str(refusal))

    at_once(out, out, out)
    assert GaugeOutage.objects.count() == 1
    assert len(refused) == 2


def test_storms_asked_for_again_are_done_once_while_others_are_found(gauges):
    for gauge in gauges[:2]:
        bring(gauge, DAYS)
    find_waiting_storms()
    by = factory.make_user("coordinator")
    find_again(
        start_s=factory.seconds(factory.at(date(2025, 6, 1))),
        end_s=factory.seconds(factory.at(DAYS[-1] + timedelta(days=1))),
        why="The places were wrong.",
        by=by,
    )
    gauges[0].places.update(lat=factory.LAT + 0.02)
    at_once(
        carry_on_searches,
        carry_on_searches,
        lambda: bring(gauges[2], DAYS),
        find_waiting_storms,
    )
    search = StormSearch.objects.get()
    assert search.done_at <= timezone.now()
    assert search.reached_s == search.end_s
    check_nothing_lost_or_doubled()
