"""Two requests of one machine at once, as a timed-out one and its repetition are. Only PostgreSQL can show it."""

from decimal import Decimal

import pytest
from django.db import connection

from stewardship.common.errors import Refused
from stewardship.rain.choices import GaugeKind
from stewardship.rain.models import Gauge, GaugeToken, Reading, ReadingBatch, ReadingCorrection
from stewardship.rain.services import (
    find_waiting_storms,
    make_reader_link,
    make_token,
    push_readings,
)
from tests import factory
from tests.api.conftest import row
from tests.care.test_concurrency import at_once

pytestmark = [
    pytest.mark.django_db(transaction=True),
    pytest.mark.skipif(connection.vendor == "sqlite", reason="one writer at a time"),
    pytest.mark.usefixtures("frozen_day"),
]


@pytest.fixture
def roof(db) -> Gauge:
    factory.make_program()
    return factory.make_gauge("roof", kind=GaugeKind.TIPPING)


def rows(depth: str = "0.01", hours: range = range(1, 24)) -> list:
    return [row(f"{hour:02}:00", step="PT1H", depth=Decimal(depth)) for hour in hours]


def test_a_request_and_its_repetition_at_once_are_written_once(roof):
    token, _secret = make_token(gauge=roof, label="Roof logger", by=None)
    pushed = []
    at_once(*[lambda: pushed.append(push_readings(token=token, rows=rows()))] * 3)
    assert Reading.objects.count() == 23
    assert sorted(one.batch.added for one in pushed) == [0, 0, 23]
    assert sum(one.batch.same for one in pushed) == 46
    assert not ReadingCorrection.objects.exists()


def test_pushes_of_several_spans_at_once_while_storms_are_found_lose_nothing(roof):
    token, _secret = make_token(gauge=roof, label="Roof logger", by=None)
    at_once(
        lambda: push_readings(token=token, rows=rows("0.1", range(1, 10))),
        lambda: push_readings(token=token, rows=rows("0.1", range(8, 17))),
        find_waiting_storms,
        lambda: push_readings(token=token, rows=rows("0.1", range(15, 24))),
    )
    find_waiting_storms()
    assert Reading.objects.count() == 23
    assert not ReadingBatch.objects.filter(storms_found_at=None).exists()


def test_corrections_at_once_leave_one_depth_and_the_history_of_the_others(roof):
    token, _secret = make_token(gauge=roof, label="Roof logger", by=None)
    push_readings(token=token, rows=rows("0.01", range(1, 2)))
    at_once(
        *[
            lambda depth=depth: push_readings(token=token, rows=rows(depth, range(1, 2)))
            for depth in ("0.02", "0.03", "0.04")
        ]
    )
    said = [*ReadingCorrection.objects.values_list("was_depth_um", flat=True)]
    assert sorted([*said, Reading.objects.get().depth_um]) == [254, 508, 762, 1016]


def test_a_token_and_a_link_asked_for_twice_at_once_are_made_once(roof):
    school = factory.make_gauge("school", kind=GaugeKind.DAILY)
    person = factory.make_person()
    school.readers.add(person)
    refused = []

    def once(make) -> None:
        try:
            make()
        except Refused as refusal:
            refused.append(str(refusal))

    at_once(*[lambda: once(lambda: make_token(gauge=roof, label="Roof", by=None))] * 3)
    at_once(*[lambda: once(lambda: make_reader_link(gauge=school, person=person, by=None))] * 3)
    assert GaugeToken.objects.count() == 1
    assert school.reader_links.count() == 1
    assert len(refused) == 4
