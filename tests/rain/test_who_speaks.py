"""Whether a threshold was passed at a site, which gauge says so and from how far; and storms over midnight with two readers."""

from datetime import date

import pytest
from django.urls import reverse

from stewardship.care import services as care
from stewardship.care.models import Duty
from stewardship.care.words import reason_text
from stewardship.rain import services
from stewardship.rain.choices import BatchSource, GaugeKind
from stewardship.rain.models import SiteRain, Storm
from tests import factory
from tests.rain.test_any_order import reading
from tests.rain.test_site_rain import M_PER_DEGREE, gauge_at
from tests.rain.test_storms_found import at, rain

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen_day", "program")]

TUESDAY = date(2026, 7, 14)


def page(browser, name: str, *args) -> str:
    return " ".join(browser.get(reverse(name, args=args)).content.decode().split())


def test_t14_the_threshold_is_passed_at_one_site_and_not_at_the_next_and_pages_say_by_which_gauge(
    cast, coordinator
):
    far = cast.other_site
    far.lat = factory.LAT + 30_000 / M_PER_DEGREE
    far.save()
    factory.make_care_rule(phase="establishing", least_in=0.5)
    for site in (cast.site, far):
        factory.make_visit(site, date(2026, 7, 1))
    rain(gauge_at("NORTH", 1_000), at("15:00", TUESDAY), 0.6)
    rain(gauge_at("SHED", 29_000), at("15:00", TUESDAY), 0.4)
    care.weigh_site_rains(on=factory.TODAY)
    duty = Duty.objects.open().get()
    assert duty.site == cast.site
    assert reason_text(duty.reason, "us") == "0.60 in on Tue 14 Jul, from gauge NORTH"
    storm = page(coordinator, "storm", Storm.objects.standing().get().pk)
    assert "0.60 in" in storm
    assert "NORTH" in storm
    near = page(coordinator, "site", cast.site.code)
    assert "0.6 mi" in near  # 1 km
    assert "too far" in near  # SHED, 29 km


def test_t14_after_a_move_the_page_says_from_how_far_a_storm_was_measured_then(cast):
    factory.make_built_site("OAK-9")
    gauge = gauge_at("NORTH", 1_000)
    rain(gauge, at("15:00", date(2026, 7, 1)), 0.6)
    services.move_gauge(
        gauge=gauge,
        since=date(2026, 7, 10),
        lat=factory.LAT + 2_000 / M_PER_DEGREE,
        lon=factory.LON,
        note="",
        by=None,
    )
    rain(gauge, at("15:00", TUESDAY), 0.6)
    rows = SiteRain.objects.standing().filter(site__code="OAK-9").order_by("storm__start_s")
    assert [(row.sources[0]["gauge"], row.sources[0]["distance_m"]) for row in rows] == [
        ("NORTH", 1000),
        ("NORTH", 2000),
    ]


@pytest.mark.parametrize("first", ["SEVEN", "EIGHT"])
def test_t16_readers_who_split_one_night_differently_make_one_storm_in_either_order(first):
    """Rain from 22:00 to 9:00; the reader at seven has part of it in each of two mornings, the one at eight as well."""
    factory.make_built_site("OAK-1")
    seven = gauge_at("SEVEN", 300, kind=GaugeKind.DAILY)
    eight = gauge_at("EIGHT", -900, kind=GaugeKind.DAILY, observation_hour=8)
    mornings = {
        "SEVEN": [(seven, "07:00", 13, 70), (seven, "07:00", 14, 20)],
        "EIGHT": [(eight, "08:00", 13, 50), (eight, "08:00", 14, 10)],
    }
    order = [first, *({"SEVEN", "EIGHT"} - {first})]
    for code in order:
        for gauge, clock, day, hundredths in mornings[code]:
            start_s = factory.seconds(at(clock, date(2026, 7, day)))
            row = reading(start_s, start_s + 86_400, hundredths)
            services.add_readings(gauge=gauge, rows=[row], source=BatchSource.TYPED)
            services.find_waiting_storms()
    storm = Storm.objects.standing().get()
    assert (storm.start_at, storm.end_at) == (at("07:00", date(2026, 7, 13)), at("08:00", factory.TODAY))  # fmt: skip
    assert storm.coarse
    found = SiteRain.objects.standing().get()
    assert {(s["gauge"], s["depth_um"]) for s in found.sources} == {
        ("SEVEN", factory.um(0.9)),
        ("EIGHT", factory.um(0.6)),
    }


def test_t16_a_storm_over_midnight_stays_one_beside_a_readers_two_days(cast, coordinator):
    """An automatic gauge says when it rained; the reader's morning total belongs to that storm, not to its calendar date."""
    auto = gauge_at("AUTO", 300)
    reader = gauge_at("READER", -900, kind=GaugeKind.DAILY)
    rain(auto, at("22:00", date(2026, 7, 13)), 0.2, 0.2, 0.1, 0.1, minutes=60)
    rain(reader, at("07:00", date(2026, 7, 13)), 0.55, minutes=24 * 60)
    storm = Storm.objects.standing().get()
    assert (storm.start_at, storm.end_at) == (at("22:00", date(2026, 7, 13)), at("02:00", TUESDAY))
    assert {part.gauge.code for part in storm.gauge_storms.all()} == {"AUTO", "READER"}
    assert "READER" in page(coordinator, "storm", storm.pk)


def test_a_gauge_whose_share_rounds_to_nothing_is_kept_but_not_shown(cast, coordinator):
    rain(gauge_at("NEAR", 100), at("15:00", TUESDAY), 0.6)
    rain(gauge_at("SHED", -4_900), at("15:00", TUESDAY), 0.6)
    row = SiteRain.objects.standing().get(site=cast.site)
    assert sum(source["weight"] for source in row.sources) == pytest.approx(1, abs=1e-4)
    assert {source["gauge"] for source in row.sources} == {"NEAR", "SHED"}
    said = {"rains": [{"day": "2026-07-14", "last_day": "2026-07-14", "depth_um": row.depth_um, "sources": row.sources}]}  # fmt: skip
    assert "SHED" not in reason_text(said, "us")
    assert " 0 %" not in page(coordinator, "storm", row.storm_id)
