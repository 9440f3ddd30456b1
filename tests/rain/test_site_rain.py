"""What storms were at sites: weights, how sure, what is missing, and where the water went."""

from datetime import date

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from stewardship.rain.choices import BatchSource, GaugeKind, ReadingKind, Sureness
from stewardship.rain.models import BasinWater, Gauge, GaugePlace, ReadingBatch, SiteRain, Storm
from stewardship.rain.services import add_readings, find_waiting_storms, note_outage
from tests import factory
from tests.rain.test_storms_found import at, rain

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen_day", "program")]

M_PER_DEGREE = 111_195.08  # of latitude, on a sphere of radius 6371.009 km (GRS 80 mean radius)


def gauge_at(code: str, metres: float, **facts) -> Gauge:
    """A gauge so many metres north of the sites."""
    return factory.make_gauge(code, lat=factory.LAT + metres / M_PER_DEGREE, **facts)


def of_site(code: str = "OAK-1") -> SiteRain:
    return SiteRain.objects.standing().get(site__code=code)


def test_rain_between_gauges_is_weighted_by_inverse_square_distance():
    """Three gauges 5, 1 and 10 km away with 30, 40 and 50 mm: (1.2 + 40 + 0.5) / 1.05 = 39.714 mm, worked by hand."""
    factory.make_built_site("OAK-1")
    for code, metres, mm in (("A", 5_000, 30), ("B", 1_000, 40), ("C", 10_000, 50)):
        rain(gauge_at(code, metres, reach_m=11_000), at("15:00"), mm / 25.4)
    found = of_site()
    assert found.depth_um / 1000 == pytest.approx(39.714, abs=0.001)
    assert [source["gauge"] for source in found.sources] == ["B", "A", "C"]
    assert [source["weight"] for source in found.sources] == pytest.approx(
        [1 / 1.05, 0.04 / 1.05, 0.01 / 1.05], abs=1e-4
    )
    assert [source["distance_m"] for source in found.sources] == [1000, 5000, 10_000]
    assert found.sources[1]["depth_um"] == 30_000
    assert found.peak_60min_um / 1000 == pytest.approx(39.714, abs=0.001)
    assert found.peak_15min_um is None


def test_peaks_of_gauges_at_different_times_do_not_add_up():
    factory.make_built_site("OAK-1")
    north, south = gauge_at("N", 2_000), gauge_at("S", -2_000)
    rain(north, at("15:00"), 0.4, 0, 0, 0, minutes=15)
    rain(south, at("15:00"), 0, 0, 0, 0.4, minutes=15)
    found = of_site()
    assert found.depth_um == factory.um(0.4)
    assert found.peak_15min_um == factory.um(0.2)
    assert found.peak_60min_um == factory.um(0.4)


@pytest.mark.parametrize(
    ("metres", "other_metres", "sureness"),
    [
        (400, None, Sureness.MEASURED),
        (600, None, Sureness.MEASURED),  # alone within a kilometre
        (600, 900, Sureness.ESTIMATED),
        (1_500, None, Sureness.ESTIMATED),
        (450, 460, Sureness.MEASURED),
    ],
)
def test_how_sure_depends_on_how_near_the_gauges_are(metres, other_metres, sureness):
    factory.make_built_site("OAK-1")
    gauges = [gauge_at("A", metres)]
    if other_metres:
        gauges.append(gauge_at("B", -other_metres))
    for gauge in gauges:
        rain(gauge, at("15:00"), 0.3)
    assert of_site().sureness == sureness


def test_t14_each_site_names_the_gauges_that_speak_for_it_and_their_distance():
    factory.make_built_site("OAK-1")
    factory.make_built_site("ELM-2", lat=factory.LAT + 30_000 / M_PER_DEGREE)
    rain(gauge_at("N", 1_000), at("15:00"), 0.6)
    rain(gauge_at("F", 29_000), at("15:00"), 0.1)
    near, far = of_site("OAK-1"), of_site("ELM-2")
    assert [(s["gauge"], s["distance_m"]) for s in near.sources] == [("N", 1000)]
    assert [(s["gauge"], s["distance_m"]) for s in far.sources] == [("F", 1000)]
    assert (near.depth_um, far.depth_um) == (factory.um(0.6), factory.um(0.1))


