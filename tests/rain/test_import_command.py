"""The import_readings command: looks at a file, takes it in for one gauge or several, and takes a batch back."""

from io import StringIO
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command

from stewardship.rain.models import Reading, ReadingBatch, Storm
from tests import factory

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen_day", "program")]

TEXT = "time,rain\n2026-07-14 15:00,0.10\n2026-07-14 15:15,-1\n2026-07-14 15:30,0.05\n"


@pytest.fixture
def path(tmp_path) -> Path:
    path = tmp_path / "july.csv"
    path.write_text(TEXT)
    return path


def said(*args, **options) -> str:
    out = StringIO()
    call_command("import_readings", *map(str, args), stdout=out, **options)
    return out.getvalue()


def test_looking_says_what_would_become_of_the_file_and_writes_nothing(path):
    factory.make_gauge()
    words = said(path, gauge="G1", look=True)
    assert "Times from “time”, each the end of 15 min; depths from “rain” in inches." in words
    assert "G1: new 2; not taken in 1" in words
    assert "Line 3: “-1” is below zero; rain is not. (2026-07-14 15:15, -1)" in words
    assert "Nothing was written." in words
    assert not ReadingBatch.objects.exists()


def test_looking_at_what_would_be_refused_says_why(path):
    factory.make_gauge()
    said(path, gauge="G1")
    with pytest.raises(CommandError, match="This file was imported for G1"):
        said(path, gauge="G1", look=True)


def test_a_file_is_taken_in_with_progress_and_can_be_taken_back(path):
    gauge = factory.make_gauge()
    words = said(path, gauge="G1")
    assert "3 rows read …" in words
    assert "new 2; not taken in 1" in words
    batch = ReadingBatch.objects.get()
    assert f"--undo {batch.pk}" in words
    assert Storm.objects.standing().exists()
    with pytest.raises(CommandError, match="Say why it is taken back"):
        said(undo=batch.pk)
    words = said(undo=batch.pk, why="Wrong gauge")
    assert "2 readings removed, 0 say again what they said, 0 stay." in words
    assert not gauge.readings.exists()
    assert not Storm.objects.standing().exists()
    with pytest.raises(CommandError, match="taken back already"):
        said(undo=batch.pk, why="Wrong gauge")
    with pytest.raises(CommandError, match="There is no batch 99"):
        said(undo=99, why="x")


def test_without_a_gauge_the_file_says_whose_its_columns_are(path):
    factory.make_gauge("north")
    factory.make_gauge("south")
    lines = ["time,top,south"] + [f"2026-07-14 {h:02}:00,0.1,0.2" for h in range(1, 9)]
    path.write_text("\n".join(lines))
    words = said(path, gauges="top=north, south=south")
    assert "north: new 8" in words
    assert "south: new 8" in words
    assert Reading.objects.count() == 16


def test_a_file_has_to_be_named():
    with pytest.raises(CommandError, match="Name the file."):
        said(gauge="G1")
