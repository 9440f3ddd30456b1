"""Files that cannot be taken in, by command and by page: one clear sentence, and nothing stored."""

from datetime import date

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.core.management import CommandError, call_command
from django.urls import reverse

from stewardship.rain.choices import GaugeKind
from stewardship.rain.models import Reading, ReadingBatch, ReadingCorrection, RejectedRow
from tests import factory

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen_day")]

GOOD = b"time,rain\n2026-07-14 15:00,0.10\n2026-07-14 15:15,0.05\n"


def nothing_stored() -> bool:
    return not any(
        model.objects.exists() for model in (ReadingBatch, Reading, RejectedRow, ReadingCorrection)
    )


@pytest.mark.parametrize(
    ("content", "sentence"),
    [
        pytest.param(b"\n \n", "The file is empty.", id="blank lines only"),
        pytest.param(b"time,rain\n", "The file has a heading but no readings.", id="heading alone"),
        pytest.param(
            b"PK\x03\x04\x14\x00" + bytes(40),
            "The file is a spreadsheet or archive, not text. Save the table as CSV and take that file.",
            id="a workbook",
        ),
        pytest.param(
            b"%PDF-1.7 ...",
            "The file is a PDF, not a table. Ask for the readings as CSV.",
            id="a PDF",
        ),
        pytest.param(
            bytes(range(1, 9)) + b"\x00\x01\x02rain",
            "The file is not text. Readings come as CSV.",
            id="bytes",
        ),
        pytest.param(
            b"Dear all,\nit rained quite a bit\non Tuesday.\n",
            "The file is not a table: its lines are not divided by commas, semicolons, tabs or bars.",
            id="a letter",
        ),
        pytest.param(
            b"x" * 30_000,
            "The file is not a table: it has lines of more than 20,000 characters.",
            id="one endless line",
        ),
        pytest.param(
            b"plant,height,colour\nblue grama,12,green\nsage,30,grey\n",
            "No column looks like a time. The file has: plant, height, colour. Name the time column.",
            id="no time",
        ),
        pytest.param(
            b"time,temperature,wind\n2026-07-14 15:00,81,3\n2026-07-14 15:15,80,4\n",
            "No column looks like a depth of rain. The file has: time, temperature, wind. Name the depth column.",
            id="no depth",
        ),
        pytest.param(
            b"time,hourly rain,daily rain\n2026-07-14 15:00,0.1,0.2\n2026-07-14 16:00,0.1,0.3\n",
            "Several columns may hold the depth: hourly rain, daily rain. Name the depth column.",
            id="two depths",
        ),
        pytest.param(
            b"time,rain\n2026-07-14 15:00,0.1\n",
            "One reading alone does not say how long it lasted. Give the step, e.g. 15m or 1h.",
            id="no step",
        ),
        pytest.param(
            b"time,rain\n2026-07-14 15:00,lots\n2026-07-14 15:15,some\n",
            "None of the 2 rows could be taken in.\n"
            "Line 2: “lots” is not a depth. (2026-07-14 15:00, lots)\n"
            "Line 3: “some” is not a depth. (2026-07-14 15:15, some)",
            id="every row bad",
        ),
        pytest.param(
            b"time,rain\n2026-07-16 15:00,0.1\n2026-07-16 15:15,0.2\n",
            "None of the 2 rows could be taken in.\n"
            "Line 2: The reading ends Thu 16 Jul, 3 p.m., which is in the future. (2026-07-16 15:00, 0.1)\n"
            "Line 3: The reading ends Thu 16 Jul, 3:15 p.m., which is in the future. (2026-07-16 15:15, 0.2)",
            id="all in the future",
        ),
    ],
)
def test_a_file_that_is_no_table_of_rain_is_refused_in_one_sentence(door, content, sentence):
    gauge = factory.make_gauge()
    assert door(content, gauge) == sentence
    assert nothing_stored()


