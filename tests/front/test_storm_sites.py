"""A storm at its sites: what each got and from which gauges, who must look, who was told, who answered."""

from datetime import date, timedelta

import pytest

from stewardship.care.models import Answer, Reminder
from tests import factory
from tests.book import make_message
from tests.front.storm_pages import START, page

pytestmark = pytest.mark.usefixtures("frozen_day")


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
        ("S-7", "excused"),
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
    assert response.context["short"].tally == [("due, not told yet", 1)]
    assert response.context["rows"][0].told_words == ["Failed"]


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
    assert response.context["short"].tally == [("told of an earlier storm", 1)]
    html = response.content.decode()
    assert "told Sun 12 Jul, of an earlier storm" in html
    assert "Can’t this time, after an earlier storm" in html

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
    assert short.tally == [("told, no answer yet", 1)]
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
    assert len(row.told_words) == 1
    assert row.told_words[0].startswith(words)
    assert response.context["short"].tally == [("due, not told yet", 1)]


def test_unknown_rain_is_a_dash_and_the_word_never_a_zero(cast, coordinator, storm):
    rain = factory.make_site_rain(storm, cast.site, depth_in=None)
    rain.left_out = [{"gauge": "G1", "why": "one reading is missing"}]
    rain.save()
    html = page(coordinator, storm).content.decode()
    assert "rain not known" in html
    assert "without G1: one reading is missing" in html
    assert "0.00 in" not in html


def test_t14_each_site_says_which_gauge_its_rain_comes_from_and_how_far_that_is(
    cast, coordinator, storm
):
    rain = factory.make_site_rain(storm, cast.site, depth_in=0.5)
    rain.sources = [
        {"gauge": "G1", "weight": 0.862, "distance_m": 445, "depth_um": 12_700},
        {"gauge": "G2", "weight": 0.134, "distance_m": 3300, "depth_um": 12_700},
        {"gauge": "REMOTE", "weight": 0.004, "distance_m": 4900, "depth_um": 12_700},
    ]
    rain.save()
    html = " ".join(page(coordinator, storm).content.decode().split())
    assert "G1 86 %, 0.3 mi" in html
    assert "G2 13 %, 2.1 mi" in html
    assert "REMOTE" not in html  # rounds to nothing
    assert "Worked out between gauges that are farther away" in html

    cast.program.units = "metric"
    cast.program.save()
    html = " ".join(page(coordinator, storm).content.decode().split())
    assert "G1 86 %, 0.4 km" in html
    assert "G2 13 %, 3.3 km" in html


def test_how_sure_explains_the_words_that_are_there_and_no_others(cast, coordinator, storm):
    factory.make_site_rain(storm, cast.site, sureness="measured")
    html = " ".join(page(coordinator, storm).content.decode().split())
    assert "within 0.3 mi, or within 0.6 mi if it counts for 75 % or more" in html
    assert "Not known does not mean dry." not in html


def test_how_unusual_it_was_at_a_site_is_said_only_where_there_is_a_table(cast, coordinator, storm):
    rain = factory.make_site_rain(storm, cast.site, depth_in=0.62)
    rain.peak_15min_um, rain.peak_60min_um = factory.um(0.3), factory.um(0.62)
    rain.save()
    response = page(coordinator, storm)
    assert not response.context["any_unusual_site"]
    assert "How unusual" not in response.content.decode()
    factory.make_frequency_table()
    html = " ".join(page(coordinator, storm).content.decode().split())
    assert "between a 1- and 2-year 60-minute rain" in html
