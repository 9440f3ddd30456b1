"""The page of a storm: what fell, how sure, who must, who was told, who answered."""

from datetime import date, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from stewardship.care.models import Answer, RainQuestion, Reminder
from stewardship.rain.models import GaugeStorm, StormRevision
from tests import factory
from tests.book import make_message

START = factory.at(date(2026, 7, 14), "16:00")


@pytest.fixture(autouse=True)
def _day(frozen_day):
    pass


@pytest.fixture
def storm(cast):
    gauge = factory.make_gauge()
    factory.make_readings(gauge, START, factory.QUARTER, [0.2, 0.3, None, 0.12], found=True)
    return factory.make_storm(START, hours=1, gauges=[gauge])


def page(client, storm):
    response = client.get(reverse("storm", args=[storm.pk]))
    assert response.status_code == 200
    return response


def test_sites_stand_by_need_and_each_says_where_it_stands(cast, coordinator, storm):
    def site_with(code: str, **duty):
        site = factory.make_built_site(code, owner=cast.owner)
        factory.make_site_rain(storm, site, depth_in=0.4)
        return factory.make_duty(site, storms=[storm], **duty) if duty else None

    silent = site_with("S-1", trigger="after_rain")
    site_with("S-2", owed_by=None)
    site_with("S-3", needs_person_since=factory.TODAY, needs_person_why="cannot")
    site_with("S-4", trigger="after_rain")
    answered = site_with("S-5", trigger="after_rain")
    site_with("S-6", state="met", closed_on=factory.TODAY)
    site_with("S-7", state="excused", closed_on=factory.TODAY)
    site_with("S-8")
    unknown = factory.make_built_site("S-9", owner=cast.owner)
    factory.make_site_rain(storm, unknown, depth_in=None)
    sent = make_message(status="sent", sent_at=START)
    for duty in (silent, answered):
        Reminder.objects.create(duty=duty, person=cast.owner, message=sent)
    Answer.objects.create(
        duty=answered, person=cast.owner, kind="cannot", about_on=date(2026, 7, 14)
    )
    rows = [(row.rain.site.code, row.need) for row in page(coordinator, storm).context["rows"]]
    assert rows == [
        ("S-2", "nobody"),
        ("S-3", "listed"),
        ("S-4", "not_told"),
        ("S-1", "silent"),
        ("S-5", "answered"),
        ("S-9", "unknown"),
        ("S-6", "met"),
        ("S-7", "closed"),
        ("S-8", "none"),
    ]


def test_a_letter_that_failed_is_not_told(cast, coordinator, storm):
    factory.make_site_rain(storm, cast.site)
    duty = factory.make_duty(cast.site, storms=[storm])
    Reminder.objects.create(
        duty=duty, person=cast.owner, message=make_message(status="failed", error="no")
    )
    response = page(coordinator, storm)
    assert [row.need for row in response.context["rows"]] == ["not_told"]
    assert response.context["short"].told == 0


def test_only_what_happened_since_the_storm_began_counts_as_told_and_answered(
    cast, coordinator, storm
):
    factory.make_site_rain(storm, cast.site)
    duty = factory.make_duty(cast.site, opened_on=date(2026, 7, 10), storms=[storm])
    before = START - timedelta(days=2)
    Reminder.objects.create(
        duty=duty,
        person=cast.owner,
        message=make_message(status="sent", sent_at=before),
        made_at=before,
    )
    Answer.objects.create(
        duty=duty, person=cast.owner, kind="cannot", about_on=date(2026, 7, 12), at=before
    )
    response = page(coordinator, storm)
    short, (row,) = response.context["short"], response.context["rows"]
    assert (short.told, short.told_before, short.answered) == (0, 1, 0)
    assert row.words == "told of an earlier storm"
    html = response.content.decode()
    assert "earlier storm: Sun 12 Jul, 4 p.m." in html
    assert "earlier storm: Can’t this time" in html

    after = START + timedelta(hours=20)
    Reminder.objects.create(
        duty=duty,
        person=cast.owner,
        round=2,
        message=make_message("m2", status="sent", sent_at=after),
        made_at=START + timedelta(hours=1),
    )
    response = page(coordinator, storm)
    short, (row,) = response.context["short"], response.context["rows"]
    assert (short.told, short.told_before) == (1, 0)
    assert row.duty.told_at == after  # when it left, not when it was queued


