"""Whatever a file holds, it is taken in whole or refused in words: no crash, no row counted twice, nothing half done."""

from django.db import transaction
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from hypothesis.extra.django import TestCase

from stewardship.common.errors import Refused
from stewardship.rain.choices import GaugeKind
from stewardship.rain.intake.ingest import import_file
from stewardship.rain.intake.layout import Wishes
from stewardship.rain.models import Reading, ReadingBatch, RejectedRow
from stewardship.rain.services import find_waiting_storms
from tests import factory

good_days, odd_days = (
    ["2026-07-14", "2026-07-13", "7/14/2026"],
    ["14.07.2026", "2026-03-08", "2025-11-02", "x", ""],
)
good_clocks = [" 15:00", " 15:15", " 15:30", " 3:45 PM", "T16:00:00Z"]
odd_clocks = ["", " 01:30", " 02:30", " 24:00", " 99:99"]
good_depths = ["0", "0.10", "0.02", "T", "M", "0,25", "1 in"]
odd_depths = ["", "-1", "-9999", "9e99", "abc", "٣", "½"]
junk = st.sampled_from(
    ["", '"', '""', ",", ";", "=1+1", "\u2028", "\x0b", "'", "ß", "\ufffd", "a" * 300]
)
headings = st.sampled_from(
    ["time,rain"] * 4 + ["time;rain", "Date,Time,Precip (mm)", "a,b", "time,rain,flag", ""]
)


def mostly(good: list[str], odd: list[str]) -> st.SearchStrategy[str]:
    return st.sampled_from(good * 8 + odd)


@st.composite
def csv_text(draw) -> str:
    heading = draw(headings)
    mark = ";" if ";" in heading else ","
    lines = [heading] if heading else []
    for _n in range(draw(st.integers(1, 12))):
        cells = [
            draw(mostly(good_days, odd_days)) + draw(mostly(good_clocks, odd_clocks)),
            draw(mostly(good_depths, odd_depths)),
        ]
        if draw(st.integers(0, 9)) == 0:
            cells.insert(draw(st.integers(0, 2)), draw(junk))
        lines.append(mark.join(cells))
    return draw(st.sampled_from(["\n", "\r\n"])).join(lines)


files = st.integers(0, 9).flatmap(
    lambda n: (
        st.binary(max_size=300)
        if n == 0
        else st.text(max_size=200).map(str.encode)
        if n == 1
        else csv_text().map(str.encode)
    )
)
wishes = st.builds(
    Wishes,
    step=mostly(["15m", ""], ["1d", "0"]),
    stamps=st.sampled_from(["", "start"]),
    zone=mostly(["", "UTC", "-07:00"], ["Mars"]),
    where=mostly([""], ["rain=0", "="]),
)  # fmt: skip


class AnyFileTests(TestCase):
    def setup_example(self) -> None:
        super().setup_example()  # within the example's own transaction
        factory.make_program()
        self.gauges = [factory.make_gauge("A"), factory.make_gauge("B", kind=GaugeKind.DAILY)]

    @settings(max_examples=150, deadline=None, suppress_health_check=list(HealthCheck))
    @given(content=files, wishes=wishes, daily=st.booleans())
    def test_a_file_is_taken_in_whole_or_refused_in_words(self, content, wishes, daily) -> None:
        gauge = self.gauges[daily]
        with transaction.atomic():
            try:
                batch = import_file(
                    gauge=gauge, file_name="any.csv", content=content, wishes=wishes
                )
            except Refused as refusal:
                assert str(refusal).strip()
                assert not ReadingBatch.objects.exists()
                assert not Reading.objects.exists()
                assert not RejectedRow.objects.exists()
            else:
                assert batch.added == Reading.objects.count() > 0
                assert batch.rejected == batch.rejected_rows.count()
                lines = content.count(b"\n") + 1
                taken = batch.added + batch.same + batch.corrected + batch.rejected
                assert taken + batch.skipped <= lines
                find_waiting_storms()
                assert not ReadingBatch.objects.filter(storms_found_at=None).exists()
            transaction.set_rollback(True)
