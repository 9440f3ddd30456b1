"""Rain pages: lists, a gauge, an import and what became of it, a typed reading."""

from datetime import date, timedelta

import pytest
import time_machine
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from stewardship.rain.choices import BatchSource, GaugeKind, ReadingKind
from stewardship.rain.models import Reading, ReadingBatch
from stewardship.rain.services import find_waiting_storms, note_outage
from tests import factory
from tests.cast import Cast

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen_day")]


def page(browser: Client, name: str, *args, **query) -> str:
    response = browser.get(reverse(name, args=args), query)
    assert response.status_code == 200
    return response.getvalue().decode()


def queries(browser: Client, name: str, *args) -> int:
    with CaptureQueriesContext(connection) as seen:
        page(browser, name, *args)
    return len(seen)


def make_rain(gauge, day: date, *depths_in: float) -> None:
    factory.make_readings(gauge, factory.at(day, "15:00"), timedelta(minutes=15), depths_in)
    find_waiting_storms()


# -- lists -----------------------------------------------------------------------------------------------------
def test_the_storm_list_leaves_small_ones_out_until_asked(coordinator):
    gauge = factory.make_gauge()
    make_rain(gauge, date(2026, 7, 10), 0.05, 0.04)
    make_rain(gauge, date(2026, 7, 14), 0.31)
    shown = page(coordinator, "rain:storms")
    assert "0.31 in" in shown
    assert "0.09 in" not in shown
    assert "0.09 in" in page(coordinator, "rain:storms", small="on")


def test_the_storm_list_can_be_narrowed_to_days(coordinator):
    gauge = factory.make_gauge()
    make_rain(gauge, date(2026, 7, 10), 0.25)
    make_rain(gauge, date(2026, 7, 14), 0.31)
    shown = page(coordinator, "rain:storms", since="2026-07-11")
    assert "0.31 in" in shown
    assert "0.25 in" not in shown
    shown = page(coordinator, "rain:storms", until="2026-07-13")
    assert "0.25 in" in shown
    assert "0.31 in" not in shown
    assert "Enter a valid date" in page(coordinator, "rain:storms", since="soon")


def test_the_storm_list_counts_gauges_and_sites(coordinator, cast):
    for n in (1, 2):
        make_rain(factory.make_gauge(f"G{n}"), date(2026, 7, 14), 0.3)
    shown = page(coordinator, "rain:storms", _export="csv")
    assert shown.splitlines()[1].split(",")[2:5] == ["7.62", "2", "2"]


def test_lists_ask_the_database_as_often_for_many_rows_as_for_few(coordinator):
    gauge = factory.make_gauge()
    make_rain(gauge, date(2026, 7, 1), 0.3)
    page(coordinator, "rain:storms")
    few = queries(coordinator, "rain:storms"), queries(coordinator, "rain:gauges")
    for n in range(2, 8):
        make_rain(factory.make_gauge(f"G{n}"), date(2026, 7, n), 0.3)
    assert (queries(coordinator, "rain:storms"), queries(coordinator, "rain:gauges")) == few


def test_the_gauge_list_says_which_gauge_is_out(coordinator):
    gauge = factory.make_gauge("DEAD")
    factory.make_gauge("GONE", ended_on=date(2026, 1, 1))
    note_outage(gauge=gauge, start_s=0, end_s=None, why="knocked over")
    shown = page(coordinator, "rain:gauges")
    assert "out of order: knocked over" in shown
    assert "stands no more" in shown


# -- a gauge ---------------------------------------------------------------------------------------------------
def test_a_gauges_page_shows_its_year_and_how_complete_it_is(coordinator):
    gauge = factory.make_gauge()
    factory.make_readings(
        gauge,
        factory.at(date(2026, 6, 1), "00:00"),
        timedelta(hours=24),
        [0.3, 0, None, 0.12, *[0] * 26],
    )
    shown = page(coordinator, "rain:gauge", "G1")
    assert "0.42 in" in shown
    assert "97 %" in shown  # 29 of 30 days of June
    assert "nothing" in shown
    assert "<svg" in shown
    assert "June 2026" in shown


def test_a_gauges_page_shows_outages_batches_and_readings(coordinator):
    gauge = factory.make_gauge()
    factory.make_readings(gauge, factory.at(date(2026, 7, 14), "15:00"), timedelta(hours=1), ["T"])
    note_outage(
        gauge=gauge,
        start_s=factory.seconds(factory.at(date(2026, 7, 14), "18:00")),
        end_s=None,
        why="knocked over by a dog",
    )
    shown = page(coordinator, "rain:gauge", "G1")
    assert "knocked over by a dog" in shown
    assert "Trace" in shown
    assert reverse("rain:batch", args=[ReadingBatch.objects.get().pk]) in shown