@pytest.mark.parametrize(
    ("letter", "words"),
    [
        ({"channel": "letter", "to_address": "12 Elm Street"}, "letter waits to be posted"),
        ({"due_at": factory.at(factory.TODAY + timedelta(days=1), "09:00")}, "goes out "),
        ({}, "about to go out"),
        ({"status": "failed", "error": "no"}, "Failed"),
    ],
)
def test_a_message_that_has_not_left_says_what_it_waits_for(
    cast, coordinator, storm, letter, words
):
    factory.make_site_rain(storm, cast.site)
    duty = factory.make_duty(cast.site, storms=[storm])
    Reminder.objects.create(duty=duty, person=cast.owner, message=make_message(**letter))
    response = page(coordinator, storm)
    (row,) = response.context["rows"]
    assert row.words == "due, not told yet"
    assert row.told_words.startswith(words)
    assert response.context["short"].told == 0


def test_the_heading_names_the_days_as_the_letters_do(cast, coordinator):
    daily = factory.make_storm(factory.at(date(2026, 7, 12), "07:00"), hours=24)
    assert page(coordinator, daily).context["heading"] == "Storm of Sun 12 Jul to Mon 13 Jul"
    midnight = factory.make_storm(factory.at(date(2026, 7, 10), "22:00"), hours=2)
    assert page(coordinator, midnight).context["heading"] == "Storm of Fri 10 Jul"


def test_unknown_rain_is_a_dash_and_the_word_never_a_zero(cast, coordinator, storm):
    rain = factory.make_site_rain(storm, cast.site, depth_in=None)
    rain.left_out = [{"gauge": "G1", "why": "one reading is missing"}]
    rain.save()
    html = page(coordinator, storm).content.decode()
    assert "rain not known" in html
    assert "without G1: one reading is missing" in html
    assert "0.00 in" not in html


def test_a_gauge_that_was_left_out_is_said_once_above_the_sites(cast, coordinator, storm):
    gauge = factory.make_gauge("G5")
    for site in (cast.site, cast.other_site):
        rain = factory.make_site_rain(storm, site, gauge=gauge)
        rain.left_out = [{"gauge": "G1", "why": "one reading is missing"}]
        rain.save()
    far = factory.make_site_rain(storm, factory.make_site("FAR-1"), depth_in=None)
    far.left_out = [{"gauge": "", "why": "no gauge is near enough"}]
    far.save()
    html = page(coordinator, storm).content.decode()
    assert html.count("without G1: one reading is missing") == 1
    assert "the nearer a gauge, the more it counts" in html
    assert "no gauge is near enough" in html
    assert "without :" not in html
    assert "without :" not in html


def test_every_drawing_has_its_figures_as_a_table(cast, coordinator, storm):
    response = page(coordinator, storm)
    (record,) = response.context["records"]
    assert 'role="img"' in record.svg
    assert "no reading" in record.svg
    assert record.missing == 1
    assert [one.reading.depth_um for one in record.intervals] == [5080, 7620, None, 3048]
    html = response.content.decode()
    assert "one reading is missing" in html
    assert "Tue 14 Jul, 4:15 p.m." in html


def test_a_daily_gauge_shows_its_whole_day(cast, coordinator, storm):
    daily = factory.make_gauge("D2", kind="daily")
    seven = factory.at(date(2026, 7, 14), "07:00")
    factory.make_readings(daily, seven, timedelta(days=1), [0.62], found=True)
    GaugeStorm.objects.create(
        gauge=daily,
        storm=storm,
        start_s=factory.seconds(seven),
        end_s=factory.seconds(seven) + 86_400,
        depth_um=factory.um(0.62),
        coarse=True,
    )
    records = {r.part.gauge.code: r for r in page(coordinator, storm).context["records"]}
    assert [one.start for one in records["D2"].intervals] == [seven]
    assert records["D2"].svg == ""  # one bar says no more than its number


def test_silence_of_a_gauge_that_reports_only_rain_is_dry(cast, coordinator, storm):
    bucket = factory.make_gauge("T3", kind="tipping", lists_dry=False)
    for hours in (0, 0.5, 0.75):
        factory.make_readings(
            bucket, START + timedelta(hours=hours), timedelta(minutes=5), [0.1], found=True
        )
    GaugeStorm.objects.create(
        gauge=bucket, storm=storm, start_s=storm.start_s, end_s=storm.end_s, depth_um=5080
    )
    records = {r.part.gauge.code: r for r in page(coordinator, storm).context["records"]}
    assert records["T3"].svg
    assert "no reading" not in records["T3"].svg


