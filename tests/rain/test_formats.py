"""Files that are not one time and one depth in each row: running totals, tips, several gauges, GHCN-Daily."""

from datetime import datetime
from zoneinfo import ZoneInfo

import pytest

from people.models import Program
from stewardship.common.errors import Refused
from stewardship.rain.choices import DepthUnit, FileFormat, GaugeKind, ReadingKind, Sureness
from stewardship.rain.intake.ingest import import_file
from stewardship.rain.intake.layout import Wishes
from stewardship.rain.intake.understanding import Understanding, understand
from stewardship.rain.models import Gauge, ReadingBatch, SiteRain
from stewardship.rain.services import find_waiting_storms
from tests import factory

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen_day", "program")]

ZONE = ZoneInfo("America/Denver")
MEASURED, ZERO, TRACE = ReadingKind.MEASURED, ReadingKind.ZERO, ReadingKind.TRACE
MISSING, MULTI_DAY = ReadingKind.MISSING, ReadingKind.MULTI_DAY


def take(text: str, gauge: Gauge, **wishes: str) -> ReadingBatch:
    return import_file(
        gauge=gauge, file_name="readings.csv", content=text.encode(), wishes=Wishes(**wishes)
    )


def look(text: str, gauge: Gauge | None = None, **wishes: str) -> Understanding:
    lines = text.splitlines(keepends=True)
    return understand(lines, gauge=gauge, wishes=Wishes(**wishes), program=Program.get())


def clock(moment: datetime) -> str:
    return f"{moment.astimezone(ZONE):%d %H:%M}"


def rows(gauge: Gauge) -> list[tuple[str, str, str, int | None]]:
    """Day and clock of start and end, kind, and µm."""
    return [
        (clock(r.start_at), clock(r.end_at), r.kind, r.depth_um)
        for r in gauge.readings.order_by("start_s", "end_s")
    ]


def bad(batch: ReadingBatch) -> list[tuple[int, str]]:
    return list(batch.rejected_rows.order_by("line").values_list("line", "why"))


def day_14(*rows: str) -> str:
    return "".join(f"2026-07-14 {row}\n" for row in rows)


# -- running totals ---------------------------------------------------------------------------------------------
TOTAL = "time,cumulative rain (in)\n"


def test_a_running_total_becomes_the_depths_between_its_rows():
    gauge = factory.make_gauge()
    batch = take(TOTAL + day_14("15:00,12.10", "15:15,12.15", "15:30,12.15", "15:45,12.40"), gauge)
    assert rows(gauge) == [
        ("14 15:00", "14 15:15", MEASURED, 1270),
        ("14 15:15", "14 15:30", ZERO, 0),
        ("14 15:30", "14 15:45", MEASURED, 6350),
    ]
    assert batch.understood == (
        "Times from “time”; a running total from “cumulative rain (in)” in inches, "
        "each depth the difference from the row before."
    )


def test_a_counter_that_falls_to_near_zero_began_again_and_is_named():
    gauge = factory.make_gauge()
    batch = take(TOTAL + day_14("15:00,12.10", "15:15,12.15", "15:30,0.02", "15:45,0.05"), gauge)
    assert [row[3] for row in rows(gauge)] == [1270, 508, 762]
    assert batch.rejected == 0
    assert batch.understood.endswith("The counter began again: line 4 (12.15 in → 0.02 in).")


def test_a_counter_that_runs_over_a_round_number_goes_on():
    gauge = factory.make_gauge(unit=DepthUnit.MM)
    take("time,rain counter\n" + day_14("15:00,999.6", "15:15,0.2", "15:30,0.4"), gauge)
    assert [row[3] for row in rows(gauge)] == [600, 200]


def test_a_counter_that_falls_to_something_else_is_refused_and_goes_on_from_there():
    gauge = factory.make_gauge()
    batch = take(TOTAL + day_14("15:00,12.10", "15:15,5.00", "15:30,5.10", "15:45,5.10"), gauge)
    assert [row[:2] for row in rows(gauge)] == [("14 15:15", "14 15:30"), ("14 15:30", "14 15:45")]
    assert bad(batch) == [
        (
            3,
            "The running total falls from 12.1 in to 5 in, neither to zero nor by rain; what fell before it is not known.",
        )
    ]


