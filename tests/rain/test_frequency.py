"""How unusual a rain is: what is said of storms, and beside which table."""

from datetime import date

import pytest
from django.template.loader import render_to_string

from stewardship.common.errors import Refused
from stewardship.rain.choices import GaugeKind, Sureness
from stewardship.rain.models import FrequencyTable, GaugeStorm, SiteRain
from stewardship.rain.services import (
    find_waiting_storms,
    keep_frequencies,
    withdraw_frequencies,
)
from stewardship.rain.unusual import Tables, unusual_at_gauges, unusual_at_sites
from tests import factory
from tests.frequency_files import table_file

pytestmark = pytest.mark.django_db

STORM_AT = factory.at(date(2026, 7, 14), "16:00")


def part(gauge=None, *, hours: float = 1.0, depth_in: float = 0.6, **peaks_in) -> GaugeStorm:
    """A gauge's part of a storm with peaks in inches, as `peak_60min=0.6`."""
    gauge = gauge or factory.make_gauge()
    storm = factory.make_storm(STORM_AT, hours=hours, depth_in=depth_in)
    coarse = peaks_in.pop("coarse", False)
    return GaugeStorm.objects.create(
        storm=storm,
        gauge=gauge,
        start_s=storm.start_s,
        end_s=storm.end_s,
        depth_um=factory.um(depth_in),
        coarse=coarse,
        **{f"{name}_um": factory.um(inches) for name, inches in peaks_in.items()},
    )


def words_at_gauge(one: GaugeStorm) -> str:
    found = unusual_at_gauges([one], zone=factory.ZONE)
    return found[one.pk].words() if found else ""


def words_at_site(rain: SiteRain) -> str:
    found = unusual_at_sites([rain])
    return found[rain.pk].words() if found else ""


def site_rain(*, hours: float = 1.0, depth_in: float = 0.6, coarse: bool = False, **facts):
    storm = factory.make_storm(STORM_AT, hours=hours, depth_in=depth_in, coarse=coarse)
    rain = factory.make_site_rain(storm, factory.make_site("OAK-1"), depth_in=depth_in)
    for name, value in facts.items():
        setattr(rain, name, factory.um(value) if name.startswith("peak") else value)
    rain.save()
    return rain


# -- words ----------------------------------------------------------------------------------------------------
def test_a_storm_at_a_gauge_is_said_to_lie_between_two_rains_of_one_duration(program):
    factory.make_frequency_table()
    fine = {"peak_5min": 0.10, "peak_15min": 0.25, "peak_30min": 0.4, "peak_60min": 0.6}
    assert words_at_gauge(part(**fine)) == "between a 1- and 2-year 60-minute rain"


def test_the_most_unusual_duration_is_quoted(program):
    factory.make_frequency_table()
    burst = part(peak_5min=0.33, peak_15min=0.5, peak_30min=0.55, peak_60min=0.6)
    # 5 min: 0.15, 0.21, 0.30 … 0.375 in; 60 min: 0.50, 0.70 in
    assert words_at_gauge(burst) == "between a 5- and 10-year 5-minute rain"


def test_a_small_rain_is_smaller_than_a_one_year_rain_of_any_duration(program):
    factory.make_frequency_table()
    small = part(depth_in=0.2, peak_5min=0.05, peak_15min=0.1, peak_30min=0.15, peak_60min=0.2)
    assert words_at_gauge(small) == "smaller than a 1-year rain"


def test_of_hourly_readings_only_the_hour_is_called_small(program):
    factory.make_frequency_table()
    hourly = part(hours=3, depth_in=0.2, peak_60min=0.1, peak_24h=0.2)
    assert words_at_gauge(hourly) == "smaller than a 1-year 60-minute rain"
    annual = table_file(annual=True)
    factory.make_frequency_table(annual)
    assert (
        words_at_gauge(hourly)
        == "smaller than a 60-minute rain with a chance of 1 in 2 in any year"
    )


def test_more_than_the_table_holds_is_said_so(program):
    factory.make_frequency_table()
    assert (
        words_at_gauge(part(depth_in=3.5, peak_5min=0.1, peak_60min=3.5))
        == "more than a 1,000-year 60-minute rain"
    )


def test_a_window_as_long_as_one_reading_had_at_least_so_much(program):
    """Clock intervals cut the greatest rain: U.S. Weather Bureau Technical Paper 40, 1961."""
    factory.make_frequency_table()
    quarter_hours = part(depth_in=0.6, peak_15min=0.45, peak_30min=0.5, peak_60min=0.6)
    # 15 min: 0.28, 0.392, 0.56 in
    assert words_at_gauge(quarter_hours) == "at least a 2-year 15-minute rain"


