"""An uploaded file on its way: looked through, changed, confirmed, taken in by a worker, refused, thrown away."""

import io
from datetime import timedelta

import pytest
from django.db import OperationalError

from stewardship.common.errors import Refused
from stewardship.rain.choices import FileState
from stewardship.rain.intake import filestore
from stewardship.rain.intake.layout import Wishes
from stewardship.rain.models import (
    Gauge,
    Reading,
    ReadingBatch,
    ReadingFile,
    ReadingFilePart,
    RejectedRow,
)
from stewardship.rain.services import (
    carry_on_files,
    confirm_file,
    drop_file,
    files,
    look_through,
    say_layout,
    take_in,
    upload_file,
)
from stewardship.rain.tasks import sweep_files
from tests import factory

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen_day", "program")]

GOOD = b"time,rain\n2026-07-14 15:00,0.10\n2026-07-14 15:15,0.05\n2026-07-14 15:30,-1\n"


@pytest.fixture
def gauge() -> Gauge:
    return factory.make_gauge()


@pytest.fixture
def by():
    return factory.make_user("coordinator")


@pytest.fixture
def slow(monkeypatch) -> None:
    """Every file is one for the worker."""
    monkeypatch.setattr(files, "AT_ONCE_BYTES", 0)


def upload(gauge, by, content: bytes = GOOD) -> ReadingFile:
    file = upload_file(gauge=gauge, file_name="july.csv", content=io.BytesIO(content), by=by)
    file.refresh_from_db()
    return file


def confirm(file: ReadingFile, by) -> ReadingFile:
    file.refresh_from_db()
    return confirm_file(file=file, seen=file.looked_at.isoformat(), by=by)


def counts(file: ReadingFile) -> tuple[int, ...]:
    (one,) = file.found["gauges"]
    return one["added"], one["same"], one["corrected"], one["rejected"]


def nothing_in_the_book() -> bool:
    return not any(m.objects.exists() for m in (Reading, ReadingBatch, RejectedRow))


def test_a_small_file_is_looked_through_at_once_and_nothing_is_taken_in(gauge, by):
    file = upload(gauge, by)
    assert (file.state, file.by, file.rows_read) == (FileState.LOOKED, by, 3)
    assert counts(file) == (2, 0, 0, 1)
    assert file.found["rejected"] == [[4, "G1", "2026-07-14 15:30, -1", "“-1” is below zero; rain is not."]]  # fmt: skip
    assert nothing_in_the_book()


def test_a_confirmed_file_is_taken_in_and_its_bytes_go(gauge, by):
    file = confirm(upload(gauge, by), by)
    assert file.state == FileState.TAKEN
    batch = file.batches.get()
    assert (batch.added, batch.rejected, batch.by, batch.file_name) == (2, 1, by, "july.csv")
    assert not file.parts.exists()
    assert [(e.was, e.became, e.by) for e in file.events.all()] == [
        ("", "looked", by),
        ("looked", "confirmed", by),
        ("confirmed", "taken", None),
    ]


def test_a_large_file_waits_for_the_worker_to_be_looked_through_and_to_be_taken_in(gauge, by, slow):
    file = upload(gauge, by)
    assert file.found is None
    with pytest.raises(Refused, match="does not wait for your yes"):
        confirm_file(file=file, seen="", by=by)
    sweep_files()
    file.refresh_from_db()
    assert counts(file) == (2, 0, 0, 1)
    file = confirm(file, by)
    assert file.state == FileState.CONFIRMED
    assert nothing_in_the_book()
    sweep_files()
    file.refresh_from_db()
    assert (file.state, file.rows_read) == (FileState.TAKEN, 3)
    sweep_files()
    assert Reading.objects.count() == 2


def test_what_a_person_says_is_kept_and_looked_through_again(gauge, by):
    file = upload(gauge, by)
    assert file.found["gauges"][0]["depth_um"] == factory.um(0.15)
    file = say_layout(file=file, gauge=gauge, wishes=Wishes(unit="mm"), by=by)
    file.refresh_from_db()
    assert file.wishes["unit"] == "mm"
    assert file.found["gauges"][0]["depth_um"] == 150
    assert confirm(file, by).batches.get().readings.first().typed == "0.10 mm"


def test_a_yes_holds_for_what_was_shown_and_for_nothing_else(gauge, by, frozen_day):
    file = upload(gauge, by)
    seen = file.looked_at.isoformat()
    frozen_day.shift(timedelta(minutes=1))
    say_layout(file=file, gauge=gauge, wishes=Wishes(unit="mm"), by=by)
    with pytest.raises(Refused, match="looked through again since"):
        confirm_file(file=file, seen=seen, by=by)
    assert nothing_in_the_book()


def test_what_would_be_refused_cannot_be_confirmed(gauge, by):
    file = upload(gauge, by, b"time,rain\n2026-07-14 15:00,lots\n2026-07-14 15:15,some\n")
    assert file.found["refusal"].startswith("None of the 2 rows could be taken in.")
    with pytest.raises(Refused, match="None of the 2 rows"):
        confirm(file, by)


@pytest.mark.parametrize(
    ("content", "sentence"),
    [
        (b"", "The file is empty."),
        (b"%PDF-1.7", "The file is a PDF, not a table. Ask for the readings as CSV."),
        (
            b"Dear all:\nit rained.\n",
            "The file is not a table: its lines are not divided by commas, semicolons, tabs or bars.",
        ),
    ],
)
def test_what_is_no_table_at_all_is_not_kept(gauge, by, content, sentence):
    with pytest.raises(Refused) as refused:
        upload(gauge, by, content)
    assert str(refused.value) == sentence
    assert not ReadingFile.objects.exists()
    assert not ReadingFilePart.objects.exists()


