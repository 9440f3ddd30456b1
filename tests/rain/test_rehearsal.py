"""What a look through a file says beforehand is what taking it in does, and the look writes nothing."""

import pytest
from django.db import connection, transaction
from django.test.utils import CaptureQueriesContext
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st
from hypothesis.extra.django import TestCase

from stewardship.common.errors import Refused
from stewardship.rain.choices import GaugeKind
from stewardship.rain.intake import ingest
from stewardship.rain.intake.ingest import import_several
from stewardship.rain.intake.layout import Wishes
from stewardship.rain.intake.rehearsal import Found, rehearse
from stewardship.rain.models import Gauge, ReadingBatch
from tests import factory
from tests.rain.test_any_format import one as any_file

WRITES = ("INSERT", "UPDATE", "DELETE", "REPLACE", "BEGIN")
clocks = st.integers(0, 95).map(lambda n: f"2026-07-14 {n // 4:02}:{n % 4 * 15:02}")
cells = st.sampled_from(["0", "0.1", "0.25", "T", "M", "-1", "x"])
rows = st.lists(st.tuples(clocks, cells), min_size=1, max_size=14)


def text_of(lines: list[tuple[str, str]]) -> bytes:
    return "\n".join(["time,rain", *(f"{clock},{cell}" for clock, cell in lines)]).encode()


def compare(content: bytes, gauge: Gauge | None, **wishes: str) -> Found:
    """Look through the file, take it in, and hold one against the other."""
    heard: list[tuple] = []
    with CaptureQueriesContext(connection) as seen:
        found = rehearse(
            content=content,
            gauge=gauge,
            wishes=Wishes(**wishes),
            hear=lambda rejected: heard.extend((row.line, row.why, row.text) for row in rejected),
        )
    written = [q["sql"] for q in seen if q["sql"].startswith(WRITES)]
    assert not written
    kept = set(ReadingBatch.objects.values_list("pk", flat=True))
    try:
        with transaction.atomic():
            batches = import_several(
                gauge=gauge, file_name="a.csv", content=content, wishes=Wishes(**wishes)
            )
    except Refused as refusal:
        assert found.refusal == str(refusal)
        assert set(ReadingBatch.objects.values_list("pk", flat=True)) == kept
        return found
    assert found.refusal == ""
    assert [
        (one.code, one.added, one.same, one.corrected, one.rejected) for one in found.gauges
    ] == [(b.gauge.code, b.added, b.same, b.corrected, b.rejected) for b in batches]
    stored = [
        row for batch in batches for row in batch.rejected_rows.values_list("line", "why", "text")
    ]
    assert sorted(heard) == sorted(stored)
    assert len(found.rejected) == min(len(stored), 50)
    for one, batch in zip(found.gauges, batches, strict=True):
        own = batch.gauge.readings.filter(batch=batch)
        if not one.same:
            assert one.depth_um == sum(
                own.filter(depth_um__gt=0).values_list("depth_um", flat=True)
            )
            assert one.known == own.exclude(depth_um=None).count()
    assert Found.of_json(found.as_json()) == found
    return found


class RehearsalTests(TestCase):
    def setup_example(self) -> None:
        super().setup_example()
        factory.make_program()
        self.gauges = [factory.make_gauge("A"), factory.make_gauge("B", kind=GaugeKind.DAILY)]

    @settings(max_examples=60, deadline=None, suppress_health_check=list(HealthCheck))
    @given(
        before=rows, after=rows, blocks=st.sampled_from([1, 3, 50_000]), step=st.sampled_from(["15m", "30m"])
    )  # fmt: skip
    @example(  # a row that says what the book says, contradicted by a later block of its file
        before=[("2026-07-14 00:00", "0")],
        after=[("2026-07-14 00:00", "0"), ("2026-07-14 00:00", "0.1"), ("2026-07-14 00:15", "0")],
        blocks=1,
        step="15m",
    )
    def test_after_readings_that_are_there(self, before, after, blocks, step) -> None:
        kept = ingest.BLOCK_ROWS
        ingest.BLOCK_ROWS = blocks
        try:
            compare(text_of(before), self.gauges[0], step="15m")
            compare(text_of(after), self.gauges[0], step=step)
        finally:
            ingest.BLOCK_ROWS = kept

    @settings(max_examples=60, deadline=None, suppress_health_check=list(HealthCheck))
    @given(content=any_file, daily=st.sampled_from([None, 0, 1]), blocks=st.sampled_from([2, 50_000]))  # fmt: skip
    def test_of_any_format(self, content, daily, blocks) -> None:
        kept = ingest.BLOCK_ROWS
        ingest.BLOCK_ROWS = blocks
        try:
            compare(content.encode(), None if daily is None else self.gauges[daily])
        finally:
            ingest.BLOCK_ROWS = kept


pytestmark = [pytest.mark.usefixtures("frozen_day")]


@pytest.fixture
def gauge(program) -> Gauge:
    return factory.make_gauge()


def test_the_sums_are_those_of_the_file(gauge):
    text = "time,rain\n2026-07-13 23:45,0.50\n2026-07-14 00:00,0.30\n2026-07-14 00:15,0.60\n2026-07-14 00:30,T\n"
    found = compare(text.encode(), gauge)
    (one,) = found.gauges
    assert (one.added, one.known, one.depth_um) == (4, 4, factory.um(1.4))
    assert (one.wettest_day, one.wettest_um) == ("2026-07-13", factory.um(0.8))
    assert (one.first_s, one.last_s) == (
        factory.seconds(factory.at(factory.TODAY.replace(day=13), "23:30")),
        factory.seconds(factory.at(factory.TODAY.replace(day=14), "00:30")),
    )


def test_corrections_are_shown_with_what_is_there_and_what_would_be(gauge):
    compare(b"time,rain\n2026-07-14 15:00,0.10\n2026-07-14 15:15,T\n", gauge)
    found = compare(b"time,rain\n2026-07-14 15:00,0.20\n2026-07-14 15:15,T\n", gauge)
    (one,) = found.gauges
    assert (one.corrected, one.same, one.stored) == (1, 1, 2)
    assert [c[2:] for c in one.corrections] == [["measured", 2540, "measured", 5080]]


def test_several_gauges_in_one_file_have_their_own_counts_and_batches(program):
    gauges = [factory.make_gauge("north"), factory.make_gauge("south")]
    lines = ["time,north,south"] + [f"2026-07-14 {h:02}:00,0.1,{h % 2}" for h in range(1, 9)]
    found = compare("\n".join(lines).encode(), None)
    assert [(one.code, one.added) for one in found.gauges] == [("north", 8), ("south", 8)]
    assert set(ReadingBatch.objects.values_list("gauge", flat=True)) == {g.pk for g in gauges}


def test_rows_in_the_future_are_counted(gauge):
    found = compare(b"time,rain\n2026-07-15 11:00,0.1\n2026-07-15 13:00,0.1\n", gauge, step="1h")
    assert found.gauges[0].in_future == 1
