"""A batch is taken back: what it brought goes, what it corrected says again what it said, storms and care follow."""

import io
from datetime import date, timedelta

import pytest
from django.core import mail
from django.core.management import call_command

from stewardship.care.choices import RainAsk
from stewardship.care.models import Duty, RainQuestion
from stewardship.common.errors import Refused
from stewardship.rain.choices import FileState, ReadingKind
from stewardship.rain.intake.ingest import import_file
from stewardship.rain.intake.layout import Wishes
from stewardship.rain.models import (
    Gauge,
    Reading,
    ReadingBatch,
    ReadingCorrection,
    Storm,
)
from stewardship.rain.services import (
    confirm_file,
    find_waiting_storms,
    undo_batch,
    undo_plan,
    upload_file,
)
from tests import factory
from tests.rain.pictures import picture

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen_day", "program")]


@pytest.fixture
def gauge() -> Gauge:
    return factory.make_gauge()


def bring(gauge: Gauge, **amounts: str) -> ReadingBatch:
    """Amounts of 14 July by the hour they end at: bring(gauge, h15="0.1", h16="T")."""
    lines = ["time,rain", *(f"2026-07-14 {hour[1:]}:00,{depth}" for hour, depth in amounts.items())]
    return import_file(
        gauge=gauge,
        file_name=f"{'-'.join(amounts.values())}.csv",
        content="\n".join(lines).encode(),
        wishes=Wishes(step="1h"),
    )


def undo(batch: ReadingBatch, why: str = "Wrong gauge"):
    return undo_batch(batch=batch, by=None, why=why)


def rows(gauge: Gauge) -> list[tuple[str, str, int | None, int]]:
    return [(r.kind, r.typed, r.depth_um, r.batch_id) for r in gauge.readings.order_by("start_s")]


def test_new_readings_go_and_the_batch_says_who_and_why(gauge, cast):
    batch = bring(gauge, h15="0.1", h16="0.2")
    plan = undo_batch(batch=batch, by=cast.coordinator, why=" Wrong gauge. ")
    assert (plan.removed, plan.restored, plan.stay) == (2, 0, 0)
    assert not Reading.objects.exists()
    batch.refresh_from_db()
    assert (batch.undone_by, batch.undone_why) == (cast.coordinator, "Wrong gauge.")
    assert batch.added == 2, "what it brought stays on its page"


def test_corrected_readings_say_again_what_they_said(gauge):
    first = bring(gauge, h15="0.1", h16="T", h17="M")
    before = rows(gauge)
    second = bring(gauge, h15="0.3", h16="0.02", h17="0.5", h18="0.7")
    assert (second.added, second.corrected) == (1, 3)
    plan = undo(second)
    assert (plan.removed, plan.restored, plan.stay) == (1, 3, 0)
    assert rows(gauge) == before
    assert {batch for *_rest, batch in before} == {first.pk}
    assert not ReadingCorrection.objects.exists()


def test_what_a_later_file_corrected_stays_and_goes_with_that_file(gauge):
    first = bring(gauge, h15="0.1", h16="0.2")
    second = bring(gauge, h15="0.3")
    assert undo_plan(first) == undo(first)
    assert rows(gauge) == [("measured", "0.3 in", 7620, second.pk)]
    plan = undo(second)
    assert (plan.removed, plan.restored) == (1, 0)
    assert not Reading.objects.exists()


def test_a_file_in_the_middle_is_skipped_when_the_last_one_goes(gauge):
    first, second, third = (bring(gauge, h15=depth) for depth in ("0.1", "0.2", "0.3"))
    assert undo(second).stay == 1
    assert rows(gauge)[0][2] == factory.um(0.3)
    undo(third)
    assert rows(gauge) == [("measured", "0.1 in", 2540, first.pk)]


def test_in_whatever_order_all_are_taken_back_nothing_is_left(gauge):
    batches = [bring(gauge, h15=depth, h16="0.1") for depth in ("0.1", "0.2", "0.3")]
    for batch in (batches[1], batches[0], batches[2]):
        undo(batch)
    assert not Reading.objects.exists()
    assert not ReadingCorrection.objects.exists()


def test_taking_back_twice_is_refused_and_changes_nothing(gauge):
    first = bring(gauge, h15="0.1")
    undo(first)
    bring(gauge, h15="0.2")
    before = rows(gauge)
    with pytest.raises(Refused, match="taken back already, on Wed 15 Jul, noon"):
        undo(first)
    assert rows(gauge) == before