def test_an_empty_file_is_refused(door):
    assert door(b"", factory.make_gauge()) == "The file is empty."
    assert nothing_stored()


@pytest.mark.parametrize(
    ("options", "sentence"),
    [
        ({"time_column": "when"}, "There is no column “when”. The file has: time, rain."),
        ({"depth_column": "mm"}, "There is no column “mm”. The file has: time, rain."),
        ({"zone": "Denver"}, "“Denver” is not a time zone, e.g. America/Denver or -07:00."),
        ({"step": "often"}, "“often” is not a step of at most a day, e.g. 15m, 1h or 1d."),
        ({"step": "2d"}, "“2d” is not a step of at most a day, e.g. 15m, 1h or 1d."),
        ({"where": "gauge"}, "“gauge” does not say which rows; write column=value."),
        ({"where": "gauge=G1"}, "There is no column “gauge”. The file has: time, rain."),
        ({"where": "rain=9"}, "None of the 2 rows is of this gauge."),
    ],
)
def test_a_wish_that_does_not_fit_the_file_is_refused(door, options, sentence):
    assert door(GOOD, factory.make_gauge(), **options) == sentence
    assert nothing_stored()


def test_the_same_file_again_changes_nothing_and_says_when_it_came(door):
    gauge = factory.make_gauge()
    assert door(GOOD, gauge) == ""
    before = list(Reading.objects.values())
    assert (
        door(GOOD, gauge, file_name="again.csv")
        == "This file was imported for G1 on Wed 15 Jul, noon; nothing was changed."
    )
    assert list(Reading.objects.values()) == before
    assert ReadingBatch.objects.count() == 1


def test_the_same_file_is_welcome_for_another_gauge(door):
    door(GOOD, factory.make_gauge("G1"))
    assert door(GOOD, factory.make_gauge("G2")) == ""
    assert Reading.objects.count() == 4


def test_a_file_taken_in_with_the_wrong_unit_may_come_again_and_corrects(door):
    gauge = factory.make_gauge()
    door(GOOD, gauge)
    assert door(GOOD, gauge, unit="mm") == ""
    assert list(gauge.readings.values_list("depth_um", flat=True)) == [100, 50]
    kept = ReadingCorrection.objects.order_by("reading__start_s")
    assert [one.was_depth_um for one in kept] == [2540, 1270]


def test_a_file_of_several_gauges_is_refused_until_one_is_chosen(door):
    rows = [b"station,time,rain"]
    for station, depth in ((b"north", b"0.1"), (b"south", b"0.2")):
        rows += [b"%s,2026-07-14 %02d:00,%s" % (station, hour, depth) for hour in range(20)]
    content = b"\n".join(rows)
    gauge = factory.make_gauge()
    assert door(content, gauge) == (
        "The file gives the same times more than once, as if it held several gauges. "
        "Say which rows are of this one, as column=value."
    )
    assert nothing_stored()
    assert door(content, gauge, where="station=south") == ""
    assert set(gauge.readings.values_list("depth_um", flat=True)) == {5080}
    assert ReadingBatch.objects.get().skipped == 20


BAD_ROWS = [
    ("2026-07-14 15:15,-0.10", "“-0.10” is below zero; rain is not."),
    ("2026-07-14 15:15,a few drops", "“a few drops” is not a depth."),
    ('2026-07-14 15:15,"1,234.5"', "“1,234.5” is not a depth."),
    ("yesterday,0.10", "“yesterday” is not a time."),
    ("2026-02-30 15:15,0.10", "“2026-02-30 15:15” is not a time."),
    ("2026-07-14 25:15,0.10", "“2026-07-14 25:15” is not a time."),
    (
        "2026-07-15 12:15,0.10",
        "The reading ends Wed 15 Jul, 12:15 p.m., which is in the future.",
    ),
    (
        "2026-07-14 15:15,9",
        "9 in within 15 min is more than has ever been measured; look at the unit and the decimal point.",
    ),
    ("2026-07-14 15:15,999999999", "“999999999” is more than can fall."),
    ("2026-07-14 15:15", "The row has fewer columns than the heading."),
    ('2026-07-14 15:15,"0.10', "A quotation mark has no partner."),
    (
        "2026-07-14 15:07,0.10",
        "The time overlaps another reading, from Tue 14 Jul, 2:45 p.m. to Tue 14 Jul, 3 p.m., without being the same.",
    ),
    (
        "2026-03-08 02:30,0.10",
        "The clocks skipped 02:30 on 2026-03-08. If the gauge stays on standard time, name its zone, e.g. -07:00.",
    ),
]


