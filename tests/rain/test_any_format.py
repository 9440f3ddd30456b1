"""Whatever is done to a file of any format: it is taken in whole or refused in words, and no row is counted twice."""

from django.db import transaction
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st
from hypothesis.extra.django import TestCase

from stewardship.common.errors import Refused
from stewardship.rain.choices import FileFormat, GaugeKind, ReadingKind
from stewardship.rain.intake.ingest import import_file
from stewardship.rain.intake.layout import Wishes
from stewardship.rain.intake.understanding import understand
from stewardship.rain.models import Reading, ReadingBatch, RejectedRow
from tests import factory

STATION = "USC00990001"
clocks = st.lists(st.integers(0, 47 * 60), min_size=2, max_size=12)
cells = st.sampled_from(["0", "0.1", "0.25", "T", "M", "", "-9999", "x", "7"])


def stamp(minute: int) -> str:
    return f"2026-07-{13 + minute // 1440:02} {minute // 60 % 24:02}:{minute % 60:02}"


@st.composite
def counter(draw) -> str:
    total, lines = draw(st.sampled_from([0, 3, 1205])), []
    for minute in sorted(draw(clocks)):
        step = draw(st.sampled_from([0, 0, 1, 5, 40, -1, -10_000, -3]))
        total = max(0, total + step)
        lines.append(f"{stamp(minute)},{draw(st.sampled_from([total / 100] * 9 + ['M']))}")
    return "\n".join(["time,cumulative rain", *lines])


@st.composite
def tips(draw) -> str:
    heading, more = draw(
        st.sampled_from([("tip", ""), ("time,tips", ",1"), ("time,tip mm", ",0.2")])
    )
    return "\n".join([heading, *(stamp(minute) + more for minute in draw(clocks))])


@st.composite
def wide(draw) -> str:
    lines = [f"{stamp(15 * n)},{draw(cells)},{draw(cells)}" for n in range(draw(st.integers(1, 9)))]
    return "\n".join(["time,A,B", *lines])


@st.composite
def long(draw) -> str:
    lines = [
        f"{draw(st.sampled_from(['A', 'B', 'elm']))},{stamp(15 * (n // 2))},{draw(cells)}"
        for n in range(draw(st.integers(2, 12)))
    ]
    return "\n".join(["gauge,time,rain", *lines])


@st.composite
def ghcn(draw) -> str:
    lines = [
        f"{draw(st.sampled_from([STATION] * 5 + ['USC00990002']))},202606{draw(st.integers(1, 31)):02},"
        f"{draw(st.sampled_from(['PRCP', 'PRCP', 'MDPR', 'DAPR', 'TMAX']))},"
        f"{draw(st.sampled_from([0, 3, 254, -9999, 'x']))},{draw(st.sampled_from(['', '', 'T', 'P', 'A']))},"
        f"{draw(st.sampled_from(['', '', '', 'G']))},7,{draw(st.sampled_from(['', '0700', '1700', '2400', '99']))}"
        for _n in range(draw(st.integers(1, 12)))
    ]
    return "\n".join(lines)


@st.composite
def fixed(draw) -> str:
    days = st.sampled_from(["    0  7", "  254  7", "-9999   ", "    0T 7", "   10 G7", "xx"])
    return "\n".join(
        f"{STATION}2026{month:02}{draw(st.sampled_from(['PRCP', 'MDPR', 'DAPR', 'SNOW']))}"
        + "".join(draw(st.lists(days, min_size=28, max_size=31)))
        for month in range(1, draw(st.integers(2, 4)))
    )


@st.composite
def spoilt(draw, text: st.SearchStrategy[str]) -> bytes:
    """A file, often with a few bytes changed, cut off, or put after one of another format."""
    content = draw(text).encode()
    how = draw(st.integers(0, 5))
    at = draw(st.integers(0, len(content)))
    if how == 0:
        return content[:at]
    if how == 1:
        return content[:at] + draw(st.binary(min_size=1, max_size=3)) + content[at:]
    if how == 2:
        return content + b"\n" + draw(text).encode()
    return content


