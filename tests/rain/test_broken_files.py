"""Every kind of clumsy file, invented and small: what is taken in, and the sentence that the user gets for the rest."""

import pytest

from stewardship.common.errors import Refused
from stewardship.rain.choices import ReadingKind
from stewardship.rain.intake.ingest import import_file
from stewardship.rain.intake.layout import Wishes
from stewardship.rain.models import Gauge, ReadingBatch
from tests import factory

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen_day", "program")]


def take(content: str | bytes, **wishes: str) -> ReadingBatch:
    return import_file(
        gauge=Gauge.objects.first() or factory.make_gauge(),
        file_name="clumsy.csv",
        content=content if isinstance(content, bytes) else content.encode(),
        wishes=Wishes(**wishes),
    )


def rain(*rows: str, heading: str = "time,rain") -> str:
    return "\n".join([heading, *(f"2026-07-14 {row}" if row[:1].isdigit() else row for row in rows), ""])  # fmt: skip


def depths(batch: ReadingBatch) -> list[int | None]:
    return list(batch.gauge.readings.order_by("start_s").values_list("depth_um", flat=True))


NOT_A_TIME = "“Total” is not a time."


@pytest.mark.parametrize(
    ("content", "taken", "refused"),
    [
        pytest.param(rain("15:00,0.1", "15:15,#REF!", "15:30,0.2"), [2540, 5080], [(3, "“#REF!” is not a depth.")], id="error cell"),
        pytest.param(rain("15:00,1.2E-1", "15:15,1.2E+3"), [3048], [(3, "“1.2E+3” is more than can fall.")], id="scientific"),
        pytest.param(rain("15:00,0.1", "15:15,0.2", "Total,0.3"), [2540, 5080], [(4, NOT_A_TIME)], id="totals row"),
        pytest.param(rain("15:00,0.1", "15:15,0.2", ",0.3"), [2540, 5080], [(4, "The row has no time.")], id="totals row without a word"),
        pytest.param(rain("15:00,0.1", "funnel cleaned", "15:15,0.2"), [2540, 5080], [(3, "The row has fewer columns than the heading.")], id="note"),
        pytest.param(rain("15:00,0.1", "15:15,0.2", "time,rain", "15:30,0.3"), [2540, 5080, 7620], [(4, "The heading is here once more.")], id="heading twice"),
        pytest.param(rain("15:00,0.1", "15:15,0.2").replace("\n", "\r\n", 1) + "2026-07-14 15:30,0.3\r", [2540, 5080, 7620], [], id="mixed line ends"),
        pytest.param("\ufeff" + rain("15:00,0.1", "15:15,0.2"), [2540, 5080], [], id="byte order mark"),
        pytest.param(rain("15:00,0,10", "15:15,1", "15:30,0.2"), [25_400, 5080], [(2, "The row has more columns than the heading: a decimal comma needs semicolons or quotation marks.")], id="decimal comma between commas"),
        pytest.param(rain("15:00;1.234,5", "15:15;0,5", heading="time;rain mm"), [500], [(2, "“1.234,5” is not a depth.")], id="thousands and comma"),
        pytest.param(rain("15:00,0.1 in", "15:15,2.5 mm", "15:30,3 cm"), [2540, 2500], [(4, "“3 cm” is not a depth.")], id="mixed units"),
        pytest.param(rain("15:00,99999", "15:15,-99", "15:30,-9999", "15:45,"), [None] * 4, [], id="numbers that mean missing"),
        pytest.param(rain("15:00,-0.1", "15:15,0.1"), [2540], [(2, "“-0.1” is below zero; rain is not.")], id="negative"),
        pytest.param(rain("15:30,0.3", "15:00,0.1", "15:15,0.2"), [2540, 5080, 7620], [], id="not sorted"),
        pytest.param(rain("15:00,0.1", "15:00,0.1", "15:15,0.2"), [2540, 5080], [], id="a row twice"),
        pytest.param(rain("15:00,0.1", "15:15,0.2") + "2026-07-14 15", [2540, 5080], [(4, "The row has fewer columns than the heading.")], id="cut off in the time"),
        pytest.param(rain("15:00,0.1", "15:15,0.2") + "2026-07-14 15:30,0.", [2540, 5080], [(4, "“0.” is not a depth.")], id="cut off in the depth"),
        pytest.param("time,rain\n7/14/2026 12:00 AM,0.1\n7/14/2026 12:15 AM,0.2\n7/14/2026 13:15 PM,0.2\n", [2540, 5080], [(4, "“7/14/2026 13:15 PM” is not a time.")], id="12-hour clock"),
        pytest.param('time,rain\n"2026-07-14 15:00","0.1"\n"2026-07-14 15:15,"0.2"\n2026-07-14 15:30,0.3\n', [2540, 7620], [(3, "A quotation mark has no partner.")], id="stray quote"),
    ],
)  # fmt: skip
def test_good_rows_are_kept_and_bad_ones_listed(content, taken, refused):
    batch = take(content)
    assert depths(batch) == taken
    assert list(batch.rejected_rows.order_by("line").values_list("line", "why")) == refused


