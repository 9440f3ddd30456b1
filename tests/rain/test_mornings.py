"""A reader's ten seconds: this morning's rain, mornings that were missed, slips put right."""

from datetime import date, timedelta

import pytest
import time_machine

from stewardship.rain.choices import BatchSource, GaugeKind, ReadingKind
from stewardship.rain.models import Reading, ReadingBatch
from stewardship.rain.services import (
    find_waiting_storms,
)
from tests import factory
from tests.rain.morning_form import FORM, TODAY, show, told, type_in

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen_day")]


# -- this morning ----------------------------------------------------------------------------------------------
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
    response = type_in(reader, school, typed)
    assert told(response) == (
        f"Written down for school, the 24 hours until 7 this morning: {said}. Thank you."
    )
    reading = Reading.objects.get()
    assert (reading.kind, reading.depth_um) == (kind, depth_um)
    assert reading.start_at == factory.at(date(2026, 7, 14), "07:00")
    assert reading.end_at == factory.at(date(2026, 7, 15), "07:00")
    assert (reading.batch.source, reading.batch.by) == (BatchSource.TYPED, cast.reader)


@pytest.mark.parametrize(
    ("tap", "words", "kind"),
    [
        ("0", "Dry", ReadingKind.ZERO),
        ("T", "A trace", ReadingKind.TRACE),
        ("M", "Nobody looked", ReadingKind.MISSING),
    ],
)
def test_one_tap_says_what_no_number_says(reader, school, tap, words, kind):
    assert f'<button name="tap" value="{tap}">{words}</button>' in show(reader)
    type_in(reader, school, tap=tap)
    assert Reading.objects.get().kind == kind


def test_a_number_and_a_tap_that_say_different_things_are_asked_about(reader, school):
    shown = type_in(reader, school, "0.3", tap="0").content.decode()
    assert "You wrote 0.3 and pressed “Dry”. Write it down, or empty the box." in shown
    assert 'value="0.3"' in shown
    assert not Reading.objects.exists()
    type_in(reader, school, "T", tap="T")
    assert Reading.objects.get().kind == ReadingKind.TRACE


def test_the_page_says_in_words_which_time_is_meant(reader, school):
    assert "Gauge school: the 24 hours until 7 this morning" in show(reader)
    assert "Gauge school: the 24 hours until 7 a.m. yesterday" in show(reader, day="2026-07-14")
    assert "Gauge school: the 24 hours until Mon 13 Jul, 7 a.m." in show(reader, day="2026-07-13")


def test_a_gauge_that_is_read_in_the_evening_means_yesterday_until_it_is_evening(reader, cast):
    gauge = factory.make_gauge("porch", kind=GaugeKind.DAILY, observation_hour=18)
    gauge.readers.add(cast.reader.person)
    assert "the 24 hours until 6 p.m. yesterday" in show(reader)
    with time_machine.travel(factory.at(factory.TODAY, "15:30"), tick=False):
        assert "the 24 hours until 6 p.m. today" in show(reader)
        type_in(reader, gauge, "0.1")
    assert Reading.objects.get().end_at == factory.at(factory.TODAY, "18:00")


@pytest.mark.parametrize(
    ("day", "hours", "clock"),
    [
        # 2026: clocks go forward on 8 March, back on 1 November (15 U.S.C. 260a: second Sunday, first Sunday)
        (date(2026, 3, 8), 23, "08:00"),
        (date(2026, 3, 9), 24, "08:00"),
        (date(2026, 11, 1), 25, "08:00"),
        (date(2026, 11, 2), 24, "08:00"),
    ],
)
def test_a_day_on_which_the_clocks_change_is_as_long_as_it_was(
    client_of, school, day, hours, clock
):
    with time_machine.travel(factory.at(day, clock), tick=False):
        reader = client_of("reader")
        assert f"the {hours} hours until 7 this morning" in show(reader)
        type_in(reader, school, "0.2", day=day.isoformat())
    reading = Reading.objects.get()
    assert reading.kind == ReadingKind.MEASURED
    assert reading.end_s - reading.start_s == hours * 3600
    assert reading.end_at == factory.at(day, "07:00")


