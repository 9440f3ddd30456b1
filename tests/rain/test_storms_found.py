"""Storms of readings that come in one after another: identity, revisions, merges, splits, and dated rules."""

from datetime import date, datetime, timedelta

import pytest

from stewardship.rain.choices import BatchSource, GaugeKind, ReadingKind
from stewardship.rain.models import Gauge, GaugeStorm, RainRule, ReadingBatch, Storm
from stewardship.rain.services import (
    add_readings,
    find_waiting_storms,
    note_outage,
    undo_batch,
)
from stewardship.rain.services import storms as services
from stewardship.rain.tasks import sweep_rain
from tests import factory
from tests.rain.pictures import picture

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen_day", "program")]

TUESDAY = date(2026, 7, 14)


def rain(
    gauge: Gauge, start: datetime, *depths_in: float | None, minutes: int = 60
) -> ReadingBatch:
    """Readings of so many minutes from `start`, and the storms found; None is missing."""
    rows = []
    for n, depth_in in enumerate(depths_in):
        start_s = factory.seconds(start) + n * minutes * 60
        kind = ReadingKind.MISSING if depth_in is None else ReadingKind.MEASURED if depth_in else ReadingKind.ZERO  # fmt: skip
        depth_um = None if depth_in is None else factory.um(depth_in)
        rows.append((start_s, start_s + minutes * 60, kind, depth_um, ""))
    batch = add_readings(gauge=gauge, rows=rows, source=BatchSource.TYPED)
    find_waiting_storms()
    return batch


def at(clock: str, day: date = TUESDAY) -> datetime:
    return factory.at(day, clock)


def spans() -> list[tuple[datetime, datetime]]:
    return [(s.start_at, s.end_at) for s in Storm.objects.standing().order_by("start_s")]


def test_a_dry_gap_of_exactly_six_hours_splits():
    """EPA's storm statistics (SWMM 5, inter-event hours): events are 6 or more hours apart."""
    gauge = factory.make_gauge()
    rain(gauge, at("01:00"), 0.1, 0, 0, 0, 0, 0, 0, 0.2)
    assert spans() == [(at("01:00"), at("02:00")), (at("08:00"), at("09:00"))]
    later = Storm.objects.standing().get(start_s=factory.seconds(at("08:00")))
    assert later.gauge_storms.get().dry_before_s == 6 * 3600


def test_more_rain_of_a_storm_is_its_next_revision():
    gauge = factory.make_gauge()
    rain(gauge, at("01:00"), 0.1)
    storm = Storm.objects.get()
    rain(gauge, at("04:00"), 0.2)
    storm.refresh_from_db()
    assert Storm.objects.count() == 1
    assert (storm.revision, storm.end_at) == (2, at("05:00"))
    assert storm.greatest_um == factory.um(0.3)
    first, second = storm.revisions.all()
    assert (first.why, first.greatest_um) == ("First found.", factory.um(0.1))
    assert second.why == "Readings came in: G1."


def test_readings_that_change_nothing_about_a_storm_make_no_revision():
    gauge = factory.make_gauge()
    rain(gauge, at("01:00"), 0.1)
    rain(gauge, at("02:00"), 0, 0)
    rain(gauge, at("01:00"), 0.1)
    assert Storm.objects.get().revision == 1


def test_rain_between_two_storms_makes_them_one_and_the_earlier_keeps_its_identity():
    gauge = factory.make_gauge()
    rain(gauge, at("01:00"), 0.1)
    rain(gauge, at("10:00"), 0.2)
    earlier, later = Storm.objects.order_by("start_s")
    rain(gauge, at("05:00"), 0.3)
    assert Storm.objects.standing().get() == earlier
    later.refresh_from_db()
    assert later.merged_into == earlier
    assert later.withdrawn_at is not None
    assert later.revisions.last().why == "New readings join it to the storm before."
    assert list(earlier.gauge_storms.values_list("depth_um", flat=True)) == [factory.um(0.6)]


def test_a_correction_to_dry_splits_a_storm_and_the_first_part_keeps_its_identity():
    gauge = factory.make_gauge()
    rain(gauge, at("01:00"), 0.1, 0, 0, 0, 0.3, 0, 0, 0, 0.2)
    whole = Storm.objects.get()
    rain(gauge, at("05:00"), 0)
    first, second = Storm.objects.standing().order_by("start_s")
    assert first == whole
    assert (second.split_from, second.revision) == (whole, 1)
    assert second.revisions.get().why == "Split off by new readings."


def test_a_storm_that_was_a_slip_is_withdrawn_not_deleted():
    gauge = factory.make_gauge()
    rain(gauge, at("01:00"), 2.5)
    rain(gauge, at("01:00"), 0)
    storm = Storm.objects.get()
    assert storm.withdrawn_at is not None
    assert not Storm.objects.standing().exists()
    assert not GaugeStorm.objects.exists()
    assert storm.revisions.last().why == "The readings no longer show it."


