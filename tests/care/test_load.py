"""How much care a year would have asked for: the arithmetic, and what a site is told from the record near it."""

from datetime import date, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from stewardship.care.expected import expected_load
from stewardship.care.load import (
    ENOUGH_VISITS,
    USUAL_MINUTES,
    Rule,
    YearOfRain,
    care_in_year,
    usual_minutes,
    years_back,
)
from tests import factory
from tests.factory.times import um

FIRST, LAST = date(2025, 7, 15), date(2026, 7, 14)


def year(*rains: tuple[int, float]) -> YearOfRain:
    """A year with rains (day counted from its first, depth in inches)."""
    return YearOfRain(FIRST, LAST, [(FIRST + timedelta(days=day), um(inch)) for day, inch in rains])


def after_rain(*rains, least_in=0.25, within=5) -> int:
    return care_in_year(year(*rains), Rule(um(least_in), within, None)).after_rain


class TestOneYear:
    def test_storms_below_the_rule_ask_for_nothing_and_its_very_depth_does(self):
        assert after_rain((10, 0.24), (50, 0.25), (90, 0.60)) == 2

    def test_storms_until_the_day_a_look_is_due_are_one_look(self):
        assert after_rain((10, 0.5), (12, 0.5), (15, 0.5)) == 1
        assert after_rain((10, 0.5), (12, 0.5), (16, 0.5)) == 2

    def test_a_dry_year_still_has_its_rounds(self):
        # 365 days, a look every 30 / 60 / 90: 12, 6 and 4 (counted by hand)
        assert [
            care_in_year(year(), Rule(um(0.25), 5, every)).rounds for every in (30, 60, 90)
        ] == [12, 6, 4]

    def test_a_look_after_rain_stands_for_the_round_that_was_coming(self):
        rule = Rule(um(0.25), 5, 90)
        assert care_in_year(year((80, 1.0)), rule) == care_in_year(year((85, 1.0)), rule)
        # days 90, 180, 270, 360 without rain; with a look done on day 85 the next come on 175, 265 and 355
        assert care_in_year(year((80, 1.0)), rule).rounds == 3

    def test_what_a_phase_is_not_asked_for_is_not_counted(self):
        assert care_in_year(year((10, 2.0)), Rule(None, 0, None)).looks == 0

    def test_years_go_back_from_the_day_and_leave_none_out(self):
        found = years_back(date(2026, 7, 15), 2)
        assert found == [(FIRST, LAST), (date(2024, 7, 15), date(2025, 7, 14))]
        assert years_back(date(2024, 2, 29), 1) == [(date(2023, 3, 1), date(2024, 2, 28))]


RAINS = st.lists(
    st.tuples(st.integers(0, 364), st.floats(0, 3, allow_nan=False).map(lambda x: round(x, 2))),
    max_size=40,
)


class TestWhateverItRains:
    @settings(max_examples=150, deadline=None)
    @given(RAINS, RAINS, st.integers(1, 14))
    def test_more_rain_never_asks_for_fewer_looks(self, rains, more, within):
        assert after_rain(*rains, *more, within=within) >= after_rain(*rains, within=within)

    @settings(max_examples=150, deadline=None)
    @given(RAINS, st.integers(5, 200), st.integers(0, 100), st.integers(1, 14))
    def test_a_higher_threshold_never_asks_for_more_looks(self, rains, least, rise, within):
        low, high = least / 100, (least + rise) / 100
        assert after_rain(*rains, least_in=high, within=within) <= after_rain(
            *rains, least_in=low, within=within
        )

    @settings(max_examples=100, deadline=None)
    @given(RAINS, st.integers(2, 120))
    def test_nobody_is_ever_left_longer_than_a_round(self, rains, every):
        looks = care_in_year(year(*rains), Rule(um(0.25), 5, every)).looks
        assert looks >= 365 // (every + 5) - 1


def test_the_programs_own_visits_speak_once_there_are_enough():
    few = {"after_rain": [12.0] * (ENOUGH_VISITS - 1)}
    assert usual_minutes(few) == USUAL_MINUTES
    enough = {"after_rain": [10.0] * ENOUGH_VISITS + [50.0]}
    assert usual_minutes(enough) == USUAL_MINUTES | {"after_rain": 10.0}


# ---------------------------------------------------------------------------------------------------------------
def a_record(gauge, since: date, until: date, rains: dict[date, float]) -> None:
    """The gauge knows all that time and had these storms, each in one afternoon."""
    for day in (since, until):
        factory.make_readings(gauge, factory.at(day, "00:00"), timedelta(hours=1), [0], found=True)
    for day, depth_in in rains.items():
        factory.make_storm(factory.at(day, "15:00"), depth_in=depth_in, gauges=[gauge])


