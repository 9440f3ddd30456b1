"""Readings that a machine sends: what becomes of each, and what the token lets in."""

import json
from datetime import date, timedelta

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from stewardship.common.errors import Refused
from stewardship.rain.choices import BatchSource, GaugeKind, ReadingKind
from stewardship.rain.models import Reading, ReadingBatch, ReadingCorrection, Storm
from stewardship.rain.services import (
    find_waiting_storms,
    make_token,
    withdraw_token,
)
from stewardship.rain.services.pushing import MOST_REJECTED_KEPT, MOST_REQUESTS
from tests import factory
from tests.api.conftest import URL, results, row

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen_day")]


# -- what is taken in ------------------------------------------------------------------------------------------
def test_a_reading_is_written_down_and_answered(send, roof, made):
    answer = send([row()])
    assert answer.json() == {
        "gauge": "roof",
        "new": 1,
        "same": 0,
        "corrected": 0,
        "refused": 0,
        "readings": [{"index": 0, "result": "new"}],
    }
    reading = Reading.objects.get()
    assert (reading.kind, reading.depth_um, reading.typed) == ("measured", 3048, "0.12 in")
    assert reading.start_at == factory.at(date(2026, 7, 14), "15:00")
    assert reading.end_at == factory.at(date(2026, 7, 14), "15:15")
    batch = reading.batch
    assert (batch.gauge, batch.source, batch.token) == (roof, BatchSource.PUSHED, made[0])
    assert batch.brought_by == "Roof logger"


@pytest.mark.parametrize(
    ("changes", "kind", "depth_um"),
    [
        ({"depth": 1.8, "unit": "mm"}, ReadingKind.MEASURED, 1_800),
        ({"depth": 0}, ReadingKind.ZERO, 0),
        ({"depth": 0.0, "unit": "mm"}, ReadingKind.ZERO, 0),
        ({"depth": 0.12, "kind": "measured"}, ReadingKind.MEASURED, 3_048),
        ({"depth": None, "unit": None, "kind": "zero"}, ReadingKind.ZERO, 0),
        ({"depth": None, "unit": None, "kind": "trace"}, ReadingKind.TRACE, 0),
        ({"depth": 0, "kind": "trace"}, ReadingKind.TRACE, 0),
        ({"depth": None, "unit": None, "kind": "missing"}, ReadingKind.MISSING, None),
        ({"step": "P3D", "kind": "multi_day", "depth": 0.8}, ReadingKind.MULTI_DAY, 20_320),
        ({"step": "PT72H", "depth": 0.8}, ReadingKind.MULTI_DAY, 20_320),
    ],
)
def test_kinds_are_never_mixed_up(send, changes, kind, depth_um):
    assert results(send([row(**changes)])) == ["new"]
    reading = Reading.objects.get()
    assert (reading.kind, reading.depth_um) == (kind, depth_um)


@pytest.mark.parametrize(
    "changes",
    [
        {"end": "2026-07-14T21:15:00Z"},
        {"end": "2026-07-14t21:15:00z"},
        {"end": "2026-07-14T21:15:00.000+00:00"},
        {"end": "2026-07-14 15:15:00-06:00"},
        {"step": "PT900S"},
        {"step": "PT0H15M"},
        {"step": None, "start": "2026-07-14T15:00:00-06:00"},
        {"step": None, "start": "2026-07-14T23:00:00+02:00"},
    ],
)
def test_one_interval_in_many_spellings_is_one_reading(send, changes):
    send([row()])
    assert results(send([row(**changes)])) == ["same"]
    assert Reading.objects.count() == 1


def test_the_hour_that_comes_twice_in_autumn_is_two_hours(send):
    rows = [
        row(end="2025-11-02T01:30:00-06:00", depth=0.1),
        row(end="2025-11-02T01:30:00-07:00", depth=0.2),
    ]
    assert results(send(rows)) == ["new", "new"]
    first, second = Reading.objects.order_by("start_s")
    assert second.start_s - first.start_s == 3600


def test_a_request_sent_again_changes_nothing(send):
    rows = [row("15:15"), row("15:30", depth=0), row("15:45", kind="missing", depth=None)]
    assert results(send(rows)) == ["new"] * 3
    stored = list(Reading.objects.order_by("pk").values())
    assert results(send(rows)) == ["same"] * 3
    assert results(send(rows)) == ["same"] * 3
    assert list(Reading.objects.order_by("pk").values()) == stored
    assert not ReadingCorrection.objects.exists()


