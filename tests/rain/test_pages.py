"""Rain pages: lists, a gauge, an import and what became of it, a typed reading."""

from datetime import date, timedelta

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from stewardship.rain.models import ReadingBatch
from stewardship.rain.services import find_waiting_storms, note_outage
from tests import factory
from tests.rain.doors import page_door

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
    assert "Enter a day, e.g. 2026-07-14" in page(coordinator, "rain:storms", since="soon")


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
def take(browser: Client, gauge, text: str) -> str:
    door = page_door(browser)
    assert door(text.encode(), gauge, file_name="july.csv") == ""
    return page(browser, "rain:batch", ReadingBatch.objects.latest("pk").pk)


def test_an_imported_file_has_a_page_that_says_what_became_of_every_row(coordinator, cast):
    gauge = factory.make_gauge()
    text = "time,rain\n2026-07-14 15:00,0.10\n2026-07-14 15:15,-4\n2026-07-14 15:30,0.05\n"
    shown = take(coordinator, gauge, text)
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
    take(coordinator, gauge, "time,rain\n2026-07-14 15:00,0.10\n2026-07-14 15:15,T\n")
    text = "time,rain\n2026-07-14 15:00,0.20\n2026-07-14 15:15,0.01\n"
    shown = take(coordinator, gauge, text)
    assert "0.10 in" in shown
    assert "0.20 in" in shown


def test_the_import_page_opens_with_the_gauge_one_came_from(coordinator):
    gauge = factory.make_gauge("G7")
    assert f'<option value="{gauge.pk}" selected>' in page(coordinator, "rain:import", gauge="G7")


def test_metric_programs_see_millimetres(coordinator, cast):
    factory.make_program(units="metric")
    make_rain(factory.make_gauge(), date(2026, 7, 14), 0.5)
    assert "12.7 mm" in page(coordinator, "rain:storms")
    assert "12.7 mm" in page(coordinator, "rain:gauge", "G1")
