"""Files in the shapes that loggers, spreadsheets and people make, and what is understood of them."""

from datetime import date, datetime
from zoneinfo import ZoneInfo

import pytest

from stewardship.rain.choices import DepthUnit, GaugeKind, ReadingKind
from stewardship.rain.intake.ingest import add_readings, import_file
from stewardship.rain.intake.layout import Wishes
from stewardship.rain.models import Gauge, ReadingBatch
from tests import factory

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen_day", "program")]

TUESDAY = date(2026, 7, 14)


def take(text: str | bytes, gauge: Gauge | None = None, **wishes: str) -> ReadingBatch:
    content = text.encode() if isinstance(text, str) else text
    return import_file(
        gauge=gauge or factory.make_gauge(),
        file_name="readings.csv",
        content=content,
        wishes=Wishes(**wishes),
    )


def rows(batch: ReadingBatch) -> list[tuple[str, str, str, int | None]]:
    """Start and end on the program's wall clock, kind, and µm."""
    zone = ZoneInfo("America/Denver")
    return [
        (
            f"{r.start_at.astimezone(zone):%m-%d %H:%M}",
            f"{r.end_at.astimezone(zone):%m-%d %H:%M}",
            r.kind,
            r.depth_um,
        )
        for r in batch.gauge.readings.order_by("start_s")
    ]


AT_THREE = [
    ("07-14 14:45", "07-14 15:00", ReadingKind.MEASURED, 2540),
    ("07-14 15:00", "07-14 15:15", ReadingKind.MEASURED, 1270),
]


@pytest.mark.parametrize(
    "text",
    [
        pytest.param("time,rain\n2026-07-14 15:00,0.10\n2026-07-14 15:15,0.05\n", id="plain"),
        pytest.param("time;rain\n2026-07-14 15:00;0,10\n2026-07-14 15:15;0,05\n", id="decimal comma"),
        pytest.param("time\train\n2026-07-14 15:00\t.10\n2026-07-14 15:15\t.05\n", id="tabs"),
        pytest.param("time|rain\n2026-07-14 15:00|0.1\n2026-07-14 15:15|0.05\n", id="bars"),
        pytest.param('"time","rain"\n"2026-07-14 15:00","0.10"\n"2026-07-14 15:15","0,05"\n', id="quoted"),
        pytest.param("time,rain\r\n2026-07-14T15:00:00,0.10\r\n2026-07-14T15:15:00,0.05\r\n", id="T and CRLF"),
        pytest.param("Date Time,Precip (in)\n7/14/2026 3:00 PM,0.10\n7/14/2026 3:15 PM,0.05\n", id="US, am/pm"),
        pytest.param("date,time,rain\n7/14/26,15:00,0.10\n7/14/26,15:15,0.05\n", id="two columns"),
        pytest.param("when was it,what\n14.07.2026 15:00,0.10\n14.07.2026 15:15,0.05\n", id="dots; names that say nothing"),
        pytest.param("2026-07-14 15:00,0.10\n2026-07-14 15:15,0.05\n", id="no heading"),
        pytest.param("time,rain\n2026-07-14T21:00:00Z,0.10\n2026-07-14T21:15:00Z,0.05\n", id="UTC"),
        pytest.param("time,rain\n2026-07-14 16:00-05:00,0.10\n2026-07-14 16:15-05:00,0.05\n", id="offset"),
        pytest.param("time,rain\n2026-07-14 15:15,0.05\n2026-07-14 15:00,0.10\n", id="newest first"),
        pytest.param("time,rain mm\n2026-07-14 15:00,2.54\n2026-07-14 15:15,1.27\n", id="mm in the heading"),
        pytest.param('time,rain\n2026-07-14 15:00,0.10 in\n2026-07-14 15:15,1.27mm\n', id="unit in the cell"),
        pytest.param("Logger 7,garden\nserial,0042\n\nTime stamp,Rain total\n2026-07-14 15:00,0.10\n2026-07-14 15:15,0.05\n", id="lines above the table"),
        pytest.param("time,temp,rain rate,rain,rain flag\n2026-07-14 15:00,81,0.4,0.10,\n2026-07-14 15:15,80,0.2,0.05,\n", id="other columns"),
        pytest.param("20260714 1500,0.10\n20260714 1515,0.05\n", id="digits run together"),
        pytest.param("time,rain\n14-Jul-2026 15:00,0.10\n14-Jul-2026 15:15,0.05\n", id="named month"),
    ],
)  # fmt: skip
def test_the_same_two_readings_are_understood_in_many_shapes(text):
    batch = take(text)
    assert rows(batch) == AT_THREE
    assert (batch.added, batch.rejected) == (2, 0)