def test_an_early_riser_may_write_down_this_mornings_reading(reader, school):
    with time_machine.travel(factory.at(date(2026, 7, 15), "06:10"), tick=False):
        assert "Written down for school" in told(type_in(reader, school, "0.1"))
    with time_machine.travel(factory.at(date(2026, 7, 15), "12:00"), tick=False):
        assert "still to come" in type_in(reader, school, "0.1", "2026-07-16").content.decode()


def test_at_three_in_the_night_the_last_morning_is_yesterdays(reader, school):
    with time_machine.travel(factory.at(date(2026, 7, 15), "03:10"), tick=False):
        assert "the 24 hours until 7 a.m. yesterday" in show(reader)
        assert "still to come" in type_in(reader, school, "0.1").content.decode()


# -- slips -----------------------------------------------------------------------------------------------------
@pytest.mark.parametrize(
    ("field", "typed", "sentence"),
    [
        ("amount", "lots", "“lots” is not a depth."),
        ("amount", "-0.2", "“-0.2” is below zero; rain is not."),
        ("amount", "NaN mm", "“NaN mm” is not a depth."),
        ("amount", "1e308", "“1e308” is more than can fall."),
        ("amount", "", "Write 0 if it was dry, T for a trace, M if nobody looked."),
        ("amount", "90", "90 in within 24 h is more than has ever been measured"),
        ("day", "2026-07-16", "That morning is still to come."),
        ("day", "2022-12-31", "The gauge stands there since Sun 1 Jan 2023."),
        ("day", "", "Fill this in."),
        ("days", "40", "At most 31."),
        ("days", "0", "At least 1."),
    ],
)
def test_a_slip_is_answered_in_one_sentence_and_keeps_what_was_typed(
    reader, school, field, typed, sentence
):
    values = {"amount": "0.62", "day": TODAY, "days": "1"} | {field: typed}
    shown = type_in(reader, school, **values).content.decode()
    assert sentence in shown
    for value in values.values():
        assert not value or f'value="{value}"' in shown
    assert not Reading.objects.exists()
    assert not ReadingBatch.objects.exists()


def test_an_amount_of_more_than_four_inches_is_asked_about_once(reader, school):
    shown = type_in(reader, school, "6.2").content.decode()
    assert "6.20 in is a great deal of rain." in shown
    assert 'value="6.2"' in shown
    assert not Reading.objects.exists()
    assert '<button class="button-main" name="sure" value="157480">Yes, 6.20 in</button>' in shown
    assert "Written down for school, the 24 hours until 7 this morning: 6.20 in" in told(
        type_in(reader, school, "6.2", sure="157480")
    )


def test_being_sure_of_one_amount_says_nothing_of_another(reader, school):
    shown = type_in(reader, school, "9.9", sure="157480").content.decode()
    assert "9.90 in is a great deal of rain." in shown
    assert told(type_in(reader, school, "0.62", sure="157480"))


def test_millimetres_taken_for_inches_are_asked_about(reader, school):
    assert "8.00 in is a great deal of rain." in type_in(reader, school, "8").content.decode()


def test_more_than_a_gauge_ever_had_is_asked_about_once_it_has_a_record(reader, school):
    def ask(amount: str) -> str:
        return type_in(reader, school, amount).content.decode()

    start = factory.at(date(2026, 5, 1), "07:00")
    factory.make_readings(school, start, timedelta(days=1), [1.5, *[0] * 28])
    assert "Written down for school, the 24 hours until 7 this morning: 1.60 in" in told(
        type_in(reader, school, "1.6")
    )
    Reading.objects.latest("end_s").delete()
    factory.make_readings(school, start + timedelta(days=40), timedelta(days=1), [0.2])
    assert "1.60 in would be the most ever at this gauge; it was 1.50 in so far." in ask("1.6")
    assert not Reading.objects.filter(depth_um=factory.um(1.6)).exists()


