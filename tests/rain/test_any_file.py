"""Whatever a file holds, it is taken in whole or refused in words: no crash, no row lost, none counted twice, nothing half done."""

from django.db import transaction
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from hypothesis.extra.django import TestCase

from stewardship.common.errors import Refused
from stewardship.rain.choices import GaugeKind
from stewardship.rain.ingest import import_file
from stewardship.rain.layout import Wishes
from stewardship.rain.models import Reading, ReadingBatch, RejectedRow
from stewardship.rain.services import find_waiting_storms
from tests import factory

days = st.sampled_from(
    ["2026-07-14", "7/14/2026", "14.07.2026", "2026-03-08", "2025-11-02", "x", ""]
)
clocks = st.sampled_from(
    ["", " 01:30", " 02:30", " 15:00", "T15:15:00Z", " 3:00 PM", " 24:00", " 99:99"]
)
depths = st.sampled_from(
    ["0", "0.10", "0,25", "T", "M", "", "-1", "-9999", "9e99", "1 in", "abc", "٣", "½"]
)
junk = st.sampled_from(
    ["", '"', '""', ",", ";", "=1+1", "\u2028", "\x0b", "'", "ß", "\ufffd", "a" * 300]
)
headings = st.sampled_from(
    ["time,rain", "time;rain", "Date,Time,Precip (mm)", "a,b", "time,rain,flag", ""]
)


@st.composite
def csv_text(draw) -> str:
    heading = draw(headings)
    mark = ";" if ";" in heading else ","
    lines = [heading] if heading else []
    for _n in range(draw(st.integers(0, 12))):
        cells = [draw(days) + draw(clocks), draw(depths)]
        if draw(st.integers(0, 4)) == 0:
            cells.insert(draw(st.integers(0, 2)), draw(junk))
        lines.append(mark.join(cells))
    return draw(st.sampled_from(["\n", "\r\n"])).join(lines)


files = st.one_of(
    csv_text().map(str.encode), st.binary(max_size=300), st.text(max_size=200).map(str.encode)
)
wishes = st.builds(
    Wishes,
    step=st.sampled_from(["", "", "15m", "1d", "0"]),
    stamps=st.sampled_from(["", "start"]),
    zone=st.sampled_from(["", "UTC", "-07:00", "Mars"]),
    where=st.sampled_from(["", "", "rain=0", "="]),
)  # fmt: skip


class AnyFileTests(TestCase):
    def setUp(self) -> None:
        factory.make_program()
        self.gauges = [factory.make_gauge("A"), factory.make_gauge("B", kind=GaugeKind.DAILY)]

    @settings(max_examples=250, deadline=None, suppress_health_check=list(HealthCheck))
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