def test_t15_a_gauge_that_was_out_is_left_out_and_named_not_taken_for_dry():
    factory.make_built_site("OAK-1")
    out, works = gauge_at("NEAR", 300), gauge_at("FAR", 2_000)
    rain(out, at("14:00"), 0, None, 0)
    rain(works, at("14:00"), 0, 0.8, 0)
    found = of_site()
    assert found.depth_um == factory.um(0.8)
    assert found.sureness == Sureness.ESTIMATED
    assert found.left_out == [{"gauge": "NEAR", "why": "no readings of this time"}]
    note_outage(
        gauge=out,
        start_s=factory.seconds(at("14:00")),
        end_s=factory.seconds(at("18:00")),
        why="lightning took the power",
    )
    assert of_site().left_out == [
        {"gauge": "NEAR", "why": "out of order: lightning took the power"}
    ]


def test_t15_with_no_gauge_at_work_the_rain_of_a_site_is_unknown_not_zero():
    factory.make_built_site("OAK-1")
    rain(gauge_at("NEAR", 300), at("14:00"), 0, None, 0)
    rain(gauge_at("BEYOND", 9_000), at("14:00"), 0, 0.8, 0)
    found = of_site()
    assert (found.sureness, found.depth_um, found.sources) == (Sureness.UNKNOWN, None, [])
    assert found.left_out == [{"gauge": "NEAR", "why": "no readings of this time"}]
    assert not BasinWater.objects.exists()


def test_a_gauge_with_part_of_a_storm_missing_is_left_out_with_how_much():
    factory.make_built_site("OAK-1")
    rain(gauge_at("A", 300), at("14:00"), 0.2, None, 0.2)
    rain(gauge_at("B", 2_000), at("14:00"), 0.2, 0.3, 0.2)
    assert of_site().left_out == [{"gauge": "A", "why": "1 h of it without a reading"}]


def test_silence_is_dry_at_a_gauge_that_reports_rain_only_between_its_readings():
    factory.make_built_site("OAK-1")
    silent = gauge_at("SILENT", 300, lists_dry=False)
    rain(gauge_at("B", 2_000), at("14:00"), 0.9)
    rain(silent, at("09:00"), 0.0)
    assert of_site().left_out == [{"gauge": "SILENT", "why": "no readings of this time"}]
    rain(silent, at("23:00"), 0.0)
    found = of_site()
    assert found.left_out == []
    assert found.depth_um == pytest.approx(factory.um(0.9) * 300**2 / (300**2 + 2000**2), abs=30)


def test_t16_a_storm_over_midnight_is_one_storm_for_readers_of_different_mornings():
    """Readings are intervals with an observation time; a storm comes from their overlap, not from calendar dates."""
    factory.make_built_site("OAK-1")
    at_seven = gauge_at("SEVEN", 300, kind=GaugeKind.DAILY)
    at_eight = gauge_at("EIGHT", -900, kind=GaugeKind.DAILY, observation_hour=8)
    monday = date(2026, 7, 13)
    rain(at_seven, at("07:00", monday), 0.9, minutes=24 * 60)
    rain(at_eight, at("08:00", monday), 0.5, minutes=24 * 60)
    storm = Storm.objects.standing().get()
    assert (storm.start_at, storm.end_at) == (at("07:00", monday), at("08:00"))
    found = of_site()
    assert [source["gauge"] for source in found.sources] == ["SEVEN", "EIGHT"]
    assert found.depth_um == pytest.approx(factory.um(0.9 * 0.9 + 0.5 * 0.1), abs=1)


def test_a_reader_who_has_not_come_yet_is_left_out_of_a_storm_of_days():
    factory.make_built_site("OAK-1")
    gauge_at("LATE", 300, kind=GaugeKind.DAILY)
    rain(
        gauge_at("R", 900, kind=GaugeKind.DAILY), at("07:00", date(2026, 7, 13)), 0.5, minutes=1440
    )
    assert of_site().left_out == [{"gauge": "LATE", "why": "no readings of this time"}]


def test_t17_a_total_of_several_days_makes_the_rain_only_possible():
    factory.make_built_site("OAK-1")
    reader = gauge_at("R", 300, kind=GaugeKind.DAILY)
    friday, monday = at("07:00", date(2026, 7, 10)), at("07:00", date(2026, 7, 13))
    total = (
        factory.seconds(friday),
        factory.seconds(monday),
        ReadingKind.MULTI_DAY,
        factory.um(0.8),
        "0.8 in",
    )
    add_readings(gauge=reader, rows=[total], source=BatchSource.TYPED)
    find_waiting_storms()
    found = of_site()
    assert (found.sureness, found.depth_um) == (Sureness.POSSIBLE, factory.um(0.8))
    assert (found.peak_15min_um, found.peak_60min_um) == (None, None)
    assert found.waters.get().coarse
    assert found.storm.coarse


