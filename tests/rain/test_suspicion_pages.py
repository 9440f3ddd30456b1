"""Odd readings on the gauge's page and among the coordinator's needs, and what a person says of them."""

from datetime import date

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from stewardship.common.errors import Refused
from stewardship.rain.choices import GaugeKind
from stewardship.rain.models import ReadingBatch, Suspicion
from stewardship.rain.services import (
    ask_again,
    check_gauges,
    find_waiting_storms,
    note_outage,
    set_aside,
)
from tests import factory
from tests.rain.odd_gauges import DAY, FIRST, MISSED, NEAR, RAIN, mornings, page, post

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen_day")]


# -- said ------------------------------------------------------------------------------------------------------
def test_the_page_says_why_in_a_sentence_and_offers_the_outage_with_its_time(coordinator, stuck):
    shown = page(coordinator)
    assert f"It said dry on 10 days on which G2 and G3 had {MISSED:.2f} in in all." in shown
    url = reverse("rain:outage_new", args=["G1"])
    assert f"{url}?from=2026-05-30T08%3A00&amp;until=2026-06-29T08%3A00" in shown
    form = coordinator.get(
        url, {"from": "2026-05-30T08:00", "until": "2026-06-29T08:00"}
    ).content.decode()
    assert 'value="2026-05-30T08:00"' in form
    assert 'value="2026-06-29T08:00"' in form
    nonsense = coordinator.get(url, {"from": "yesterday", "until": "2026-99-99T99:99"})
    assert nonsense.status_code == 200


def test_a_gauge_that_is_still_stuck_is_offered_an_outage_without_an_end(coordinator):
    mornings("G1", [*RAIN[:90], *[0] * 45])
    mornings("G2", NEAR)
    check_gauges()
    assert "?from=2026-05-30T08%3A00&quot;" not in page(coordinator)
    assert "until=" not in page(coordinator)
    assert "?from=2026-05-30T08%3A00" in page(coordinator)


def test_a_metric_program_reads_millimetres(coordinator, stuck):
    factory.make_program(units="metric")
    assert f"had {MISSED * 25.4:.1f} mm in all" in page(coordinator)


def test_an_outage_written_down_for_the_time_explains_it(coordinator, stuck):
    note_outage(
        gauge=stuck.gauge, start_s=stuck.start_s, end_s=stuck.end_s, why="leaves in the funnel"
    )
    assert not Suspicion.objects.waiting().exists()
    shown = page(coordinator)
    assert "1 stretch that is explained" in shown
    assert "an outage is written down for it" in shown


# -- found right -----------------------------------------------------------------------------------------------
def test_a_person_finds_it_right_with_a_note_and_it_is_not_asked_about_again(
    coordinator, cast, stuck
):
    shown = post(coordinator, stuck, **{f"{stuck.pk}-note": "Roof over it, Mr. B. says."})
    assert "It is not asked about any more." in shown.content.decode()
    stuck.refresh_from_db()
    assert (stuck.set_aside_by, stuck.set_aside_note) == (
        cast.coordinator,
        "Roof over it, Mr. B. says.",
    )
    event = stuck.gauge.events.get()
    assert (event.became, event.by) == ("set_aside", cast.coordinator)
    assert "Roof over it" in event.why
    ReadingBatch.objects.update(checked_at=None)
    check_gauges()
    assert not Suspicion.objects.waiting().exists()
    assert Suspicion.objects.get().pk == stuck.pk


def test_without_a_note_nothing_is_found_right_and_the_fault_stands_at_the_field(
    coordinator, stuck
):
    shown = post(coordinator, stuck, **{f"{stuck.pk}-note": "  "}).content.decode()
    assert "Say how you know, for whoever reads it next." in shown
    assert Suspicion.objects.waiting().exists()


def test_two_people_do_not_find_the_same_right_twice(cast, stuck):
    set_aside(suspicion=stuck, note="It is right.", by=cast.coordinator)
    with pytest.raises(Refused, match="already"):
        set_aside(suspicion=stuck, note="Me too.", by=cast.coordinator)


def test_it_can_be_asked_about_again(coordinator, cast, stuck):
    set_aside(suspicion=stuck, note="It is right.", by=cast.coordinator)
    shown = post(coordinator, stuck, again="yes").content.decode()
    assert "It is asked about again." in shown
    assert Suspicion.objects.waiting().get() == stuck
    assert [event.became for event in stuck.gauge.events.all()] == ["set_aside", "asked_again"]
    ask_again(suspicion=stuck, by=cast.coordinator)  # twice is once
    assert stuck.gauge.events.count() == 2


def test_a_gauge_that_stays_dry_long_after_it_was_found_right_is_asked_about_again(cast):
    gauge = mornings("G1", [*RAIN[:90], *[0] * 20])
    mornings("G2", NEAR)
    check_gauges()
    stuck = Suspicion.objects.get()
    set_aside(suspicion=stuck, note="A dry spell.", by=cast.coordinator)
    factory.make_readings(gauge, factory.at(FIRST + 110 * DAY, "07:00"), DAY, [0] * 4, found=True)
    check_gauges()
    assert not Suspicion.objects.waiting().exists()
    factory.make_readings(gauge, factory.at(FIRST + 114 * DAY, "07:00"), DAY, [0] * 20, found=True)
    check_gauges()
    assert Suspicion.objects.waiting().get() == stuck
    assert gauge.events.last().by is None