def test_another_depth_is_a_correction_that_keeps_the_old_one(send):
    send([row(depth=0.12)])
    assert results(send([row(depth=0.21), row("15:30")])) == ["corrected", "new"]
    correction = ReadingCorrection.objects.get()
    assert correction.was_depth_um == 3_048
    assert correction.reading.depth_um == 5_334


def test_missing_takes_back_no_depth(send):
    send([row()])
    assert results(send([row(depth=None, kind="missing")])) == ["same"]
    assert Reading.objects.get().depth_um == 3_048


def test_the_same_row_twice_in_a_request_is_one_reading(send):
    assert results(send([row(), row(), row(depth=3.048, unit="mm")])) == ["new", "same", "same"]
    assert Reading.objects.count() == 1


def test_two_depths_for_one_interval_in_a_request_are_both_refused(send):
    answer = send([row(depth=0.12), row("15:30"), row(depth=0.21)])
    assert results(answer) == ["refused", "new", "refused"]
    said = answer.json()["readings"]
    assert said[0]["reason"] == "Reading 2 of this request gives another depth for the same time."
    assert said[2]["reason"] == "Reading 0 of this request gives another depth for the same time."


def test_bad_rows_do_not_lose_good_ones_and_the_coordinator_sees_them(send, coordinator, roof):
    answer = send([row("15:15"), row("15:30", unit="in"), row("15:45", depth=-1), row("16:00")])
    assert results(answer) == ["new", "refused", "refused", "new"]
    assert {k: answer.json()[k] for k in ("new", "refused")} == {"new": 2, "refused": 2}
    batch = ReadingBatch.objects.get()
    shown = coordinator.get(f"/rain/batches/{batch.pk}/").content.decode()
    assert "“unit” is &quot;in&quot;; it may be [in_i] or mm." in shown


def test_a_request_in_which_every_row_is_bad_is_answered_row_by_row_too(send):
    answer = send([row(unit="in"), row(depth="0.12")])
    assert results(answer) == ["refused", "refused"]
    assert not Reading.objects.exists()
    batch = ReadingBatch.objects.get()
    assert (batch.rejected, batch.storms_found_at is None) == (2, False)


def test_of_a_machine_gone_wrong_the_first_bad_rows_of_a_day_are_listed_and_all_are_counted(
    send, coordinator, frozen_day
):
    def wrong(n: int) -> ReadingBatch:
        answer = send([row(unit="in")] * n + [row()])
        assert results(answer)[:n] == ["refused"] * n
        assert all("“unit”" in one["reason"] for one in answer.json()["readings"][:n])
        return ReadingBatch.objects.first()

    first, second, third = wrong(MOST_REJECTED_KEPT - 10), wrong(30), wrong(20)
    assert [one.rejected for one in (first, second, third)] == [MOST_REJECTED_KEPT - 10, 30, 20]
    assert [one.rejected_rows.count() for one in (first, second, third)] == [
        MOST_REJECTED_KEPT - 10,
        10,
        0,
    ]
    assert list(second.rejected_rows.values_list("line", flat=True)) == list(range(10))
    shown = coordinator.get(f"/rain/batches/{second.pk}/").content.decode()
    assert "20 rows that were not taken in are counted but not listed." in shown
    assert "counted but not listed" not in (
        coordinator.get(f"/rain/batches/{first.pk}/").content.decode()
    )
    frozen_day.shift(timedelta(hours=11, minutes=59))  # still the same day
    assert wrong(2).rejected_rows.count() == 0
    frozen_day.shift(timedelta(minutes=1))  # midnight in the program's town
    assert wrong(2).rejected_rows.count() == 2


def test_bad_rows_of_one_machine_leave_room_for_those_of_another(send, roof):
    send([row(unit="in")] * (MOST_REJECTED_KEPT + 1))
    _token, secret = make_token(gauge=roof, label="Second logger", by=None)
    send([row(unit="in")], token=secret)
    assert ReadingBatch.objects.first().rejected_rows.count() == 1