def test_a_file_of_several_gauges_is_taken_in_as_one_batch_for_each(by):
    factory.make_gauge("north")
    factory.make_gauge("south")
    lines = ["time,north,south"] + [f"2026-07-14 {h:02}:00,0.1,0.2" for h in range(1, 9)]
    file = confirm(upload(None, by, "\n".join(lines).encode()), by)
    assert [(b.gauge.code, b.added) for b in file.batches.order_by("gauge__code")] == [
        ("north", 8),
        ("south", 8),
    ]


def test_a_file_is_kept_in_parts_that_are_read_one_by_one(gauge, by, monkeypatch):
    monkeypatch.setattr(filestore, "PART_BYTES", 7)
    file = upload(gauge, by)
    assert file.parts.count() == -(-len(GOOD) // 7)
    kept = filestore.stored(file)
    assert kept.read() == GOOD
    kept.seek(10)
    assert kept.read(9) == GOOD[10:19]
    assert confirm(file, by).batches.get().added == 2


def test_a_file_that_became_known_meanwhile_is_refused_with_the_reason_and_may_be_changed(
    gauge, by, slow
):
    one, other = upload(gauge, by), upload(gauge, by)
    carry_on_files()
    confirm(one, by)
    confirm(other, by)
    carry_on_files()
    states = set(ReadingFile.objects.values_list("state", flat=True))
    assert states == {FileState.TAKEN, FileState.REFUSED}
    refused = ReadingFile.objects.get(state=FileState.REFUSED)
    assert refused.refusal.startswith("This file was imported for G1")
    assert ReadingBatch.objects.count() == 1
    say_layout(file=refused, gauge=factory.make_gauge("G2"), wishes=Wishes(), by=by)
    carry_on_files()
    confirm(refused, by)
    carry_on_files()
    refused.refresh_from_db()
    assert (refused.state, refused.refusal) == (FileState.TAKEN, "")
    assert Reading.objects.filter(gauge__code="G2").count() == 2


def test_a_worker_that_dies_leaves_the_file_to_be_done_again_and_nothing_half(
    gauge, by, slow, monkeypatch, frozen_day
):
    file = upload(gauge, by)
    carry_on_files()
    confirm(file, by)

    class Killed(BaseException):
        pass

    def die(*_args, **_kwargs) -> None:
        raise Killed

    with monkeypatch.context() as patch:
        patch.setattr("stewardship.rain.services.files._note", die)  # the last thing of all
        with pytest.raises(Killed):
            take_in(file.pk)
    file.refresh_from_db()
    assert file.state == FileState.CONFIRMED
    assert nothing_in_the_book()
    assert file.parts.exists()
    assert not take_in(file.pk), "the dead worker's claim still holds"
    frozen_day.shift(files.LEASE + timedelta(seconds=1))
    assert take_in(file.pk)
    file.refresh_from_db()
    assert file.state == FileState.TAKEN
    assert Reading.objects.count() == 2


def test_a_busy_database_only_puts_it_off(gauge, by, slow, monkeypatch):
    file = upload(gauge, by)
    carry_on_files()
    confirm(file, by)

    def busy(**_how) -> None:
        raise OperationalError("database is locked")

    with monkeypatch.context() as patch:
        patch.setattr("stewardship.rain.services.files.import_several", busy)
        assert carry_on_files() == 0
    assert carry_on_files() == 1
    assert Reading.objects.count() == 2


def test_a_file_that_somebody_has_in_hand_is_left_alone(gauge, by, slow):
    file = upload(gauge, by)
    ReadingFile.objects.update(claimed_at=factory.at(factory.TODAY))
    assert not look_through(file.pk)
    assert carry_on_files() == 0


def test_what_was_said_while_a_worker_looked_is_not_overwritten(gauge, by, slow, monkeypatch):
    file = upload(gauge, by)
    real = files.rehearse

    def slowly(**how):
        found = real(**how)
        say_layout(file=file, gauge=gauge, wishes=Wishes(unit="mm"), by=by)
        return found

    with monkeypatch.context() as patch:
        patch.setattr(files, "rehearse", slowly)
        look_through(file.pk)
    file.refresh_from_db()
    assert file.found is None
    carry_on_files()
    file.refresh_from_db()
    assert file.found["gauges"][0]["depth_um"] == 150


def test_what_nobody_confirms_is_thrown_away_after_two_weeks(gauge, by, frozen_day):
    kept, old = upload(gauge, by), upload(gauge, by)
    frozen_day.shift(files.KEPT - timedelta(hours=1))
    carry_on_files()
    say_layout(file=kept, gauge=gauge, wishes=Wishes(unit="mm"), by=by)
    frozen_day.shift(timedelta(hours=2))
    carry_on_files()
    assert list(ReadingFile.objects.all()) == [kept]
    assert not ReadingFilePart.objects.filter(file=old.pk).exists()


def test_a_file_may_be_thrown_away_but_not_once_it_is_taken_in(gauge, by):
    drop_file(file=upload(gauge, by))
    assert not ReadingFile.objects.exists()
    file = confirm(upload(gauge, by), by)
    with pytest.raises(Refused, match="done with"):
        drop_file(file=file)
    with pytest.raises(Refused, match="its layout is settled"):
        say_layout(file=file, gauge=gauge, wishes=Wishes(), by=by)
    assert Reading.objects.count() == 2