def test_a_reason_is_needed(gauge):
    with pytest.raises(Refused, match="Say why"):
        undo(bring(gauge, h15="0.1"), why="  ")
    assert Reading.objects.count() == 1


def test_the_same_file_may_come_again(gauge):
    batch = bring(gauge, h15="0.1", h16="T")
    before = [row[:3] for row in rows(gauge)]
    undo(batch)
    again = bring(gauge, h15="0.1", h16="T")
    assert again.sha256 == batch.sha256
    assert (again.added, again.same) == (2, 0)
    assert [row[:3] for row in rows(gauge)] == before
    with pytest.raises(Refused, match="This file was imported"):
        bring(gauge, h15="0.1", h16="T")


def test_files_that_said_some_of_the_same_again_are_named_beforehand(gauge):
    first = bring(gauge, h15="0.1", h16="0.2")
    longer = bring(gauge, h15="0.1", h16="0.2", h17="0.3")
    assert undo_plan(first).leaning == [longer]
    assert undo_plan(longer).leaning == []


def test_storms_are_found_again_as_if_the_file_had_never_come(gauge):
    factory.make_built_site("OAK-1")
    bring(gauge, h15="0.1", h16="0.4")
    find_waiting_storms()
    before, storm = picture(), Storm.objects.get()
    second = bring(gauge, h16="0.9", h17="0.3")
    find_waiting_storms()
    assert picture() != before
    undo(second)
    second.refresh_from_db()
    assert second.storms_found_at is None
    find_waiting_storms()
    assert picture() == before
    storm.refresh_from_db()
    assert storm.revision == 3
    assert storm.revisions.last().why == "Readings were taken back: G1."


def test_a_storm_that_nothing_shows_any_more_is_gone(gauge):
    factory.make_built_site("OAK-1")
    nothing = picture()
    batch = bring(gauge, h15="0.4", h16="0.4")
    find_waiting_storms()
    undo(batch)
    find_waiting_storms()
    assert not Storm.objects.standing().exists()
    assert picture() == nothing


def test_a_file_whose_batches_are_all_taken_back_is_so_itself(cast):
    factory.make_gauge("north")
    factory.make_gauge("south")
    lines = ["time,north,south"] + [f"2026-07-14 {h:02}:00,0.1,0.2" for h in range(1, 9)]
    content = io.BytesIO("\n".join(lines).encode())
    file = upload_file(gauge=None, file_name="two.csv", content=content, by=cast.coordinator)
    file.refresh_from_db()
    file = confirm_file(file=file, seen=file.looked_at.isoformat(), by=cast.coordinator)
    one, other = file.batches.all()
    undo(one)
    file.refresh_from_db()
    assert file.state == FileState.TAKEN
    undo(other)
    file.refresh_from_db()
    assert file.state == FileState.UNDONE
    assert file.events.last().why == "Wrong gauge"
    assert not Reading.objects.exists()


def test_what_people_were_told_because_of_it_is_asked_about_and_nobody_is_told_again(cast):
    factory.make_care_rule(phase="establishing", least_in=0.5)
    gauge = factory.make_gauge()
    for site in (cast.site, cast.other_site):  # so that no look by calendar is due
        factory.make_visit(site, date(2026, 7, 5))
    batch = bring(gauge, h15="0.4", h16="0.4")
    call_command("run_sweeps", stdout=io.StringIO())
    letters = len(mail.outbox)
    assert (letters, Duty.objects.open().count()) == (1, 2), "the other letter is on paper"
    undo(batch)
    call_command("run_sweeps", stdout=io.StringIO())
    asked = RainQuestion.objects.open()
    assert {(one.site, one.ask) for one in asked} == {
        (cast.site, RainAsk.NEEDLESS),
        (cast.other_site, RainAsk.NEEDLESS),
    }
    assert Duty.objects.open().count() == 2, "a person decides"
    assert len(mail.outbox) == letters


def test_a_typed_reading_may_be_taken_back_too(gauge):
    start = factory.at(date(2026, 7, 14), "07:00")
    batch = factory.make_readings(gauge, start, timedelta(hours=24), [0.3])
    undo(batch)
    assert not Reading.objects.filter(kind=ReadingKind.MEASURED).exists()