def test_an_unknown_gauge_has_no_page(coordinator):
    assert coordinator.get(reverse("rain:gauge", args=["nowhere"])).status_code == 404


# -- an import -------------------------------------------------------------------------------------------------
def upload(browser: Client, gauge, text: str, **wishes: str):
    return browser.post(
        reverse("rain:import"),
        {"gauge": gauge.pk, "file": SimpleUploadedFile("july.csv", text.encode()), **wishes},
        follow=True,
    )


def test_an_imported_file_has_a_page_that_says_what_became_of_every_row(coordinator, cast):
    gauge = factory.make_gauge()
    text = "time,rain\n2026-07-14 15:00,0.10\n2026-07-14 15:15,-4\n2026-07-14 15:30,0.05\n"
    shown = upload(coordinator, gauge, text).content.decode()
    assert "july.csv" in shown
    assert "Times from “time”, each the end of 15 min; depths from “rain” in inches." in shown
    assert "“-4” is below zero; rain is not." in shown
    assert "Rosa Lind" in shown
    assert "are being found" in shown
    batch = ReadingBatch.objects.get()
    assert (batch.added, batch.rejected, batch.by) == (2, 1, cast.coordinator)
    find_waiting_storms()
    assert "are being found" not in page(coordinator, "rain:batch", batch.pk)
    export = page(coordinator, "rain:batch", batch.pk, _export="csv")
    assert export.splitlines()[1].startswith("3,")


def test_corrections_are_shown_with_what_was_said_before(coordinator):
    gauge = factory.make_gauge()
    upload(coordinator, gauge, "time,rain\n2026-07-14 15:00,0.10\n2026-07-14 15:15,T\n")
    text = "time,rain\n2026-07-14 15:00,0.20\n2026-07-14 15:15,0.01\n"
    shown = upload(coordinator, gauge, text).content.decode()
    assert "0.10 in" in shown
    assert "0.20 in" in shown


def test_a_refused_file_keeps_what_was_typed(coordinator):
    gauge = factory.make_gauge()
    response = upload(coordinator, gauge, "nothing here", where="station=7", step="15m")
    shown = response.content.decode()
    assert response.status_code == 200
    assert 'value="station=7"' in shown
    assert 'value="15m"' in shown
    assert f'<option value="{gauge.pk}" selected>' in shown
    assert not ReadingBatch.objects.exists()


def test_the_import_page_opens_with_the_gauge_one_came_from(coordinator):
    gauge = factory.make_gauge("G7")
    assert f'<option value="{gauge.pk}" selected>' in page(coordinator, "rain:import", gauge="G7")


# -- a typed reading -------------------------------------------------------------------------------------------
@pytest.fixture
def school(cast: Cast):
    gauge = factory.make_gauge("school", kind=GaugeKind.DAILY)
    gauge.readers.add(cast.reader.person)
    return gauge


@pytest.fixture
def reader(client_of) -> Client:
    return client_of("reader")


def type_in(browser: Client, gauge, amount: str, day: str = "2026-07-15", days: str = "1"):
    return browser.post(
        reverse("rain:reading_new"),
        {"gauge": gauge.pk, "day": day, "amount": amount, "days": days},
        follow=True,
    )


@pytest.mark.parametrize(
    ("typed", "kind", "depth_um", "said"),
    [
        ("0.62", ReadingKind.MEASURED, 15_748, "0.62 in"),
        ("0,62", ReadingKind.MEASURED, 15_748, "0.62 in"),
        (".5", ReadingKind.MEASURED, 12_700, "0.50 in"),
        ("12 mm", ReadingKind.MEASURED, 12_000, "0.47 in"),
        ("0", ReadingKind.ZERO, 0, "Dry"),
        ("T", ReadingKind.TRACE, 0, "Trace"),
        ("t", ReadingKind.TRACE, 0, "Trace"),
        ("M", ReadingKind.MISSING, None, "Missing"),
    ],
)
def test_a_reader_writes_down_this_morning(reader, school, cast, typed, kind, depth_um, said):
    shown = type_in(reader, school, typed).content.decode()
    assert f"school, Wed 15 Jul: {said} is written down. Thank you." in shown
    reading = Reading.objects.get()
    assert (reading.kind, reading.depth_um) == (kind, depth_um)
    assert reading.start_at == factory.at(date(2026, 7, 14), "07:00")
    assert reading.end_at == factory.at(date(2026, 7, 15), "07:00")
    assert (reading.batch.source, reading.batch.by) == (BatchSource.TYPED, cast.reader)