def test_a_rain_that_fell_within_one_reading_is_not_cut_by_the_clock(program):
    factory.make_frequency_table()
    one = part(depth_in=0.45, peak_15min=0.45, peak_30min=0.45, peak_60min=0.45)
    assert words_at_gauge(one) == "between a 2- and 5-year 15-minute rain"


def test_a_rain_longer_than_an_hour_is_compared_as_a_whole_too(program):
    factory.make_frequency_table()
    long = part(hours=5, depth_in=1.2, peak_5min=0.05, peak_60min=0.3, peak_24h=1.2)
    # 6 h: 0.70, 0.98, 1.40 in; 24 h: 0.90, 1.26 in
    assert words_at_gauge(long) == "between a 2- and 5-year 6-hour rain"


def test_a_morning_total_is_worded_as_at_least(program):
    factory.make_frequency_table()
    daily = factory.make_gauge("D1", kind=GaugeKind.DAILY)
    one = part(daily, hours=48, depth_in=1.5, peak_24h=1.3, coarse=True)
    assert words_at_gauge(one) == "at least a 2-year 24-hour rain"


def test_a_morning_total_just_below_the_first_published_depth_is_close_to_it(program):
    factory.make_frequency_table()
    daily = factory.make_gauge("D1", kind=GaugeKind.DAILY)
    # 0.85 in x 1.13 is 0.96 in, over the 0.90 of a 1-year day; 0.70 in x 1.13 is not
    near = part(daily, hours=48, depth_in=1.5, peak_24h=0.85, coarse=True)
    assert words_at_gauge(near) == "close to a 1-year 24-hour rain"
    other = factory.make_gauge("D2", kind=GaugeKind.DAILY)
    small = part(other, hours=48, depth_in=1.2, peak_24h=0.7, coarse=True)
    # a cloudburst may hide in a day: nothing is said of the storm as a whole
    assert words_at_gauge(small) == "smaller than a 1-year 24-hour rain"


def test_of_totals_over_several_days_nothing_is_said(program):
    factory.make_frequency_table()
    assert words_at_gauge(part(hours=72, depth_in=3, coarse=True)) == ""


def test_without_a_table_nothing_is_said(program):
    assert words_at_gauge(part(peak_60min=0.6)) == ""
    assert words_at_site(site_rain(peak_60min_um=0.6)) == ""


def test_annual_maxima_are_worded_as_chances(program):
    factory.make_frequency_table(table_file(annual=True))
    assert (
        words_at_gauge(part(depth_in=0.8, peak_5min=0.1, peak_60min=0.8))
        == "a 60-minute rain with a chance between 1 in 5 and 1 in 2 in any year"
    )
    small = part(factory.make_gauge("G2"), depth_in=0.2, peak_5min=0.05, peak_60min=0.2)
    assert words_at_gauge(small) == "smaller than a rain with a chance of 1 in 2 in any year"


def test_a_site_is_compared_by_its_peaks_and_its_whole_rain(program):
    factory.make_frequency_table()
    rain = site_rain(hours=2, depth_in=0.85, peak_15min_um=0.2, peak_60min_um=0.55)
    # 2 h: 0.58, 0.812, 1.16 in
    assert words_at_site(rain) == "between a 2- and 5-year 2-hour rain"


def test_a_site_known_from_totals_is_compared_only_if_the_storm_is_made_of_totals(program):
    factory.make_frequency_table()
    fine = site_rain(hours=2, depth_in=1.3)
    assert words_at_site(fine) == ""
    fine.storm.coarse, fine.storm.end_s = True, fine.storm.start_s + 86_400
    assert words_at_site(fine) == "at least a 2-year 24-hour rain"


def test_a_declared_rain_is_compared_over_the_time_of_the_storm(program):
    factory.make_frequency_table()
    rain = site_rain(hours=3, depth_in=0.7, sureness=Sureness.DECLARED)
    # 3 h: 0.61, 0.854 in
    assert words_at_site(rain) == "between a 1- and 2-year 3-hour rain"


def test_nothing_is_said_of_a_dry_or_an_unknown_site(program):
    factory.make_frequency_table()
    storm = factory.make_storm(STORM_AT)
    dry = factory.make_site_rain(storm, factory.make_site("OAK-1"), depth_in=0)
    unknown = factory.make_site_rain(storm, factory.make_site("ELM-2"), depth_in=None)
    assert unusual_at_sites([dry, unknown]) == {}


