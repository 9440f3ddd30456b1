"""Readings that a machine sends: what becomes of each, what is refused, and what the token lets in."""

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
    end_gauge,
    find_waiting_storms,
    make_token,
    withdraw_token,
)
from stewardship.rain.services.pushing import MOST_REJECTED_KEPT, MOST_REQUESTS, MOST_ROWS
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


# -- what is refused, row by row -------------------------------------------------------------------------------
@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        # units and depths
        ({"unit": "in"}, '“unit” is "in"; it may be [in_i] or mm.'),
        ({"unit": None}, "“unit” is missing; it may be [in_i] or mm."),
        ({"unit": ["mm"]}, '“unit” is ["mm"]; it may be [in_i] or mm.'),
        ({"depth": "0.12"}, '“depth” is "0.12", not a number.'),
        ({"depth": True}, "“depth” is true, not a number."),
        ({"depth": [0.12]}, '“depth” is ["0.12"], not a number.'),
        ({"depth": -0.01}, "“depth” is below zero; rain is not."),
        ({"depth": -9999}, "“depth” is below zero; rain is not."),
        ({"depth": 1e308}, "is more than can fall."),
        ({"depth": 90}, "90 in within 15 min is more than has ever been measured"),
        ({"depth": None}, "There is no depth. If nobody knows it, say “kind”: “missing”."),
        # kinds
        ({"kind": "drizzle"}, '“kind” is "drizzle"; it may be measured, zero, trace, missing,'),
        ({"kind": {}}, "“kind” is {}; it may be"),
        ({"kind": "zero"}, "A reading of kind “zero” has no depth."),
        ({"kind": "trace"}, "A reading of kind “trace” has no depth."),
        ({"kind": "missing"}, "A reading of kind “missing” has no depth."),
        ({"kind": "missing", "depth": 0}, "A reading of kind “missing” has no depth."),
        ({"kind": "multi_day"}, "A total of several days spans more than a day."),
        # times
        ({"end": None}, "“end” is missing"),
        ({"step": None}, "Give either “start” or “step”"),
        ({"start": "2026-07-14T15:00:00-06:00"}, "Give either “start” or “step”"),
        (
            {"end": "2026-07-14T15:15:00"},
            '“end” is "2026-07-14T15:15:00", without an offset: write Z or one as -06:00 behind it.',
        ),
        ({"end": "2026-07-14 15:15"}, "without an offset"),
        ({"end": "14/07/2026 15:15"}, "not a moment as 2026-07-14T15:15:00-06:00 is."),
        ({"end": 1784064900}, "“end” is 1784064900, not a moment"),
        ({"end": "2026-02-30T15:15:00Z"}, "which no calendar or clock shows."),
        ({"end": "2026-07-14T25:15:00Z"}, "which no calendar or clock shows."),
        ({"end": "2026-07-14T15:15:00+25:00"}, "which no calendar or clock shows."),
        ({"end": "2026-07-14T15:15:00.250Z"}, "readings keep whole seconds."),
        ({"end": "0001-01-01T00:00:00+23:59"}, "too far from now."),
        ({"end": "9999-12-31T23:59:59-23:59"}, "too far from now."),
        ({"end": "٢٠٢٦-07-14T15:15:00Z"}, "not a moment"),
        ({"step": "15 min"}, '“step” is "15 min", not a duration as PT15M is'),
        ({"step": "P1M"}, "not a duration"),
        ({"step": "P"}, "not a duration"),
        ({"step": 900}, "“step” is 900, not a duration"),
        ({"step": "PT0S"}, "The reading ends before or when it starts."),
        (
            {"step": None, "start": "2026-07-14T15:30:00-06:00"},
            "The reading ends before or when it starts.",
        ),
        ({"step": "P40D"}, "The reading spans more than 31 days."),
        ({"end": "2026-07-15T12:06:00-06:00"}, "which is in the future."),
        ({"end": "2022-12-31T12:00:00-07:00"}, "The gauge stands there since Sun 1 Jan 2023."),
        # anything else
        ({"dept": 0.12}, '"dept" is not known here; a reading has start, end, step, depth,'),
    ],
)
def test_a_bad_reading_is_refused_in_a_sentence(send, changes, sentence):
    answer = send([row(**changes), row("16:00")])
    assert results(answer) == ["refused", "new"]
    assert sentence in answer.json()["readings"][0]["reason"]
    assert Reading.objects.count() == 1


@pytest.mark.parametrize("said", ["NaN", "Infinity", "-Infinity"])
def test_what_is_no_number_in_json_spoils_its_own_reading_only(send, said):
    body = json.dumps({"readings": [row(), row("15:30")]}).replace("0.12", said, 1)
    answer = send(body=body)
    assert results(answer) == ["refused", "new"]
    assert answer.json()["readings"][0]["reason"] == f'“depth” is "{said}", not a number.'