def test_storms_of_gauges_that_overlap_or_are_near_in_time_are_one_storm():
    north, south = factory.make_gauge("N"), factory.make_gauge("S")
    rain(north, at("01:00"), 0.1)
    rain(south, at("07:00"), 0.4)
    assert spans() == [(at("01:00"), at("08:00"))]
    storm = Storm.objects.standing().get()
    assert storm.greatest_um == factory.um(0.4)
    assert {part.gauge.code: part.depth_um for part in storm.gauge_storms.all()} == {
        "N": factory.um(0.1),
        "S": factory.um(0.4),
    }


def test_a_daily_total_belongs_to_the_storm_that_fell_in_its_day():
    bucket, reader = factory.make_gauge("B"), factory.make_gauge("R", kind=GaugeKind.DAILY)
    rain(bucket, at("15:00", date(2026, 7, 13)), 0.4)
    rain(reader, at("07:00", date(2026, 7, 13)), 0.5, minutes=24 * 60)
    assert spans() == [(at("15:00", date(2026, 7, 13)), at("16:00", date(2026, 7, 13)))]
    storm = Storm.objects.standing().get()
    assert not storm.coarse
    assert storm.greatest_um == factory.um(0.5)
    part = storm.gauge_storms.get(gauge=reader)
    assert part.coarse
    assert part.end_s - part.start_s == 24 * 3600


def test_wet_days_in_a_row_without_a_finer_gauge_are_one_coarse_storm():
    reader = factory.make_gauge("R", kind=GaugeKind.DAILY)
    rain(reader, at("07:00", date(2026, 7, 10)), 0.1, 0.2, 0, 0.3, minutes=24 * 60)
    assert spans() == [
        (at("07:00", date(2026, 7, 10)), at("07:00", date(2026, 7, 12))),
        (at("07:00", date(2026, 7, 13)), at("07:00", date(2026, 7, 14))),
    ]
    assert all(storm.coarse for storm in Storm.objects.standing())


def test_two_storms_in_one_total_count_as_one_because_it_cannot_be_shared_out():
    bucket, reader = factory.make_gauge("B"), factory.make_gauge("R", kind=GaugeKind.DAILY)
    rain(bucket, at("08:00", date(2026, 7, 13)), 0.1)
    rain(bucket, at("20:00", date(2026, 7, 13)), 0.1)
    assert Storm.objects.standing().count() == 2
    rain(reader, at("07:00", date(2026, 7, 13)), 0.5, minutes=24 * 60)
    assert Storm.objects.standing().count() == 1


def test_a_second_storm_that_comes_late_into_the_time_of_a_total_joins_the_first():
    bucket, reader = factory.make_gauge("B"), factory.make_gauge("R", kind=GaugeKind.DAILY)
    rain(reader, at("07:00", date(2026, 7, 13)), 0.5, minutes=24 * 60)
    rain(bucket, at("08:00", date(2026, 7, 13)), 0.1)
    rain(bucket, at("20:00", date(2026, 7, 13)), 0.1)
    storm = Storm.objects.get()
    assert (storm.start_at, storm.end_at) == (
        at("08:00", date(2026, 7, 13)),
        at("21:00", date(2026, 7, 13)),
    )
    assert storm.revision == 3


def test_a_trace_neither_starts_nor_bridges_a_storm():
    gauge = factory.make_gauge()
    start_s = factory.seconds(at("07:00"))
    trace = (start_s, start_s + 3600, ReadingKind.TRACE, 0, "T")
    add_readings(gauge=gauge, rows=[trace], source=BatchSource.TYPED)
    find_waiting_storms()
    assert not Storm.objects.exists()
    rain(gauge, at("03:00"), 0.1)
    rain(gauge, at("10:00"), 0.1)
    assert Storm.objects.standing().count() == 2


def test_t22_a_new_dry_gap_holds_for_storms_that_begin_under_it_and_leaves_the_past():
    """T22: a threshold changed in mid-season."""
    gauge = factory.make_gauge()
    first, second = date(2026, 6, 30), date(2026, 7, 1)
    for day in (first, second):
        rain(gauge, at("01:00", day), 0.1)
        rain(gauge, at("06:00", day), 0.1)
    assert len(spans()) == 2
    RainRule.objects.create(starts_on=second, dry_gap_s=3 * 3600)
    before = picture()
    sweep_rain()
    assert picture() == before
    rain(gauge, at("23:00", second), 0.1)
    rain(gauge, at("06:00", second), 0.2)
    assert spans() == [
        (at("01:00", first), at("07:00", first)),
        (at("01:00", second), at("02:00", second)),
        (at("06:00", second), at("07:00", second)),
        (at("23:00", second), at("00:00", second + timedelta(days=1))),
    ]


def test_dry_time_before_a_later_storm_follows_a_late_reading():
    gauge = factory.make_gauge()
    rain(gauge, at("01:00"), 0.1)
    rain(gauge, at("22:00"), 0.1)
    assert gauge.storms.order_by("start_s").last().dry_before_s == 20 * 3600
    rain(gauge, at("12:00"), 0.1)
    assert [part.dry_before_s for part in gauge.storms.order_by("start_s")] == [
        None,
        10 * 3600,
        9 * 3600,
    ]