def test_a_daily_reading_near_by_is_measured_though_its_hours_are_not_known():
    factory.make_built_site("OAK-1")
    rain(
        gauge_at("R", 300, kind=GaugeKind.DAILY), at("07:00", date(2026, 7, 13)), 0.8, minutes=1440
    )
    found = of_site()
    assert (found.sureness, found.peak_60min_um) == (Sureness.MEASURED, None)
    assert found.waters.get().coarse


def test_t18_a_late_reading_revises_the_storm_and_asks_only_where_figures_changed():
    factory.make_built_site("OAK-1")
    factory.make_built_site("ELM-2", lat=factory.LAT + 30_000 / M_PER_DEGREE)
    near, far, late = gauge_at("N", 2_000), gauge_at("F", 29_000), gauge_at("LATE", 300)
    rain(near, at("15:00"), 0.1)
    rain(far, at("15:00"), 0.6)
    SiteRain.objects.update(weighed_at=timezone.now())
    assert not SiteRain.objects.waiting().exists()
    rain(late, at("15:00"), 0.7)
    assert [rain.site.code for rain in SiteRain.objects.waiting()] == ["OAK-1"]
    found = of_site("OAK-1")
    assert found.storm.revision == 3
    assert found.storm_revision == 3
    assert found.sources[0]["gauge"] == "LATE"
    assert of_site("ELM-2").storm_revision == 2
    assert found.storm.revisions.last().why == "Readings came in: LATE."


def test_a_site_without_coordinates_has_unknown_rain_and_says_why():
    factory.make_built_site("OAK-1", lat=None, lon=None)
    rain(gauge_at("A", 300), at("15:00"), 0.5)
    found = of_site()
    assert (found.sureness, found.depth_um) == (Sureness.UNKNOWN, None)
    assert found.left_out == [{"gauge": "", "why": "the site has no place on the map"}]


def test_a_site_far_from_every_gauge_has_unknown_rain_and_says_why():
    factory.make_built_site("OAK-1")
    rain(gauge_at("A", 6_000), at("15:00"), 0.5)
    found = of_site()
    assert found.sureness == Sureness.UNKNOWN
    assert found.left_out == [{"gauge": "", "why": "no gauge is near enough"}]


def test_only_sites_that_stood_on_the_storms_last_day_have_rain():
    factory.make_site("PLAN-1")
    factory.make_built_site("OLD-1")
    factory.make_built_site("NEW-1", built_on=date(2026, 7, 15))
    gone = factory.make_built_site("GONE-1")
    gone.stage, gone.retired_on = "retired", date(2026, 7, 14)
    gone.save()
    rain(gauge_at("A", 300), at("23:00"), 0.5)
    assert [rain.site.code for rain in SiteRain.objects.all()] == ["OLD-1"]


def test_water_that_came_in_soaks_in_or_spills_and_fine_rain_has_its_course():
    factory.make_built_site("OAK-1", basins=2)
    rain(gauge_at("A", 300), at("15:00"), *[0.05] * 8, minutes=15)
    first, second = BasinWater.objects.order_by("basin__label")
    assert first.inflow_m3 == second.inflow_m3 > 0
    assert first.soaked_m3 + first.spilled_m3 == pytest.approx(first.inflow_m3, abs=2e-6)
    assert first.hours_to_drain > 0
    assert not first.coarse


def test_a_small_rain_gives_the_runoff_of_the_curve_number_by_hand():
    """TR-55 (USDA, 1986), equations 2-1 to 2-4: 0.50 in on pavement, CN 98, runs off 0.32 in (table 2-1's formula)."""
    site = factory.make_built_site("OAK-1", basins=1)
    basin = site.basins.get()
    basin.planted_catchment_m2, basin.paved_m2 = 0, 100
    basin.save()
    rain(gauge_at("A", 300), at("15:00"), 0.25, 0.25)
    runoff_m3 = 100 * 0.32 * 0.0254
    direct_m3 = basin.top_area_m2 * 0.5 * 0.0254
    water = BasinWater.objects.get()
    assert water.inflow_m3 + water.passed_by_m3 == pytest.approx(runoff_m3 + direct_m3, rel=0.01)