@pytest.mark.parametrize(
    ("said", "became"),
    [
        ("9" * 5000, "refused"),
        ("1e9999999999", "refused"),
        ("1e99999999999999999999999", "refused"),
        ("0." + "1" * 5000, "new"),
        ("1e-9999999999", "new"),
        ("-0.0", "new"),
    ],
)
def test_numbers_of_any_length_are_read_or_refused(send, said, became):
    body = json.dumps({"readings": [row()]}).replace("0.12", said, 1)
    assert results(send(body=body)) == [became]


@pytest.mark.parametrize(
    "odd", [7, None, "reading", [], [[]], "\ud800", "\x00", {"end": "\x00"}, {"\ud800": 1}]
)
def test_what_is_no_reading_at_all_is_refused_and_listed(send, odd):
    answer = send([odd, row()])
    assert results(answer) == ["refused", "new"]
    assert ReadingBatch.objects.get().rejected_rows.get().line == 0


def test_a_huge_text_is_refused_shortly(send):
    answer = send([row(unit="m" * 500_000), row(end="2" * 500_000), row("16:00")])
    assert results(answer) == ["refused", "refused", "new"]
    assert len(answer.content) < 2_000


def test_a_clock_that_goes_a_little_fast_loses_nothing(send):
    assert results(send([row(end="2026-07-15T12:04:00-06:00")])) == ["new"]


def test_readings_that_overlap_others_are_refused_with_the_reason(send):
    send([row("15:15")])
    answer = send([row("15:20")])
    assert results(answer) == ["refused"]
    assert (
        "The time overlaps another reading, from Tue 14 Jul, 3 p.m."
        in (answer.json()["readings"][0]["reason"])
    )


def test_a_gauge_that_stands_no_more_takes_readings_of_its_days_only(send, roof):
    end_gauge(gauge=roof, on=date(2026, 7, 13), why="", by=None)
    answer = send([row(), row(end="2026-07-13T15:15:00-06:00")])
    assert results(answer) == ["refused", "new"]
    assert "its last day was Mon 13 Jul" in answer.json()["readings"][0]["reason"]


# -- what is refused as a whole --------------------------------------------------------------------------------
@pytest.mark.parametrize(
    ("body", "detail", "where"),
    [
        (b"", "The body is empty, or comes without a Content-Length.", None),
        (b"rain: 3", "The body is not JSON: Expecting value.", "line 1, column 1"),
        (
            b'{"readings": [\n{"end" "x"}]}',
            "The body is not JSON: Expecting ':' delimiter.",
            "line 2, column 8",
        ),
        (b'{"readings": [{"end": "x"', "The body is not JSON", "line 1, column 26"),
        ('{"readings": "é"}'.encode("latin-1"), "The body is not UTF-8.", "byte 14"),
        (b"[" * 100_000, "The body is nested too deeply to be readings.", None),
        (b"[]", "The body is an object with a list of “readings”", None),
        (b"null", "The body is an object with a list of “readings”", None),
        (b'{"rows": []}', "The body is an object with a list of “readings”", None),
        (b'{"readings": {}}', "The body is an object with a list of “readings”", None),
        (b'{"readings": []}', "There are no readings in it.", "readings"),
        (b'{"readings": [1], "gauge": "x"}', "has something else.", '"gauge"'),
    ],
)
def test_a_body_that_holds_no_readings_is_answered_with_what_and_where(send, body, detail, where):
    answer = send(body=body)
    assert answer.status_code == 422
    assert answer.headers["Content-Type"] == "application/problem+json"
    said = answer.json()
    assert (said["status"], said.get("where")) == (422, where)
    assert detail in said["detail"]
    assert not ReadingBatch.objects.exists()


def test_a_body_may_begin_with_a_byte_order_mark(send):
    assert results(send(body=b"\xef\xbb\xbf" + json.dumps({"readings": [row()]}).encode())) == [
        "new"
    ]


def test_more_readings_than_fit_in_one_request_are_refused_as_a_whole(send):
    start = factory.at(date(2026, 6, 1))
    rows = [
        row(end=(start + n * timedelta(minutes=5)).isoformat(), step="PT5M", depth=0)
        for n in range(MOST_ROWS + 1)
    ]
    answer = send(rows)
    assert answer.status_code == 413
    assert answer.json()["detail"] == ("There are 5,001 readings in it; one request takes 5,000.")
    assert not Reading.objects.exists()
    assert results(send(rows[1:])) == ["new"] * MOST_ROWS


def test_more_bytes_than_fit_in_one_request_are_refused_unread(send):
    answer = send(body=b" " * 2_000_001)
    assert answer.status_code == 413
    assert "more than 2,000,000 bytes" in answer.json()["detail"]


def test_a_token_used_too_often_waits_a_minute(send, frozen_day):
    for _n in range(MOST_REQUESTS):
        assert send([row()]).status_code == 200
    answer = send([row("15:30")])
    assert (answer.status_code, answer.headers["Retry-After"]) == (429, "60")
    assert "wait a minute" in answer.json()["detail"]
    frozen_day.shift(timedelta(seconds=61))
    assert results(send([row("15:30")])) == ["new"]


# -- who may -----------------------------------------------------------------------------------------------------
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