@pytest.mark.parametrize(("row", "sentence"), BAD_ROWS)
def test_a_bad_row_is_listed_with_its_line_and_reason_and_good_rows_stay(door, row, sentence):
    gauge = factory.make_gauge()
    lines = ["time,rain", "2026-07-14 15:00,0.10", row, "2026-07-14 15:30,0.05"]
    assert door("\n".join(lines).encode(), gauge, step="15m") == ""
    batch = ReadingBatch.objects.get()
    assert (batch.added, batch.rejected) == (2, 1)
    assert list(gauge.readings.values_list("depth_um", flat=True)) == [2540, 1270]
    rejected = RejectedRow.objects.get()
    assert (rejected.line, rejected.why) == (3, sentence)
    assert rejected.text.replace(" ", "")[:10] == row.replace('"', "").replace(" ", "")[:10] or (
        row.count('"') == 1
    )


def test_an_unknown_gauge_is_answered_with_the_nearest_ones():
    for code in ("school", "depot", "firehouse"):
        factory.make_gauge(code)
    with pytest.raises(CommandError, match="There is no gauge “scool”. Did you mean school?"):
        call_command("import_readings", "some.csv", gauge="scool")


def test_an_unknown_gauge_on_the_page_is_refused_at_its_field(coordinator):
    response = coordinator.post(
        reverse("rain:import"), {"gauge": "99", "file": SimpleUploadedFile("a.csv", GOOD)}
    )
    assert list(response.context["form"].errors) == ["gauge"]
    assert nothing_stored()


def test_a_path_without_a_file_is_said_in_words():
    factory.make_gauge()
    with pytest.raises(CommandError, match="There is no file “nowhere.csv”."):
        call_command("import_readings", "nowhere.csv", gauge="G1")


def test_a_daily_reading_far_from_its_hour_is_not_taken_for_it(door):
    gauge = factory.make_gauge(kind=GaugeKind.DAILY)
    assert door(b"date,rain\n2026-07-13 07:10,0.1\n2026-07-14 16:20,0.2\n", gauge) == ""
    assert (
        RejectedRow.objects.get().why
        == "A daily reading at 16:20 does not fit the gauge’s hour, 7:00."
    )


def rejected() -> list[tuple[int, str]]:
    return list(RejectedRow.objects.values_list("line", "why"))


def same_time(line: int) -> str:
    return f"Line {line} gives another depth for the same time (until Tue 14 Jul, 3 p.m.)."


TWICE = ["time,rain", "2026-07-14 14:45,0.05", "2026-07-14 15:00,0", "2026-07-14 15:00,0.3"]


@pytest.mark.parametrize("block_rows", [50_000, 1])
@pytest.mark.parametrize("stored", [None, "0", "0.3", "0.1", "M"])
def test_rows_that_contradict_each_other_are_both_refused_whatever_is_stored(
    door, monkeypatch, stored, block_rows
):
    gauge = factory.make_gauge()
    if stored is not None:
        door(f"time,rain\n2026-07-14 15:00,{stored}\n".encode(), gauge, step="15m")
    before = list(Reading.objects.values())
    monkeypatch.setattr("stewardship.rain.intake.ingest.BLOCK_ROWS", block_rows)
    assert door("\n".join(TWICE).encode(), gauge, file_name="twice.csv", step="15m") == ""
    assert rejected() == [(3, same_time(4)), (4, same_time(3))]
    batch = ReadingBatch.objects.get(file_name="twice.csv")
    assert (batch.added, batch.same, batch.corrected, batch.rejected) == (1, 0, 0, 2)
    assert list(Reading.objects.exclude(batch=batch).values()) == before
    assert not ReadingCorrection.objects.exists()