def test_a_counter_that_stutters_for_a_moment_loses_no_rain_and_invents_none():
    gauge = factory.make_gauge()
    batch = take(TOTAL + day_14("15:00,12.10", "15:15,0", "15:30,12.20"), gauge)
    assert rows(gauge) == [("14 15:00", "14 15:30", MEASURED, 2540)]
    assert bad(batch) == [
        (3, "The running total falls from 12.1 in to 0 in for a moment and comes back.")
    ]


def test_a_gap_in_a_running_total_is_one_reading_as_long_as_the_gap():
    """A counter knows how much fell in a gap, not when: common practice, no source."""
    gauge = factory.make_gauge()
    take(TOTAL + day_14("11:00,1.00", "11:15,1.00", "11:30,M", "15:00,1.50", "15:15,1.50"), gauge)
    assert rows(gauge) == [
        ("14 11:00", "14 11:15", ZERO, 0),
        ("14 11:15", "14 11:30", MISSING, None),
        ("14 11:15", "14 15:00", MEASURED, 12_700),
        ("14 15:00", "14 15:15", ZERO, 0),
    ]


def test_a_running_total_may_stand_in_any_order_and_in_blocks(monkeypatch):
    monkeypatch.setattr("stewardship.rain.intake.ingest.BLOCK_ROWS", 2)
    lines = ["15:00,1.00", "15:15,1.10", "15:30,1.10", "15:45,0.00", "16:00,0.04"]
    found = []
    for code, order in (("A", lines), ("B", lines[::-1]), ("C", lines[2:] + lines[:2])):
        gauge = factory.make_gauge(code)
        take(TOTAL + day_14(*order), gauge)
        found.append(rows(gauge))
    assert found[0] == found[1] == found[2]
    assert [row[3] for row in found[0]] == [2540, 0, 0, 1016]