def test_another_gauges_stretch_cannot_be_reached_under_this_ones_address(coordinator, stuck):
    url = reverse("rain:suspicion", args=["G2", stuck.pk])
    assert coordinator.post(url, {"again": "yes"}).status_code == 404


# -- what needs the coordinator --------------------------------------------------------------------------------
def test_a_stuck_gauge_stands_on_the_list_of_what_needs_the_coordinator(coordinator, cast, stuck):
    shown = coordinator.get(reverse("today")).content.decode()
    assert "Gauges that are silent or look wrong" in shown
    assert "Dry while its neighbours were wet." in shown
    set_aside(suspicion=stuck, note="It is right.", by=cast.coordinator)
    shown = coordinator.get(reverse("today")).content.decode()
    assert "Dry while its neighbours were wet." not in shown


# -- the page --------------------------------------------------------------------------------------------------
def test_a_gauge_without_a_reading_says_so_and_what_to_do(coordinator):
    factory.make_gauge(kind=GaugeKind.DAILY)
    shown = page(coordinator)
    assert "No reading has come in yet, so nothing is known of it." in shown
    assert reverse("rain:reading_new") in shown
    assert "<svg" not in shown.partition("Can it be trusted?")[2].partition("<footer")[0]


def test_a_year_can_be_chosen_and_nonsense_shows_the_last_twelve_months(coordinator, stuck):
    factory.make_readings(
        stuck.gauge, factory.at(date(2025, 5, 1), "07:00"), DAY, [0.77, None, "T"], found=True
    )
    shown = page(coordinator, year="2025")
    assert "May 2025" in shown
    assert "June 2026" not in shown
    assert "0.77 in" in shown
    for nonsense in ("1999", "soon", "٣"):
        assert "June 2026" in page(coordinator, year=nonsense)


def test_a_year_of_mornings_without_a_gap_is_known_to_its_last_month(coordinator):
    gauge = factory.make_gauge(kind=GaugeKind.DAILY, started_on=date(2024, 12, 30))
    factory.make_readings(
        gauge, factory.at(date(2024, 12, 30), "07:00"), DAY, [0] * 400, found=True
    )
    shown = page(coordinator, year="2025")
    months = shown.partition("January 2025")[2].partition("</tbody>")[0]
    assert months.count("all of it") == 12


def test_the_calendar_says_in_words_what_is_known_of_each_day(coordinator):
    gauge = factory.make_gauge(kind=GaugeKind.DAILY, started_on=date(2026, 6, 3))
    factory.make_readings(
        gauge, factory.at(date(2026, 6, 3), "07:00"), DAY, [0.3, None, "T", 0], found=True
    )
    factory.make_readings(gauge, factory.at(date(2026, 6, 7), "07:00"), 3 * DAY, [0.9], found=True)
    note_outage(
        gauge=gauge,
        start_s=factory.seconds(factory.at(date(2026, 6, 10), "07:00")),
        end_s=factory.seconds(factory.at(date(2026, 6, 11), "07:00")),
        why="blown over",
    )
    shown = page(coordinator)
    june = shown.partition('<th scope="row">Jun 2026')[2].partition("</tr>")[0]
    words = [
        cell.partition("</span>")[0] for cell in june.split('<span class="visually-hidden">')[1:]
    ]
    assert words[:13] == [
        "before it stood",
        "before it stood",
        "no reading",
        "0.30 in",
        "no reading",
        "a trace",
        "dry",
        "in the total of Wed 10 Jun",
        "in the total of Wed 10 Jun",
        "0.90 in",
        "out of order",
        "no reading",
        "no reading",
    ]
    july = shown.partition('<th scope="row">Jul 2026')[2].partition("</tr>")[0]
    assert "to come" in july


def test_the_line_beside_its_neighbours_is_told_in_words_and_as_a_table(coordinator):
    mornings("G1", RAIN)
    mornings("G2", NEAR)
    shown = page(coordinator)
    assert "On 135 days that all of them know it caught 0.75 of the mean of G2." in shown
    assert "The line has no clear bend" in shown
    assert "Year by year" in shown
    assert "0.75" in shown


def test_a_gauge_that_stands_alone_is_told_what_a_second_one_would_bring(coordinator):
    mornings("G1", RAIN)
    assert "No other gauge within 30 km has readings of the same days." in page(coordinator)


def test_the_page_asks_as_often_for_many_odd_stretches_as_for_few(coordinator, stuck):
    def queries() -> int:
        with CaptureQueriesContext(connection) as seen:
            page(coordinator)
        return len(seen)

    page(coordinator)
    few = queries()
    for n in range(6):
        Suspicion.objects.create(
            gauge=stuck.gauge,
            kind="streak",
            start_s=n * 900,
            end_s=(n + 1) * 900,
            facts={"depth_um": 508, "times": 9},
        )
    assert queries() == few


def test_finding_storms_does_not_wait_for_the_look(coordinator):
    gauge = factory.make_gauge()
    factory.make_readings(gauge, factory.at(date(2026, 7, 14)), factory.QUARTER, [0.2])
    assert find_waiting_storms() == 1
    assert ReadingBatch.objects.get().checked_at is None
    assert "have not been looked through yet" in page(coordinator)
