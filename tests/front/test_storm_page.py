"""The page of a storm: its heading, how it changed, what it asks of the database."""

from datetime import date, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from stewardship.care.models import RainQuestion
from stewardship.rain.models import GaugeStorm, StormRevision
from tests import factory
from tests.front.storm_pages import START, page

pytestmark = pytest.mark.usefixtures("frozen_day")


def test_the_heading_names_the_days_as_the_letters_do(cast, coordinator):
    daily = factory.make_storm(factory.at(date(2026, 7, 12), "07:00"), hours=24)
    assert page(coordinator, daily).context["heading"] == "Storm of Sun 12 Jul to Mon 13 Jul"
    midnight = factory.make_storm(factory.at(date(2026, 7, 10), "22:00"), hours=2)
    assert page(coordinator, midnight).context["heading"] == "Storm of Fri 10 Jul"


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
