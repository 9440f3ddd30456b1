"""Readings that a machine sends and that are refused, by themselves or with the whole request."""

import json
from datetime import date, timedelta

import pytest

from stewardship.rain.models import Reading, ReadingBatch
from stewardship.rain.services import end_gauge
from stewardship.rain.services.pushing import MOST_ROWS
from tests import factory
from tests.api.conftest import results, row

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen_day")]


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