def test_t18_a_revised_storm_shows_how_it_changed_and_what_waits_for_a_decision(
    cast, coordinator, storm
):
    storm.revision = 2
    storm.save()
    StormRevision.objects.create(
        storm=storm,
        number=2,
        start_s=storm.start_s,
        end_s=storm.end_s + 900,
        greatest_um=factory.um(0.8),
        why="Late readings of G2",
    )
    RainQuestion.objects.create(site=cast.site, storm=storm, ask="add", storm_revision=2)
    html = page(coordinator, storm).content.decode()
    assert "Late readings of G2" in html
    assert "0.80 in" in html
    assert "Late rain: a look would be due" in html
    assert reverse("care:rain_questions") in html


def test_a_storm_that_was_merged_leads_to_the_one_it_is_part_of(cast, coordinator, storm):
    other = factory.make_storm(
        START + timedelta(hours=3), merged_into=storm, withdrawn_at=factory.at(factory.TODAY)
    )
    html = page(coordinator, other).content.decode()
    assert reverse("storm", args=[storm.pk]) in html
    assert "part of" in html


def test_a_storm_that_is_not_there_is_not_there(cast, coordinator):
    assert coordinator.get(reverse("storm", args=[99])).status_code == 404


def test_the_page_asks_a_fixed_number_of_queries(cast, coordinator, storm):
    def fill(start: int, count: int) -> None:
        for n in range(start, start + count):
            site = factory.make_built_site(f"FIR-{n}", owner=cast.owner)
            factory.make_site_rain(storm, site)
            factory.make_duty(site, storms=[storm])
            gauge = factory.make_gauge(f"X{n}")
            factory.make_readings(gauge, START, factory.QUARTER, [0.1], found=True)
            GaugeStorm.objects.create(
                gauge=gauge, storm=storm, start_s=storm.start_s, end_s=storm.end_s, depth_um=2540
            )

    fill(1, 1)
    with CaptureQueriesContext(connection) as few:
        page(coordinator, storm)
    fill(2, 8)
    with CaptureQueriesContext(connection) as many:
        page(coordinator, storm)
    assert len(many) == len(few)


def test_it_says_how_unusual_the_rain_was_and_which_part_is_representative(coordinator, storm):
    """40 CFR 122.21(g)(7)(ii): over 0.1 in, at least 72 h after the last one over 0.1 in."""
    assert "How unusual it was" not in page(coordinator, storm).content.decode()
    factory.make_frequency_table()
    earlier = factory.make_storm(START - timedelta(days=4), hours=1)
    part = GaugeStorm.objects.get(storm=storm)
    before = {"gauge": part.gauge, "storm": earlier, "depth_um": factory.um(0.2)}
    GaugeStorm.objects.create(start_s=earlier.start_s, end_s=earlier.end_s, **before)
    GaugeStorm.objects.filter(pk=part.pk).update(
        peak_5min_um=factory.um(0.1), peak_60min_um=factory.um(0.6)
    )
    text = " ".join(page(coordinator, storm).content.decode().split())
    assert "between a 1- and 2-year 60-minute rain" in text
    assert "a representative storm" in text and "72 hours or more" in text
    assert "How unusual it was at G1 · Gauge G1" in text

    GaugeStorm.objects.filter(storm=earlier).update(end_s=part.start_s - 71 * 3600)
    assert "a representative storm" not in page(coordinator, storm).content.decode()


def test_more_gauges_cost_no_more_queries(coordinator, storm):
    factory.make_frequency_table()

    def queries() -> int:
        with CaptureQueriesContext(connection) as seen:
            page(coordinator, storm)
        return len(seen)

    few = queries()
    for code in ("G2", "G3", "G4"):
        gauge = factory.make_gauge(code)
        factory.make_readings(gauge, START, factory.QUARTER, [0.2, 0.3, None, 0.12], found=True)
        span = {"start_s": storm.start_s, "end_s": storm.end_s, "depth_um": factory.um(0.4)}
        GaugeStorm.objects.create(gauge=gauge, storm=storm, peak_60min_um=span["depth_um"], **span)
    assert queries() == few