def test_a_slip_of_the_record_itself_is_corrected_without_being_its_own_measure(reader, school):
    start = factory.at(date(2026, 5, 1), "07:00")
    factory.make_readings(school, start, timedelta(days=1), [0.1] * 30)
    type_in(reader, school, "3.4", sure=str(factory.um(3.4)))
    shown = type_in(reader, school, "3.3").content.decode()
    assert "3.30 in would be the most ever at this gauge; it was 0.10 in so far." in shown


# -- corrections -----------------------------------------------------------------------------------------------
def test_the_same_morning_again_is_known_or_a_correction(reader, school, cast):
    type_in(reader, school, "0.10")
    assert told(type_in(reader, school, "0.1")) == (
        "Known already for school, the 24 hours until 7 this morning: 0.10 in."
    )
    assert told(type_in(reader, school, "0.21")) == (
        "Corrected for school, the 24 hours until 7 this morning: 0.10 in → 0.21 in. "
        "What stood there stays in its history."
    )
    assert Reading.objects.get().depth_um == 5334
    shown = show(reader, day=TODAY)
    assert "Written down: <strong>0.21 in</strong>" in shown
    assert "Before: 0.10 in (0.10 in)" in shown
    assert ", Wen Salazar</li>" in shown


def test_nobody_looked_cannot_take_back_a_depth(reader, school):
    type_in(reader, school, "0.02")
    shown = type_in(reader, school, "M").content.decode()
    assert "M cannot take back 0.02 in. Write down the right depth instead." in shown
    assert 'value="M"' in shown
    assert Reading.objects.get().depth_um == 508


def test_a_morning_of_which_nobody_knew_can_be_filled_in_later(reader, school):
    type_in(reader, school, tap="M")
    assert "Missing → 0.30 in" in told(type_in(reader, school, "0.3"))


# -- other mornings --------------------------------------------------------------------------------------------
def test_the_last_seven_mornings_say_what_stands_there_and_open(reader, school):
    type_in(reader, school, tap="T", day="2026-07-13")
    type_in(reader, school, "0.33", day="2026-07-14")
    response = reader.get(FORM)
    said = [(one.day.day, words) for one, words in response.context["mornings"]]
    assert said == [(15, ""), (14, "0.33 in"), (13, "Trace"), *[(n, "") for n in range(12, 8, -1)]]
    shown = response.content.decode()
    assert "?gauge=school&amp;day=2026-07-12" in shown
    opened = show(reader, gauge="school", day="2026-07-12")
    assert "Rain of an earlier day" in opened
    type_in(reader, school, "0.05", day="2026-07-12")
    assert Reading.objects.get(depth_um=factory.um(0.05)).end_at == (
        factory.at(date(2026, 7, 12), "07:00")
    )


def test_a_new_gauge_has_no_mornings_before_its_first_day(reader, cast):
    gauge = factory.make_gauge("new", kind=GaugeKind.DAILY, started_on=date(2026, 7, 14))
    gauge.readers.add(cast.reader.person)
    assert [one.day.day for one, _w in reader.get(FORM).context["mornings"]] == [15, 14]
    shown = type_in(reader, gauge, "0.2", day="2026-07-14", days="2").content.decode()
    assert "The gauge stands there since Tue 14 Jul." in shown


@pytest.mark.parametrize(
    ("asked", "sentence"),
    [
        ("soon", "That is not a day."),
        ("2026-02-31", "That is not a day."),
        ("2026-07-16", "That morning is still to come."),
        ("2022-12-31", "The gauge stands there since Sun 1 Jan 2023."),
    ],
)
def test_a_day_that_cannot_be_shown_is_said_and_this_morning_is_shown(
    reader, school, asked, sentence
):
    shown = show(reader, day=asked)
    assert sentence in shown
    assert "the 24 hours until 7 this morning" in shown