@pytest.mark.parametrize("encoding", ["utf-8-sig", "utf-16", "cp1252"])
def test_byte_order_marks_and_older_encodings_are_read(encoding):
    text = "time,lluvia año,rain\n2026-07-14 15:00,x,0.10\n2026-07-14 15:15,x,0.05\n"
    assert rows(take(text.encode(encoding))) == AT_THREE


def test_a_trace_a_dry_time_and_a_missing_one_are_three_things():
    cells = ["T", "0", "0.00", "", "M", "-9999", "trace", "NA"]
    lines = [f"2026-07-14 {hour:02}:00,{cell}" for hour, cell in enumerate(cells, start=1)]
    kinds = [row[2:] for row in rows(take("time,rain\n" + "\n".join(lines)))]
    trace, dry, missing = (
        (ReadingKind.TRACE, 0),
        (ReadingKind.ZERO, 0),
        (ReadingKind.MISSING, None),
    )
    assert kinds == [trace, dry, dry, missing, missing, missing, trace, missing]


def test_what_was_typed_is_kept_with_its_unit():
    batch = take("time,rain\n2026-07-14 15:00,0.10\n2026-07-14 15:15,T\n2026-07-14 15:30,2 mm\n")
    typed = batch.gauge.readings.order_by("start_s").values_list("typed", flat=True)
    assert list(typed) == ["0.10 in", "T", "2 mm"]


def test_times_may_be_the_start_of_a_reading():
    text = "time,rain\n2026-07-14 14:45,0.10\n2026-07-14 15:00,0.05\n"
    batch = take(text, stamps="start")
    assert rows(batch) == AT_THREE
    assert batch.understood == (
        "Times from “time”, each the start of 15 min; depths from “rain” in inches."
    )


def test_the_step_is_the_usual_distance_of_the_times_even_where_hours_are_left_out():
    times = ["14:00", "14:10", "14:20", "18:00", "18:10"]
    batch = take("time,rain\n" + "\n".join(f"2026-07-14 {clock},0.01" for clock in times))
    assert {(r.end_s - r.start_s) for r in batch.gauge.readings.all()} == {600}


def test_a_single_row_takes_the_step_of_the_gauge():
    batch = take("time,rain\n2026-07-14 15:00,0.10\n2026-07-14 15:15,0.05\n")
    assert take("time,rain\n2026-07-14 15:30,0.01\n", batch.gauge).added == 1
    assert rows(batch)[-1][:2] == ("07-14 15:15", "07-14 15:30")


MONTH_FIRST, DAY_FIRST = ["03-04", "04-05"], ["04-03", "05-04"]


@pytest.mark.parametrize(
    ("units", "dates", "more", "days", "words"),
    [
        ("us", "", "", MONTH_FIRST, "month/day/year"),
        ("us", "", "13/05/2026,0.01\n", [*DAY_FIRST, "05-13"], "day/month/year"),
        ("us", "dmy", "", DAY_FIRST, "day/month/year"),
        ("metric", "", "", DAY_FIRST, "day/month/year"),
        ("metric", "", "05/13/2026,0.01\n", [*MONTH_FIRST, "05-13"], "month/day/year"),
        ("metric", "mdy", "", MONTH_FIRST, "month/day/year"),
    ],
)
def test_dates_go_by_the_programs_units_unless_a_day_or_a_person_says_otherwise(
    units, dates, more, days, words
):
    factory.make_program(units=units)
    text = f"date,rain\n03/04/2026,0.01\n04/05/2026,0.02\n{more}"
    batch = take(text, factory.make_gauge(kind=GaugeKind.DAILY), dates=dates)
    assert [row[1][:5] for row in rows(batch)] == days
    assert batch.understood.endswith(f". Dates read as {words}.")