@pytest.mark.parametrize(
    ("content", "sentence"),
    [
        ("time,rain\n1784062800,0.1\n1784063700,0.2\n", "The times in “time” are bare numbers, counted from 1970. Save the file again with dates and times in it, such as 2026-07-14 15:00."),
        ("time,rain\n1784062800000,0.1\n1784063700000,0.2\n", "The times in “time” are bare numbers, counted from 1970. Save the file again with dates and times in it, such as 2026-07-14 15:00."),
        ("seconds,counter\n1784062800,12.1\n1784063700,12.2\n1784064600,12.2\n", "The times in “seconds” are bare numbers, counted from 1970. Save the file again with dates and times in it, such as 2026-07-14 15:00."),
        ("time,cumulative rain (in)\n46217.625,12.1\n46217.635417,12.2\n", "The times in “time” are bare numbers, as a spreadsheet counts days. Format the column there as date and time, and save it as CSV again."),
        ("date,rain\n46217.625,0.1\n46217.635417,0.2\n", "The times in “date” are bare numbers, as a spreadsheet counts days. Format the column there as date and time, and save it as CSV again."),
        (rain("15:00 MST,0.1", "15:15 MST,0.2"), "The times in “time” end in letters for a time zone, and such letters can mean several zones. Take them out, and give the time zone by itself, e.g. America/Denver or -07:00."),
        (rain("15:00,0.1,2.54", "15:15,0.2,5.08", heading="time,rain in,rain mm"), "Several columns may hold the depth: rain in, rain mm. Name the depth column."),
        ("<!DOCTYPE html>\n<html><body>Sign in, please; it, is, late</body></html>\n", "The file is a web page, not a table. Ask for the readings as CSV."),
        (rain("15:00,0.1", "15:15,0.2").encode("utf-16-le"), "The file is not text. Readings come as CSV."),
    ],
)  # fmt: skip
def test_a_file_that_cannot_be_read_says_what_to_do(content, sentence):
    with pytest.raises(Refused) as refusal:
        take(content)
    assert str(refusal.value) == sentence
    assert not ReadingBatch.objects.exists()


def test_a_file_of_nothing_but_zero_is_taken_in_with_a_question():
    batch = take(rain(*(f"{hour:02}:00,0" for hour in range(24))).replace("07-14", "07-13"))
    assert batch.understood.endswith(
        "Every depth seen is 0: was it dry all the time, or is a missing value written as 0?"
    )
    assert set(batch.gauge.readings.values_list("kind", flat=True)) == {ReadingKind.ZERO}


def test_traces_and_blanks_are_neither_zero_nor_each_other():
    batch = take(rain("15:00,T", "15:15,t", "15:30,", "15:45,0", "16:00,M"))
    kinds = list(batch.gauge.readings.order_by("start_s").values_list("kind", flat=True))
    assert kinds == [ReadingKind.TRACE] * 2 + [ReadingKind.MISSING, ReadingKind.ZERO, ReadingKind.MISSING]  # fmt: skip


def test_a_time_column_that_somebody_names_is_refused_for_its_numbers_not_row_by_row():
    with pytest.raises(Refused, match="in “when” are bare numbers, counted from 1970"):
        take("rain,when\n0.1,1784062800\n0.2,1784063700\n", time_column="when")