def test_readings_of_a_gauge_that_was_out_do_not_count():
    gauge = factory.make_gauge()
    rain(gauge, at("01:00"), 0.1, 0.2)
    note_outage(
        gauge=gauge,
        start_s=factory.seconds(at("02:00")),
        end_s=factory.seconds(at("05:00")),
        why="blocked by leaves",
    )
    storm = Storm.objects.get()
    assert (storm.revision, storm.greatest_um) == (2, factory.um(0.1))
    outage = gauge.outages.get()
    note_outage(
        gauge=gauge,
        start_s=factory.seconds(at("04:00")),
        end_s=None,
        why="blocked by leaves",
        outage=outage,
    )
    storm.refresh_from_db()
    assert (storm.revision, storm.greatest_um) == (3, factory.um(0.3))


def test_finding_twice_changes_nothing():
    gauge = factory.make_gauge()
    rain(gauge, at("01:00"), 0.1, 0, 0.2)
    before = list(Storm.objects.values()), picture()
    ReadingBatch.objects.update(storms_found_at=None)
    assert find_waiting_storms() == 0
    assert (list(Storm.objects.values()), picture()) == before


def test_one_batch_that_fails_does_not_keep_the_others_back(monkeypatch):
    gauge = factory.make_gauge()
    for day in (10, 13):
        start_s = factory.seconds(at("01:00", date(2026, 7, day)))
        row = (start_s, start_s + 3600, ReadingKind.MEASURED, 254, "")
        add_readings(gauge=gauge, rows=[row], source=BatchSource.TYPED)
    bad = ReadingBatch.objects.order_by("pk").first()
    real = services.find_in

    def failing(span, **rest):
        if bad in span.batches:
            raise ZeroDivisionError
        return real(span, **rest)

    monkeypatch.setattr(services, "find_in", failing)
    assert find_waiting_storms() == 1
    assert list(ReadingBatch.objects.filter(storms_found_at=None)) == [bad]
    assert Storm.objects.get().start_at == at("01:00", date(2026, 7, 13))


def test_a_batch_of_known_readings_waits_for_nothing():
    gauge = factory.make_gauge()
    rain(gauge, at("01:00"), 0.1)
    start_s = factory.seconds(at("01:00"))
    row = (start_s, start_s + 3600, ReadingKind.MEASURED, factory.um(0.1), "")
    batch = add_readings(gauge=gauge, rows=[row], source=BatchSource.TYPED)
    assert (batch.same, batch.storms_found_at is not None) == (1, True)


def test_a_long_span_is_found_in_pieces_and_one_that_breaks_off_waits_and_is_done_again(
    monkeypatch,
):
    monkeypatch.setattr(services, "PIECE_S", 6 * 3600)
    gauge = factory.make_gauge()
    first = factory.seconds(at("01:00", date(2026, 7, 1)))
    rows = [
        (start_s, start_s + 3600, ReadingKind.MEASURED, 254, "")
        # storms of five hours, the rain of each across the end of a piece, a day of drought between them
        for start_s in (first + (n // 5 * 29 + n % 5) * 3600 for n in range(30))
    ]
    batch = add_readings(gauge=gauge, rows=rows, source=BatchSource.TYPED)
    real, pieces = services.find_in, []

    def broken_off(span, **rest):
        if len(pieces) == 3:
            raise ZeroDivisionError
        pieces.append((span.start_s, span.end_s))
        return real(span, **rest)

    monkeypatch.setattr(services, "find_in", broken_off)
    find_waiting_storms()
    batch.refresh_from_db()
    assert batch.storms_found_at is None
    found = Storm.objects.count()
    assert 0 < found < 6
    monkeypatch.setattr(services, "find_in", real)
    assert find_waiting_storms() == 6 - found
    assert [storm.revision for storm in Storm.objects.order_by("start_s")] == [1] * 6
    assert {storm.end_s - storm.start_s for storm in Storm.objects.all()} == {5 * 3600}


def test_readings_taken_back_while_their_storms_are_found_wait_to_be_found_again(monkeypatch):
    monkeypatch.setattr(services, "PIECE_S", 6 * 3600)
    gauge = factory.make_gauge()
    first = factory.seconds(at("01:00", date(2026, 7, 1)))
    rows = [
        (first + n * 86_400, first + n * 86_400 + 3600, ReadingKind.MEASURED, 254, "")
        for n in range(3)
    ]
    batch = add_readings(gauge=gauge, rows=rows, source=BatchSource.TYPED)
    real = services.find_in

    def and_somebody_takes_it_back(span, **rest):
        changed = real(span, **rest)
        monkeypatch.setattr(services, "find_in", real)
        undo_batch(batch=batch, by=None, why="The wrong gauge")
        return changed

    monkeypatch.setattr(services, "find_in", and_somebody_takes_it_back)
    find_waiting_storms()
    assert Storm.objects.standing().exists()
    find_waiting_storms()
    assert not Storm.objects.standing().exists()
    batch.refresh_from_db()
    assert batch.storms_found_at is not None