one = st.one_of(counter(), tips(), wide(), long(), ghcn(), fixed())
formats = st.sampled_from([""] * 8 + list(FileFormat.values))


class AnyFormatTests(TestCase):
    def setup_example(self) -> None:
        super().setup_example()  # within the example's own transaction
        self.program = factory.make_program()
        self.gauges = [factory.make_gauge("A"), factory.make_gauge("B", kind=GaugeKind.DAILY)]

    @settings(max_examples=120, deadline=None, suppress_health_check=list(HealthCheck))
    @given(content=spoilt(one), form=formats, daily=st.booleans())
    @example(content=b"time,cumulative rain\n2026-07-13 00:00,M\n2026-07-1", form="", daily=False)
    def test_it_is_taken_in_whole_or_refused_in_words(self, content, form, daily) -> None:
        wishes = Wishes(format=form)
        with transaction.atomic():
            try:
                batch = import_file(
                    gauge=self.gauges[daily], file_name="any.csv", content=content, wishes=wishes
                )
            except Refused as refusal:
                assert str(refusal).strip()
                for model in (ReadingBatch, Reading, RejectedRow):
                    assert not model.objects.exists()
            else:
                self._counts_are_true(batch)
            transaction.set_rollback(True)

    def _counts_are_true(self, batch: ReadingBatch) -> None:
        readings = list(batch.gauge.readings.order_by("start_s"))
        assert batch.added == len(readings) > 0
        assert batch.rejected == batch.rejected_rows.count()
        known = [one for one in readings if one.kind != ReadingKind.MISSING]
        ends = [one.end_s for one in known]
        assert all(end <= one.start_s for end, one in zip(ends, known[1:], strict=False))
        assert all((one.depth_um is None) == (one.kind == ReadingKind.MISSING) for one in readings)
        assert batch.understood

    @settings(max_examples=60, deadline=None, suppress_health_check=list(HealthCheck))
    @given(content=spoilt(one), form=formats)
    def test_the_preview_of_any_file_is_rows_or_a_refusal(self, content, form) -> None:
        lines = content.decode("cp1252", errors="replace").splitlines(keepends=True)
        try:
            found = understand(lines, gauge=None, wishes=Wishes(format=form), program=self.program)
            shown = found.rows_read(lines)
        except Refused as refusal:
            assert str(refusal).strip()
            return
        assert found.words()
        assert {row.gauge_code for row in shown} <= {gauge.code for gauge in found.layouts}
        assert all(1 <= row.line <= len(lines) for row in shown)

    @settings(max_examples=40, deadline=None, suppress_health_check=list(HealthCheck))
    @given(minutes=clocks)
    def test_no_tip_is_lost_or_counted_twice(self, minutes) -> None:
        text = "\n".join(["tip time", *map(stamp, minutes)])
        with transaction.atomic():
            batch = import_file(
                gauge=self.gauges[0],
                file_name="tips.csv",
                content=text.encode(),
                wishes=Wishes(format="tips", tip="0.2 mm"),
            )
            depth = sum(one.depth_um for one in batch.gauge.readings.all())
            assert depth == 200 * len(minutes)
            transaction.set_rollback(True)

    @settings(max_examples=40, deadline=None, suppress_health_check=list(HealthCheck))
    @given(rises=st.lists(st.integers(0, 20), min_size=1, max_size=12))
    def test_a_running_total_adds_up(self, rises) -> None:
        totals = [1200]
        for rise in rises:
            totals.append(totals[-1] + rise)
        lines = [f"{stamp(15 * n)},{total / 100}" for n, total in enumerate(totals)]
        with transaction.atomic():
            batch = import_file(
                gauge=self.gauges[0],
                file_name="counter.csv",
                content="\n".join(["time,cumulative rain", *lines]).encode(),
            )
            assert sum(one.depth_um for one in batch.gauge.readings.all()) == 254 * sum(rises)
            transaction.set_rollback(True)