def test_nothing_is_said_of_dates_that_can_be_read_one_way_only():
    assert "Dates" not in take("date,rain\n2026-03-04,0.1\n2026-03-05,0.1\n").understood


def test_columns_may_be_named_by_the_person():
    text = "a,b,c,d\n2026-07-14 15:00,1,0.10,2\n2026-07-14 15:15,3,0.05,4\n"
    assert rows(take(text, time_column="A", depth_column="c")) == AT_THREE
    text = "day,hour,x\n2026-07-14,14:45,0.10\n2026-07-14,15:00,0.05\n"
    batch = take(
        text,
        factory.make_gauge("G2"),
        time_column="day+hour",
        depth_column="x",
        stamps="start",
    )
    assert rows(batch) == AT_THREE


def test_rows_of_the_gauge_are_found_by_its_code():
    lines = ["station,time,rain"]
    for station, depth in (("G7", "0.20"), ("g1", "0.10")):
        lines += [f"{station},2026-07-14 {hour}:00,{depth}" for hour in range(10, 14)]
    batch = take("\n".join(lines))
    assert (batch.added, batch.skipped) == (4, 4)
    assert {row[3] for row in rows(batch)} == {2540}


# -- days and clocks -------------------------------------------------------------------------------------------
def test_a_daily_reading_is_the_day_that_ends_at_the_gauges_hour():
    """A reading dated D at 7 a.m. is the 24 h ending D 07:00: reference notes of volunteer observer networks; common practice."""
    gauge = factory.make_gauge(kind=GaugeKind.DAILY)
    batch = take("date,rain\n2026-07-13,0.10\n2026-07-14 06:40,T\n", gauge)
    assert rows(batch) == [
        ("07-12 07:00", "07-13 07:00", ReadingKind.MEASURED, 2540),
        ("07-13 07:00", "07-14 07:00", ReadingKind.TRACE, 0),
    ]


def test_a_daily_gauge_keeps_its_clock_hour_when_the_clocks_change():
    gauge = factory.make_gauge(kind=GaugeKind.DAILY)
    text = "date,rain\n" + "\n".join(
        f"{day},0.01"
        for day in ("2026-03-08", "2026-03-09", "2025-11-02", "2025-11-03", "2025-11-04")
    )
    lengths_h = [
        (r.end_s - r.start_s) / 3600 for r in take(text, gauge).gauge.readings.order_by("start_s")
    ]
    assert lengths_h == [25, 24, 24, 23, 24]


def test_dates_alone_at_an_automatic_gauge_are_calendar_days():
    batch = take("date,rain\n2026-07-12,0.10\n2026-07-13,0\n", stamps="start")
    assert rows(batch) == [
        ("07-12 00:00", "07-13 00:00", ReadingKind.MEASURED, 2540),
        ("07-13 00:00", "07-14 00:00", ReadingKind.ZERO, 0),
    ]


def test_the_hour_that_clocks_show_twice_is_read_twice():
    clocks = ["00:30", "01:00", "01:30", "01:00", "01:30", "02:00"]
    text = "time,rain\n" + "\n".join(f"2025-11-02 {clock},0.01" for clock in clocks)
    batch = take(text, step="30m")
    ends = [r.end_at for r in batch.gauge.readings.order_by("start_s")]
    zone = ZoneInfo("America/Denver")
    midnight = datetime(2025, 11, 2, tzinfo=zone).timestamp()
    assert [(end.timestamp() - midnight) / 1800 for end in ends] == [1, 2, 3, 4, 5, 6]
    backwards = take(
        "time,rain\n" + "\n".join(f"2025-11-02 {clock},0.01" for clock in reversed(clocks)),
        factory.make_gauge("G2"),
        step="30m",
    )
    assert [r.end_at for r in backwards.gauge.readings.order_by("start_s")] == ends


def test_the_hour_that_clocks_skip_has_no_readings_but_standard_time_has():
    lines = "time,rain\n" + "\n".join(f"2026-03-08 {clock},0.01" for clock in ("01:30", "02:00", "02:30", "03:00"))  # fmt: skip
    batch = take(lines)
    assert (batch.added, batch.rejected) == (2, 2)
    standard = take(lines, factory.make_gauge("G2"), zone="-07:00")
    assert (standard.added, standard.rejected) == (4, 0)