def test_storms_and_site_rain_come_from_what_was_sent(send, cast):
    send([row("15:15", depth=0.3), row("15:30", depth=0.32)])
    assert find_waiting_storms() == 1
    assert Storm.objects.get().greatest_um == factory.um(0.62)
    assert cast.site.rains.get().depth_um == factory.um(0.62)


# -- who may -----------------------------------------------------------------------------------------------------
def test_a_token_used_too_often_waits_a_minute(send, frozen_day):
    for _n in range(MOST_REQUESTS):
        assert send([row()]).status_code == 200
    answer = send([row("15:30")])
    assert (answer.status_code, answer.headers["Retry-After"]) == (429, "60")
    assert "wait a minute" in answer.json()["detail"]
    frozen_day.shift(timedelta(seconds=61))
    assert results(send([row("15:30")])) == ["new"]


def test_without_a_token_nothing_comes_in(made):
    answer = Client().post(URL, json.dumps({"readings": [row()]}), content_type="application/json")
    assert (answer.status_code, answer.headers["WWW-Authenticate"]) == (401, "Bearer")
    assert answer.json()["detail"] == (
        "Send the gauge’s token along, as “Authorization: Bearer …”."
    )
    assert not ReadingBatch.objects.exists()


@pytest.mark.parametrize("token", ["rillgauge_wrong", "", "x" * 5000, "\xe9"])
def test_an_unknown_token_lets_nothing_in_and_does_not_say_more(send, token):
    answer = send([row()], token=token)
    assert answer.status_code == 401
    assert "not known here, or it was withdrawn" in answer.json()["detail"]
    assert not ReadingBatch.objects.exists()


def test_a_token_that_was_withdrawn_is_shut_at_once(send, made):
    send([row()])
    assert withdraw_token(token=made[0], by=None)
    assert send([row("15:30")]).status_code == 401
    assert Reading.objects.count() == 1


def test_a_token_is_asked_for_before_the_body_is_looked_at(send):
    assert send(body=b" " * 2_000_001, token="rillgauge_wrong").status_code == 401


def test_a_token_lets_in_readings_of_its_own_gauge_only(send, roof):
    yard = factory.make_gauge("yard", kind=GaugeKind.TIPPING)
    _token, secret = make_token(gauge=yard, label="Yard logger", by=None)
    assert send([row()], token=secret).json()["gauge"] == "yard"
    assert Reading.objects.get().gauge == yard


def test_a_log_in_is_no_token(coordinator, made):
    answer = coordinator.post(
        URL, json.dumps({"readings": [row()]}), content_type="application/json"
    )
    assert answer.status_code == 401


def test_a_token_opens_no_page(made, client):
    headers = {"Authorization": f"Bearer {made[1]}"}
    assert client.get("/rain/gauges/", headers=headers).status_code == 302
    assert client.get("/api/readings/1", headers=headers).status_code == 404


def test_when_a_token_was_last_used_is_noted_now_and_then(send, made, frozen_day):
    token = made[0]
    send([row()])
    token.refresh_from_db()
    first = token.last_used_at
    assert first == factory.at(factory.TODAY)
    frozen_day.shift(timedelta(minutes=1))
    send([row()])
    token.refresh_from_db()
    assert token.last_used_at == first
    frozen_day.shift(timedelta(minutes=5))
    send([row()])
    token.refresh_from_db()
    assert token.last_used_at > first


def test_a_push_asks_the_database_as_often_for_many_rows_as_for_few(send):
    def queries(rows) -> int:
        with CaptureQueriesContext(connection) as seen:
            send(rows)
        return len(seen)

    start = factory.at(date(2026, 6, 1))

    def quiet(first: int, n: int) -> list:
        return [
            row(end=(start + (first + k) * timedelta(minutes=5)).isoformat(), step="PT5M", depth=0)
            for k in range(n)
        ]

    queries(quiet(0, 2))
    assert queries(quiet(10, 2)) == queries(quiet(100, 900))


def test_a_gauge_that_is_read_by_hand_has_no_token(program):
    school = factory.make_gauge("school", kind=GaugeKind.DAILY)
    with pytest.raises(Refused, match="school is read by hand. Give its readers links."):
        make_token(gauge=school, label="Logger", by=None)