def test_many_sites_and_gauges_take_as_many_queries_as_one(program, django_assert_num_queries):
    factory.make_frequency_table()
    storm = factory.make_storm(STORM_AT)
    for n in range(12):
        factory.make_site_rain(storm, factory.make_site(f"OAK-{n}"))
        GaugeStorm.objects.create(
            storm=storm,
            gauge=factory.make_gauge(f"G{n}"),
            start_s=storm.start_s,
            end_s=storm.end_s,
            depth_um=factory.um(0.6),
            peak_60min_um=factory.um(0.6),
        )
    rains = list(storm.site_rains.select_related("site", "storm"))
    parts = list(storm.gauge_storms.select_related("gauge"))
    with django_assert_num_queries(1):
        unusual_at_sites(rains)
    with django_assert_num_queries(2):
        assert len(unusual_at_gauges(parts, zone=factory.ZONE)) == 12


def test_readings_lead_to_words(program):
    """A whole way: quarter-hour readings, the storm in them, the words."""
    factory.make_frequency_table()
    gauge = factory.make_gauge()
    factory.make_built_site("OAK-1")
    factory.make_readings(gauge, STORM_AT, factory.QUARTER, [0, 0.1, 0.2, 0.3, 0.12, 0.05, 0])
    find_waiting_storms()
    # the wettest hour has 0.72 in, between 0.70 and 1.00; the wettest quarter 0.30, between 0.28 and 0.392
    assert words_at_gauge(GaugeStorm.objects.get()) == "between a 2- and 5-year 60-minute rain"
    rain = SiteRain.objects.select_related("site", "storm").get()
    assert words_at_site(rain) == "between a 2- and 5-year 60-minute rain"


def test_the_comparison_as_a_table_shows_one_year_more_than_is_reached(program):
    factory.make_frequency_table()
    one = part(depth_in=1.3, peak_5min=0.1, peak_60min=1.3)
    unusual = unusual_at_gauges([one], zone=factory.ZONE)[one.pk]
    assert unusual.years == ["1-year", "2-year", "5-year", "10-year", "25-year"]
    html = render_to_string(
        "rain/how_unusual.html", {"unusual": unusual, "where": one.gauge, "program": program}
    )
    for words in ("1.30 in", "1.25 in", "between a 10- and 25-year rain", "smaller than a 1-year"):
        assert words in html
    assert "At least" not in html


# -- which table ----------------------------------------------------------------------------------------------
def test_the_nearest_table_speaks_and_none_from_far_away(program):
    near = factory.make_frequency_table(name="Town")
    other = factory.make_frequency_table(
        table_file(lat="34.7000 Degree"), name="Foothills"
    )  # 20 km north
    tables = Tables.load()
    assert tables.nearest([(34.53, -106.24), (34.69, -106.24), (35.6, -106.24)]) == [
        near,
        other,
        None,
    ]


def test_what_has_no_place_takes_the_only_table(program):
    only = factory.make_frequency_table()
    assert Tables.load().nearest([(None, None)]) == [only]
    factory.make_frequency_table(table_file(lat="34.7000 Degree"), name="Foothills")
    assert Tables.load().nearest([(None, None)]) == [None]


def test_a_newer_table_of_the_same_place_replaces_the_older_one(cast):
    old = factory.make_frequency_table(name="Town")
    new = keep_frequencies(
        text=table_file(source="NOAA Atlas 14 Volume 1 Version 6", lat="34.5250 Degree"),
        name="Town",
        by=cast.coordinator,
    )
    old.refresh_from_db()
    assert old.replaced_by == new and old.ended_by == cast.coordinator
    assert list(FrequencyTable.objects.standing()) == [new]
    other_place = factory.make_frequency_table(table_file(lat="34.5600 Degree"), name="North")
    assert set(FrequencyTable.objects.standing()) == {new, other_place}


def test_the_same_table_twice_is_refused_and_under_another_name_it_replaces(program):
    factory.make_frequency_table(name="Town")
    with pytest.raises(Refused, match="in the book already"):
        factory.make_frequency_table(name=" Town ")
    factory.make_frequency_table(name="The whole town")
    assert [table.name for table in FrequencyTable.objects.standing()] == ["The whole town"]


def test_a_table_from_far_away_is_refused(program):
    factory.make_gauge()
    with pytest.raises(Refused, match="from your nearest site or gauge"):
        factory.make_frequency_table(table_file(lon="106.2440 Degree"))
    assert not FrequencyTable.objects.exists()


def test_a_withdrawn_table_says_nothing_and_stays(cast):
    table = factory.make_frequency_table()
    one = part(peak_60min=0.6)
    assert words_at_gauge(one)
    withdraw_frequencies(table=table, by=cast.coordinator)
    assert words_at_gauge(one) == ""
    with pytest.raises(Refused, match="not in use"):
        withdraw_frequencies(table=table, by=cast.coordinator)
    assert FrequencyTable.objects.get().ended_by == cast.coordinator