def test_a_measured_depth_over_several_days_is_a_total():
    text = "date,rain\n2026-07-10,0.10\n"
    gauge = factory.make_gauge(kind=GaugeKind.DAILY)
    batch = take(text, gauge)
    assert rows(batch)[0][2] == ReadingKind.MEASURED
    friday, monday = factory.at(date(2026, 7, 10), "07:00"), factory.at(date(2026, 7, 13), "07:00")
    add_readings(
        gauge=gauge,
        rows=[(factory.seconds(friday), factory.seconds(monday), ReadingKind.MEASURED, 900, "")],
        source="typed",
    )
    assert rows(batch)[1][2] == ReadingKind.MULTI_DAY


# -- again, corrected, overlapping ----------------------------------------------------------------------------
def test_a_longer_file_adds_what_is_new_and_knows_the_rest():
    batch = take("time,rain\n2026-07-14 15:00,0.10\n2026-07-14 15:15,0.05\n")
    again = take(
        "time,rain\n2026-07-14 15:00,0.1\n2026-07-14 15:15,0.07\n2026-07-14 15:30,0.02\n",
        batch.gauge,
    )
    assert (again.added, again.same, again.corrected) == (1, 1, 1)
    corrected = batch.gauge.readings.order_by("start_s")[1]
    assert (corrected.depth_um, corrected.typed, corrected.batch) == (1778, "0.07 in", again)
    kept = corrected.corrections.get()
    assert (kept.was_depth_um, kept.was_typed, kept.was_batch, kept.batch) == (
        1270,
        "0.05 in",
        batch,
        again,
    )


def test_a_missing_value_does_not_take_back_a_reading_but_a_reading_fills_a_missing_one():
    batch = take("time,rain\n2026-07-14 15:00,0.10\n2026-07-14 15:15,M\n")
    again = take("time,rain\n2026-07-14 15:00,M\n2026-07-14 15:15,0.05\n", batch.gauge)
    assert (again.same, again.corrected) == (1, 1)
    assert rows(batch) == AT_THREE


def test_a_total_may_stand_over_days_that_were_marked_missing():
    gauge = factory.make_gauge(kind=GaugeKind.DAILY)
    batch = take("date,rain\n2026-07-11,M\n2026-07-12,M\n", gauge)
    start, end = factory.at(date(2026, 7, 10), "07:00"), factory.at(date(2026, 7, 13), "07:00")
    total = (factory.seconds(start), factory.seconds(end), ReadingKind.MULTI_DAY, 900, "0.04 in")
    assert add_readings(gauge=gauge, rows=[total], source="typed").added == 1
    assert [row[2] for row in rows(batch)].count(ReadingKind.MISSING) == 2


def test_rows_of_one_file_are_compared_across_its_blocks(monkeypatch):
    monkeypatch.setattr("stewardship.rain.intake.ingest.BLOCK_ROWS", 3)
    times = [f"2026-07-14 {hour:02}:{minute:02}" for hour in range(5) for minute in (0, 15, 30, 45)]
    lines = [f"{time},0.01" for time in times]
    batch = take("time,rain\n" + "\n".join([*lines, "2026-07-14 00:00,0.01", "2026-07-14 04:00,9"]))
    assert (batch.added, batch.same, batch.rejected) == (20, 1, 1)
    assert batch.touched_start_s == batch.gauge.readings.order_by("start_s")[0].start_s


def test_inches_and_millimetres_are_exact():
    """1 in = 25.4 mm exactly: NIST SP 811 (2008), appendix B."""
    inches = take("time,rain in\n2026-07-14 15:00,0.01\n2026-07-14 15:15,1\n")
    assert [row[3] for row in rows(inches)] == [254, 25_400]
    gauge = factory.make_gauge("G2", unit=DepthUnit.MM)
    metric = take("time,rain\n2026-07-14 15:00,0.1\n2026-07-14 15:15,25.4\n", gauge)
    assert [row[3] for row in rows(metric)] == [100, 25_400]