def test_values_that_only_rise_are_a_running_total_though_the_heading_says_rain():
    totals = [0.1 * (n // 3) for n in range(30)]
    text = "time,rain\n" + day_14(
        *(f"{n // 4:02}:{n % 4 * 15:02},{t:.1f}" for n, t in enumerate(totals))
    )
    assert look(text, factory.make_gauge()).format == FileFormat.COUNTER
    assert look(text, factory.make_gauge("G2"), format="interval").format == FileFormat.INTERVAL


# -- tips -------------------------------------------------------------------------------------------------------
def test_tips_become_readings_of_five_minutes_and_silence_between_them_is_dry():
    gauge = factory.make_gauge()
    batch = take("tip time\n" + day_14("15:00:03", "15:00:03", "15:05:00", "15:11:00"), gauge)
    assert rows(gauge) == [
        ("14 15:00", "14 15:05", MEASURED, 3 * 254),
        ("14 15:05", "14 15:10", ZERO, 0),
        ("14 15:10", "14 15:15", MEASURED, 254),
    ]
    assert batch.understood == (
        "Each row is a tip of 0.01 in at the time in “tip time”; "
        "tips are put together into readings of 5 min, and silence between tips is dry."
    )
    assert gauge.readings.order_by("start_s")[0].typed == "3 × 0.254 mm"


@pytest.mark.parametrize(
    ("heading", "cells", "tip", "depths"),
    [
        ("time", ["", "", ""], "0.2 mm", [400, 0, 200]),
        ("time,tips", [",2", ",1", ",1"], "", [762, 0, 254]),
        ("time,tip number", [",41", ",42", ",43"], "", [508, 0, 254]),
        ("time,tip (mm)", [",0.2", ",0.2", ",0.25"], "", [400, 0, 250]),
    ],
)
def test_a_tip_may_be_told_by_number_count_or_depth(heading, cells, tip, depths):
    gauge = factory.make_gauge()
    clocks = ["15:01:00", "15:02:10", "15:12:40"]
    text = f"{heading}\n" + day_14(*(c + cell for c, cell in zip(clocks, cells, strict=True)))
    take(text, gauge, tip=tip, format="tips")
    assert [row[3] for row in rows(gauge)] == depths


def test_a_numbered_tip_that_is_there_twice_counts_once():
    gauge = factory.make_gauge()
    tips = ["15:01,1", "15:02,2", "15:03,3", "15:04,4"]
    batch = take("time,tip no\n" + day_14(*tips, "15:02,2"), gauge)
    assert [row[3] for row in rows(gauge)] == [4 * 254]
    assert bad(batch) == [(6, "A row above has the same tip number.")]


def test_tips_counted_in_even_intervals_are_readings_of_those_intervals():
    gauge = factory.make_gauge()
    batch = take("time,tips\n" + day_14("15:00,0", "15:15,3", "15:30,1", "15:45,0"), gauge)
    assert [(row[0], row[3]) for row in rows(gauge)][:2] == [("14 14:45", 0), ("14 15:00", 762)]
    assert batch.understood == (
        "Times from “time”, each the end of 15 min; tips from “tips”, each 0.01 in."
    )


def test_depths_of_one_tip_each_at_uneven_times_are_tips():
    gauge = factory.make_gauge(kind=GaugeKind.TIPPING)
    take("time,rain\n" + day_14("15:00:10,0.01", "15:00:59,0.01", "15:07:01,0.01", "15:31:01,0.01"), gauge)  # fmt: skip
    wet = [(row[0], row[3]) for row in rows(gauge) if row[3]]
    assert wet == [("14 15:00", 508), ("14 15:05", 254), ("14 15:30", 254)]


def test_tips_that_are_depths_of_even_intervals_are_left_as_they_are():
    gauge = factory.make_gauge()
    take("time,tip rain (mm)\n" + day_14("15:00,0.2", "15:15,0.4", "15:30,0"), gauge)
    assert [(row[0], row[3]) for row in rows(gauge)] == [
        ("14 14:45", 200),
        ("14 15:00", 400),
        ("14 15:15", 0),
    ]


@pytest.mark.parametrize("heading", ["rain today", "rain since midnight", "rain ytd (in)"])
def test_rain_since_a_moment_is_a_running_total(heading):
    gauge = factory.make_gauge()
    take(f"time,{heading}\n" + day_14("15:00,0.50", "15:15,0.60", "15:30,0.00"), gauge)
    assert [row[3] for row in rows(gauge)] == [2540, 0]


def test_more_tips_than_can_fall_are_named_and_the_rest_is_kept():
    gauge = factory.make_gauge()
    tips = [f"15:0{1 + n // 60 % 4}:{n % 60:02}" for n in range(700)]
    batch = take("tip\n" + day_14(*tips, "15:31:00", "15:32:00"), gauge)
    assert bad(batch) == [
        (
            2,
            "700 tips until Tue 14 Jul, 3:05 p.m. are more than has ever been measured in that time; "
            "a loose wire or a shaken gauge tips too.",
        )
    ]
    assert rows(gauge)[-1][3] == 508


@pytest.mark.parametrize("text", ["time,tips\n" + day_14("15:00,0", "15:07,0", "15:31,0")])
def test_a_file_without_tips_says_so(text):
    with pytest.raises(Refused, match="There are no tips in the file."):
        take(text, factory.make_gauge())


# -- several gauges ---------------------------------------------------------------------------------------------
WIDE = "time,porch (mm),depot,west\n" + day_14("15:00,1,0.1,4", "15:15,,T,5")


def test_one_column_for_each_gauge_is_read_for_all_that_are_known():
    porch, depot = factory.make_gauge("porch"), factory.make_gauge("depot")
    found = look(WIDE)
    assert (found.format, set(found.layouts)) == (FileFormat.WIDE, {porch, depot})
    assert found.words() == (
        "Times from “time”; one column for each gauge: porch (mm) → porch (millimetres), "
        "depot → depot (inches). Of no gauge here, and not taken: west."
    )
    shown = [(r.line, r.gauge_code, r.kind, r.depth_um) for r in found.rows_read(WIDE.splitlines(keepends=True))]  # fmt: skip
    assert shown == [
        (2, "depot", MEASURED, 2540),
        (2, "porch", MEASURED, 1000),
        (3, "depot", TRACE, 0),
        (3, "porch", MISSING, None),
    ]


def test_a_person_says_which_column_is_whose():
    porch, depot = factory.make_gauge("porch"), factory.make_gauge("depot")
    found = look(WIDE, gauges="west=porch, porch (mm)=depot")
    assert {g: found.columns[one.depth_column] for g, one in found.layouts.items()} == {
        porch: "west",
        depot: "porch (mm)",
    }
    with pytest.raises(
        Refused, match="The columns “porch .mm.” and “west” are both of gauge porch"
    ):
        look(WIDE, gauges="west=porch, porch (mm)=porch")


def test_one_gauge_of_a_wide_file_may_be_taken_alone():
    porch = factory.make_gauge("porch")
    factory.make_gauge("depot")
    batch = take(WIDE, porch)
    assert batch.understood.endswith("Of no gauge here, and not taken: west.")
    assert [row[2:] for row in rows(porch)] == [(MEASURED, 1000), (MISSING, None)]


def test_rows_of_several_gauges_are_told_apart_by_their_names():
    porch, depot = factory.make_gauge("porch"), factory.make_gauge("depot", unit=DepthUnit.MM)
    text = "gauge,time,rain\n" + "".join(
        f"{name},2026-07-14 {c},{depth}\n"
        for c in ("15:00", "15:15")
        for name, depth in (("porch", "0.1"), ("DEPOT", "2"), ("elm", "0.3"))
    )
    found = look(text)
    assert (set(found.layouts), found.unknown) == ({porch, depot}, ("elm",))
    shown = [(r.gauge_code, r.depth_um) for r in found.rows_read(text.splitlines(keepends=True))]
    assert shown == [("porch", 2540), ("depot", 2000)] * 2
    assert look(text, gauges="elm=depot").unknown == ("DEPOT",)


@pytest.mark.parametrize(
    ("text", "wishes", "sentence"),
    [
        ("time,rain\n" + day_14("15:00,0", "15:15,1"), {}, "The file does not say whose readings it holds. Choose the gauge, or say which name in the file is whose."),
        (WIDE, {"gauges": "west"}, "“west” does not say whose it is; write name in the file=gauge code."),
        (WIDE, {"gauges": "west=roof"}, "There is no gauge “roof” here; there are porch."),
        (WIDE, {"format": "runes"}, "“runes” is not a kind of file that is known here."),
        ("time,a,b\n" + day_14("15:00,0,1"), {"format": "wide"}, "No column is named after a gauge: time, a, b. Say which is whose, as column=gauge code."),
    ],
)  # fmt: skip
def test_a_file_that_does_not_say_whose_it_is_is_refused(text, wishes, sentence):
    factory.make_gauge("porch")
    with pytest.raises(Refused) as refusal:
        look(text, **wishes)
    assert str(refusal.value) == sentence


def test_t17_a_total_from_friday_to_monday_in_a_file_makes_the_rain_only_possible():
    """MDPR with DAPR is one total, never split: NOAA/NCEI, readme of GHCN-Daily."""
    factory.make_built_site("OAK-1")
    gauge = factory.make_gauge("USC00990001", kind=GaugeKind.DAILY)
    text = "".join(
        f"USC00990001,{day},{element},{value},,,7,0700\n"
        for day, element, value in (
            ("20260709", "PRCP", "0"),
            ("20260710", "PRCP", "0"),
            ("20260713", "MDPR", "254"),
            ("20260713", "DAPR", "3"),
        )
    )
    batch = take(text, gauge)
    assert rows(gauge)[-1] == ("10 07:00", "13 07:00", MULTI_DAY, 25_400)
    assert (batch.added, batch.rejected) == (3, 0)
    find_waiting_storms()
    found = SiteRain.objects.get()
    assert (found.sureness, found.depth_um) == (Sureness.POSSIBLE, 25_400)
    assert (found.peak_15min_um, found.peak_60min_um) == (None, None)


def test_a_preview_read_again_with_its_own_guesses_is_the_same():
    gauge = factory.make_gauge("porch")
    for text in (
        TOTAL + day_14("15:00,1.1", "15:15,1.2"),
        "tip\n" + day_14("15:00", "15:01"),
        "time,tips\n" + day_14("15:00,0", "15:15,3", "15:30,1"),
        WIDE,
    ):
        found = look(text, gauge)
        lines = text.splitlines(keepends=True)
        again = understand(lines, gauge=gauge, wishes=found.guesses, program=Program.get())
        assert again.rows_read(lines) == found.rows_read(lines)