def test_a_total_of_several_days_is_kept_as_one(reader, school):
    type_in(reader, school, "0.8", day="2026-07-13", days="3")
    reading = Reading.objects.get()
    assert reading.kind == ReadingKind.MULTI_DAY
    assert reading.start_at == factory.at(date(2026, 7, 10), "07:00")


@pytest.mark.parametrize(
    ("field", "typed", "sentence"),
    [
        ("amount", "lots", "“lots” is not a depth."),
        ("amount", "-0.2", "“-0.2” is below zero; rain is not."),
        ("amount", "", "Write 0 if it was dry, T for a trace, M if nobody looked."),
        ("amount", "90", "90 in within 24 h is more than has ever been measured"),
        ("day", "2026-07-16", "That morning is still to come."),
        ("day", "2022-12-31", "The gauge stands there since Sun 1 Jan 2023."),
        ("day", "", "This field is required."),
        ("days", "40", "Ensure this value is less than or equal to 31."),
    ],
)
def test_a_slip_is_answered_in_one_sentence_and_keeps_what_was_typed(
    reader, school, field, typed, sentence
):
    values = {"amount": "0.62", "day": "2026-07-15", "days": "1"} | {field: typed}
    response = type_in(reader, school, values["amount"], values["day"], values["days"])
    shown = response.content.decode()
    assert sentence in shown
    for value in values.values():
        assert not value or f'value="{value}"' in shown
    assert not Reading.objects.exists()
    assert not ReadingBatch.objects.exists()


def test_the_same_morning_again_is_known_or_a_correction(reader, school):
    type_in(reader, school, "0.10")
    assert "school, Wed 15 Jul was known already: 0.10 in." in (
        type_in(reader, school, "0.1").content.decode()
    )
    assert (
        "school, Wed 15 Jul: now 0.21 in. What stood there, 0.10 in, stays in its history."
        in type_in(reader, school, "0.21").content.decode()
    )
    assert Reading.objects.get().depth_um == 5334


def test_nobody_looked_cannot_take_back_a_depth(reader, school):
    type_in(reader, school, "0.02")
    shown = type_in(reader, school, "M").content.decode()
    assert "M cannot take back 0.02 in. Write down the right depth instead." in shown
    assert 'value="M"' in shown
    assert Reading.objects.get().depth_um == 508


def test_a_morning_inside_a_total_that_is_down_is_refused_with_the_reason(reader, school):
    type_in(reader, school, "0.8", day="2026-07-13", days="3")
    shown = type_in(reader, school, "0.2", day="2026-07-12").content.decode()
    assert "The time overlaps another reading, from Fri 10 Jul, 7 a.m. to Mon 13 Jul, 7 a.m." in (
        shown
    )
    assert Reading.objects.count() == 1


def test_an_early_riser_may_write_down_this_mornings_reading(reader, school):
    with time_machine.travel(factory.at(date(2026, 7, 15), "06:10"), tick=False):
        assert "is written down" in type_in(reader, school, "0.1").content.decode()
    with time_machine.travel(factory.at(date(2026, 7, 15), "12:00"), tick=False):
        assert "still to come" in type_in(reader, school, "0.1", "2026-07-16").content.decode()


def test_a_reader_sees_only_the_gauges_that_are_theirs(reader, school):
    other = factory.make_gauge("depot", kind=GaugeKind.DAILY)
    assert "depot" not in page(reader, "rain:reading_new")
    response = type_in(reader, other, "0.1")
    assert list(response.context["form"].errors) == ["gauge"]
    assert not Reading.objects.exists()


def test_a_reader_without_a_gauge_is_told_whom_to_call(reader):
    assert "No gauge is down as yours to read." in page(reader, "rain:reading_new")


def test_a_coordinator_may_write_down_any_daily_reading_but_not_a_machines(coordinator, school):
    factory.make_gauge("bucket", kind=GaugeKind.TIPPING)
    shown = page(coordinator, "rain:reading_new")
    assert "school" in shown
    assert "bucket" not in shown


def test_the_last_mornings_are_shown_to_the_reader(reader, school):
    type_in(reader, school, "T", day="2026-07-13")
    type_in(reader, school, "0.33", day="2026-07-14")
    shown = page(reader, "rain:reading_new")
    assert "0.33 in" in shown
    assert "Trace" in shown


def test_metric_programs_see_millimetres(coordinator, cast):
    factory.make_program(units="metric")
    make_rain(factory.make_gauge(), date(2026, 7, 14), 0.5)
    assert "12.7 mm" in page(coordinator, "rain:storms")
    assert "12.7 mm" in page(coordinator, "rain:gauge", "G1")


def test_typed_readings_become_storms(reader, school, cast):
    type_in(reader, school, "0.62")
    assert find_waiting_storms() == 1
    rain = cast.site.rains.get()
    assert rain.depth_um == 15_748