@pytest.mark.parametrize("block_rows", [50_000, 2, 1])
def test_three_rows_for_one_time_are_refused_together_if_they_differ(door, monkeypatch, block_rows):
    monkeypatch.setattr("stewardship.rain.intake.ingest.BLOCK_ROWS", block_rows)
    content = "\n".join([*TWICE, "2026-07-14 15:00,0"]).encode()
    assert door(content, factory.make_gauge(), step="15m") == ""
    assert rejected() == [(3, same_time(4)), (4, same_time(3)), (5, same_time(4))]
    batch = ReadingBatch.objects.get()
    assert (batch.added, batch.same, batch.rejected) == (1, 0, 3)


def test_of_many_bad_rows_the_first_ten_are_named(door):
    lines = [f"2026-07-14 {hour:02}:00,-{hour}" for hour in range(1, 13)]
    said = door("\n".join(["time,rain", *lines]).encode(), factory.make_gauge()).splitlines()
    assert said[0] == "None of the 12 rows could be taken in."
    assert [line.split(":")[0] for line in said[1:]] == [f"Line {n}" for n in range(2, 12)]
    assert nothing_stored()


HOURS = "\n".join(["time,rain", *(f"2026-07-14 {hour:02}:00,0.12" for hour in range(5, 11))])


def test_an_hourly_file_is_not_taken_for_daily_readings(door):
    gauge = factory.make_gauge("porch", kind=GaugeKind.DAILY)
    assert door(HOURS.encode(), gauge) == (
        "The times in the file are mostly 1 h apart, and porch is read once a day. "
        "Is it the right gauge? If so, say how long one reading lasts, e.g. 15m, 1h or 1d."
    )
    assert nothing_stored()
    assert door(HOURS.encode(), gauge, step="1h") == ""
    assert gauge.readings.count() == 6


def test_rows_that_fall_on_the_same_day_are_named_as_such(door):
    gauge = factory.make_gauge("porch", kind=GaugeKind.DAILY)
    text = "time,rain\n2026-07-13 07:00,0\n2026-07-14 06:00,0.1\n2026-07-14 07:00,0.2\n"
    assert door(text.encode(), gauge, step="1d") == ""
    assert rejected() == [
        (3, "Line 4 gives another depth for the same time (until Tue 14 Jul, 7 a.m.)."),
        (4, "Line 3 gives another depth for the same time (until Tue 14 Jul, 7 a.m.)."),
    ]


def test_a_row_from_before_the_gauge_stood_there_is_refused(door):
    gauge = factory.make_gauge(started_on=date(2026, 7, 14))
    text = "time,rain\n2026-07-13 23:45,0.1\n2026-07-14 00:00,0.1\n2026-07-14 00:15,0.2\n"
    assert door(text.encode(), gauge) == ""
    sentence = "The gauge stands there since Tue 14 Jul."
    assert rejected() == [(2, sentence), (3, sentence)]


def test_a_day_after_the_twelfth_far_down_shows_that_dates_were_read_wrongly(door, monkeypatch):
    monkeypatch.setattr("stewardship.rain.intake.ingest.SAMPLE_ROWS", 5)
    lines = ["date,rain", *(f"{day:02}/07/2026,0.1" for day in range(1, 15))]
    content = "\n".join(lines).replace("/07/", "/03/").encode()
    gauge = factory.make_gauge()
    assert door(content, gauge) == (
        "“13/03/2026” does not fit the dates above it. Say how dates are written."
    )
    assert nothing_stored()
    assert door(content, gauge, dates="dmy") == ""
    assert gauge.readings.count() == 14