def test_a_dry_site_under_a_storm_elsewhere_has_zero_and_no_water():
    factory.make_built_site("OAK-1")
    rain(gauge_at("A", 300), at("15:00"), 0, 0)
    rain(gauge_at("B", 9_000), at("15:00"), 0.5, 0.2)
    found = of_site()
    assert (found.depth_um, found.sureness) == (0, Sureness.MEASURED)
    assert not found.waters.exists()


def test_waters_follow_a_correction():
    factory.make_built_site("OAK-1")
    gauge = gauge_at("A", 300)
    rain(gauge, at("15:00"), 0.5)
    before = BasinWater.objects.get().inflow_m3
    rain(gauge, at("15:00"), 0.6)
    assert BasinWater.objects.get().inflow_m3 > before


def test_a_storm_that_turns_out_to_end_a_day_later_is_weighed_anew_everywhere_and_once():
    factory.make_built_site("OAK-1")
    factory.make_built_site("ELM-2", lat=factory.LAT + 30_000 / M_PER_DEGREE)
    near, far = gauge_at("N", 300), gauge_at("F", 29_900)
    rain(near, at("20:00", date(2026, 7, 13)), 0.4, 0, 0, 0, 0, 0, 0, 0, 0)
    rain(far, at("20:00", date(2026, 7, 13)), 0, 0, 0, 0, 0, 0, 0, 0, 0)
    SiteRain.objects.update(weighed_at=timezone.now())
    before = of_site()
    rain(far, at("01:00"), 0.3)
    found = of_site()
    assert (found.pk, found.depth_um, found.sureness) == (
        before.pk,
        before.depth_um,
        before.sureness,
    )
    assert found.storm.end_at == at("02:00")
    assert (found.weighed_at, found.storm_revision) == (None, found.storm.revision)
    SiteRain.objects.update(weighed_at=timezone.now())
    ReadingBatch.objects.update(storms_found_at=None)
    find_waiting_storms()
    assert of_site().weighed_at is not None


def test_a_gauge_that_was_moved_keeps_its_old_storms_where_it_stood():
    factory.make_built_site("OAK-1")
    factory.make_built_site("ELM-2", lat=factory.LAT + 30_000 / M_PER_DEGREE)
    gauge = gauge_at("A", 400)
    rain(gauge, at("15:00", date(2026, 7, 1)), 0.5)
    GaugePlace.objects.create(
        gauge=gauge,
        since=date(2026, 7, 10),
        lat=factory.LAT + 29_800 / M_PER_DEGREE,
        lon=factory.LON,
    )
    ReadingBatch.objects.update(storms_found_at=None)
    rain(gauge, at("15:00", date(2026, 7, 12)), 0.3)
    said = {
        (row.site.code, row.storm.start_at.day): [s["distance_m"] for s in row.sources]
        for row in SiteRain.objects.standing().select_related("site", "storm")
    }
    assert said == {
        ("OAK-1", 1): [400],
        ("ELM-2", 1): [],
        ("OAK-1", 12): [],
        ("ELM-2", 12): [200],
    }


def test_the_place_that_counts_is_that_of_the_storms_last_day_by_the_programs_clock():
    """A storm that ends at 23:00 on the 9th in the program's zone ends on the 10th by UTC; the gauge moves on the 10th."""
    factory.make_built_site("OAK-1")
    gauge = gauge_at("A", 400)
    GaugePlace.objects.create(
        gauge=gauge, since=date(2026, 7, 10), lat=factory.LAT + 0.03, lon=factory.LON
    )
    rain(gauge, at("22:00", date(2026, 7, 9)), 0.5)
    assert [s["distance_m"] for s in of_site().sources] == [400]


def test_places_are_asked_for_once_however_many_storms_and_moves_there_are():
    factory.make_built_site("OAK-1")
    gauge = gauge_at("A", 400)
    for day in range(1, 8):
        GaugePlace.objects.create(
            gauge=gauge, since=date(2026, 7, day), lat=factory.LAT + day / 1000, lon=factory.LON
        )
        rain(gauge, at("15:00", date(2026, 7, day)), 0.2)
    with CaptureQueriesContext(connection) as seen:
        note_outage(
            gauge=gauge_at("FAR", 90_000),
            start_s=factory.seconds(at("00:00", date(2026, 7, 1))),
            end_s=None,
            why="no power",
        )
    assert len([q for q in seen if 'FROM "rain_gaugeplace"' in q["sql"]]) == 1