def test_a_total_of_several_days_is_kept_as_one_and_its_days_point_at_it(reader, school):
    response = type_in(reader, school, "0.8", day="2026-07-13", days="3")
    assert "the 3 days until Mon 13 Jul, 7 a.m.: 0.80 in. Thank you." in told(response)
    reading = Reading.objects.get()
    assert reading.kind == ReadingKind.MULTI_DAY
    assert reading.start_at == factory.at(date(2026, 7, 10), "07:00")
    shown = show(reader, day="2026-07-12")
    assert "This day is part of a total of several days: 0.80 in." in shown
    assert "?gauge=school&amp;day=2026-07-13" in shown
    response = type_in(reader, school, "0.9", day="2026-07-13", days="3")
    assert "0.80 in → 0.90 in" in told(response)
    assert 'name="days" value="3"' in show(reader, day="2026-07-13")


def test_a_morning_inside_a_total_is_refused_with_the_reason(reader, school):
    type_in(reader, school, "0.8", day="2026-07-13", days="3")
    shown = type_in(reader, school, "0.2", day="2026-07-12").content.decode()
    assert "The time overlaps another reading, from Fri 10 Jul, 7 a.m. to Mon 13 Jul, 7 a.m." in (
        shown
    )
    assert Reading.objects.count() == 1


def test_after_empty_mornings_the_page_asks_whether_this_is_the_rain_of_all_of_them(reader, school):
    type_in(reader, school, "0.1", day="2026-07-12")
    assert "If this is the rain of all 3 days, say so here." in show(reader)
    type_in(reader, school, "0.1", day="2026-07-14", days="2")
    assert "say so here" not in show(reader)


# -- whose gauge -----------------------------------------------------------------------------------------------
def test_a_reader_of_several_gauges_goes_from_one_to_the_next(reader, school, cast):
    porch = factory.make_gauge("porch", kind=GaugeKind.DAILY)
    porch.readers.add(cast.reader.person)
    assert reader.get(FORM).context["gauge"] == porch
    response = type_in(reader, porch, "0.1")
    assert "Written down for porch" in told(response)
    assert response.context["gauge"] == school
    assert type_in(reader, school, "0.2").context["gauge"] == porch
    assert reader.get(FORM, {"gauge": "school"}).context["gauge"] == school


def test_a_reader_sees_only_the_gauges_that_are_theirs(reader, school):
    other = factory.make_gauge("depot", kind=GaugeKind.DAILY)
    assert "depot" not in show(reader)
    assert "Gauge depot" not in show(reader, gauge="depot")
    response = type_in(reader, other, "0.1")
    assert list(response.context["form"].errors) == ["gauge"]
    assert not Reading.objects.exists()


def test_a_reader_without_a_gauge_is_told_whom_to_call(reader):
    assert "No gauge is named as yours to read." in show(reader)
    assert reader.post(FORM, {"amount": "0.1"}).status_code == 200


def test_a_coordinator_may_write_down_any_daily_reading_but_not_a_machines(coordinator, school):
    factory.make_gauge("bucket", kind=GaugeKind.TIPPING)
    shown = show(coordinator)
    assert "school" in shown
    assert "bucket" not in shown


def test_a_metric_gauge_is_read_in_millimetres(reader, school):
    factory.make_program(units="metric")
    school.unit = "mm"
    school.save()
    assert "How much (millimetres)" in show(reader)
    assert "this morning: 12.5 mm." in told(type_in(reader, school, "12,5"))


def test_typed_readings_become_storms(reader, school, cast):
    type_in(reader, school, "0.62")
    assert find_waiting_storms() == 1
    assert cast.site.rains.get().depth_um == 15_748