@pytest.fixture
def place(program, frozen_day):
    factory.make_care_rule(phase="settling_in", least_in=0.25)
    factory.make_care_rule(trigger="calendar", phase="settling_in", every_days=90)
    site = factory.make_site("OAK-7")
    factory.make_basin(site, plants=False)
    return site


def settling_in(load):
    return next(line for line in load.lines if line.phase == "settling_in")


@pytest.mark.django_db
class TestAtASite:
    def test_each_year_of_the_nearest_gauge_counts_by_itself(self, place):
        gauge = factory.make_gauge("G1", lists_dry=False)
        wet = {date(2025, 8, day): 0.5 for day in (1, 10, 20)} | {date(2024, 9, 1): 0.5}
        a_record(gauge, date(2024, 7, 1), factory.TODAY, wet)
        load = expected_load(place, factory.TODAY)
        line = settling_in(load)
        assert (line.after_rain.least, line.after_rain.mean, line.after_rain.most) == (1, 2, 3)
        assert line.after_rain_words == "about 2 (1 to 3)"
        assert load.years == 2
        assert "2 years of rain at gauge G1" in load.rests_on[0]
        assert {line.phase for line in load.lines} == {"settling_in", "establishing", "settled"}

    def test_too_short_a_record_is_said_instead_of_a_number(self, place):
        gauge = factory.make_gauge("G1", lists_dry=False)
        a_record(gauge, date(2026, 1, 1), factory.TODAY, {date(2026, 2, 1): 1.0})
        load = expected_load(place, factory.TODAY)
        assert not load.lines
        assert load.why_none.startswith("No gauge near OAK-7 has a whole year on record yet")

    def test_a_gauge_out_of_reach_says_nothing(self, place):
        far = factory.make_gauge("G2", lists_dry=False, lat=factory.LAT + 0.5)
        a_record(far, date(2024, 7, 1), factory.TODAY, {})
        assert not expected_load(place, factory.TODAY).lines

    def test_a_year_that_the_nearest_gauge_missed_comes_from_the_next_one(self, place):
        near = factory.make_gauge("G1", lists_dry=False)
        other = factory.make_gauge("G2", lists_dry=False, lat=factory.LAT + 0.02)
        a_record(near, date(2025, 7, 1), factory.TODAY, {})
        a_record(other, date(2024, 7, 1), factory.TODAY, {date(2024, 8, 1): 1.0})
        load = expected_load(place, factory.TODAY)
        assert [(one.gauge.code, one.years) for one in load.spoke] == [("G1", 1), ("G2", 1)]
        assert settling_in(load).after_rain.most == 1

    def test_one_year_gives_no_range_and_says_how_little_that_is(self, place):
        gauge = factory.make_gauge("G1", lists_dry=False)
        a_record(gauge, date(2025, 7, 1), factory.TODAY, {date(2025, 8, 1): 1.0})
        load = expected_load(place, factory.TODAY)
        assert settling_in(load).after_rain_words == "about 1"
        assert "One year says little" in " ".join(load.rests_on)

    def test_two_basins_take_twice_as_long_as_one(self, place):
        gauge = factory.make_gauge("G1", lists_dry=False)
        a_record(gauge, date(2025, 7, 1), factory.TODAY, {})
        one = settling_in(expected_load(place, factory.TODAY)).minutes.mean
        factory.make_basin(place, "B", plants=False)
        assert settling_in(expected_load(place, factory.TODAY)).minutes.mean == 2 * one

    def test_a_site_without_coordinates_is_told_why_there_is_no_figure(self, place):
        place.lat = place.lon = None
        place.save()
        assert expected_load(place, factory.TODAY).why_none.startswith("Without coordinates")

    def test_minutes_of_real_visits_are_used_once_there_are_enough(self, place):
        gauge = factory.make_gauge("G1", lists_dry=False)
        a_record(gauge, date(2025, 7, 1), factory.TODAY, {date(2025, 8, 1): 1.0})
        built = factory.make_built_site("OAK-8")
        for n in range(ENOUGH_VISITS):
            day = date(2026, 5, 1) + timedelta(days=n)
            duty = factory.make_duty(built, opened_on=day, state="met", closed_on=day)
            factory.make_visit(built, day, duty=duty, minutes=8)
        line = settling_in(expected_load(place, factory.TODAY))
        rounds = USUAL_MINUTES["calendar"] * line.rounds.mean
        assert line.minutes.mean == pytest.approx(8 + rounds)
