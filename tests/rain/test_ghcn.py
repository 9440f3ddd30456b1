"""GHCN-Daily files. Forms, units and flags: NOAA/NCEI, readme of GHCN-Daily (readme.txt, readme-by_year.txt). Stations are invented."""

from datetime import date
from zoneinfo import ZoneInfo

import pytest

from people.models import Program
from stewardship.common.errors import Refused
from stewardship.rain.choices import FileFormat, GaugeKind, ReadingKind
from stewardship.rain.intake.ingest import import_file
from stewardship.rain.intake.layout import Wishes
from stewardship.rain.intake.understanding import understand
from stewardship.rain.models import Gauge, ReadingBatch
from tests import factory

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen_day", "program")]

ZONE = ZoneInfo("America/Denver")
STATION, OTHER = "USC00990001", "USC00990002"


@pytest.fixture
def gauge() -> Gauge:
    return factory.make_gauge("creek", kind=GaugeKind.DAILY)


def take(text: str, gauge: Gauge, **wishes: str) -> ReadingBatch:
    return import_file(
        gauge=gauge, file_name="ghcn.csv", content=text.encode(), wishes=Wishes(**wishes)
    )


def rows(gauge: Gauge) -> list[tuple[str, str, str, int | None]]:
    return [
        (
            f"{r.start_at.astimezone(ZONE):%d %H:%M}",
            f"{r.end_at.astimezone(ZONE):%d %H:%M}",
            r.kind,
            r.depth_um,
        )
        for r in gauge.readings.order_by("start_s")
    ]


def bad(batch: ReadingBatch) -> list[tuple[int, str]]:
    return list(batch.rejected_rows.order_by("line").values_list("line", "why"))


def by_year(*cells: tuple, station: str = STATION) -> str:
    """Rows of (day of June, element, value, M, Q, hour)."""
    return "".join(
        f"{station},202606{day:02},{element},{value},{m},{q},7,{hour}\n"
        for day, element, value, m, q, hour in cells
    )


def test_tenths_of_a_millimetre_traces_and_missing_values(gauge):
    batch = take(
        by_year(
            (1, "PRCP", 0, "", "", "0700"),
            (2, "PRCP", 254, "", "", "0700"),
            (3, "PRCP", 0, "T", "", "0700"),
            (4, "PRCP", -9999, "", "", ""),
            (5, "PRCP", 0, "P", "", ""),
        ),
        gauge,
    )
    assert [row[1:] for row in rows(gauge)] == [
        ("01 07:00", ReadingKind.ZERO, 0),
        ("02 07:00", ReadingKind.MEASURED, 25_400),
        ("03 07:00", ReadingKind.TRACE, 0),
        ("04 07:00", ReadingKind.MISSING, None),
        ("05 07:00", ReadingKind.MISSING, None),  # "missing presumed zero" is missing
    ]
    assert batch.rejected == 0


def test_any_quality_flag_excludes_a_value_and_lists_it(gauge):
    """T in the measurement column is a trace, T in the quality column a failed check."""
    flags = "DGIKLMNORSTWXZ"
    cells = [(day, "PRCP", 10, "", flag, "") for day, flag in enumerate(flags, start=1)]
    batch = take(by_year(*cells, (20, "PRCP", 3, "", "", "")), gauge)
    assert (batch.added, batch.rejected) == (1, len(flags))
    assert bad(batch)[flags.index("T")] == (
        11,
        "The source marks the value as failing a check: temporal consistency (T).",
    )


def test_a_total_of_three_days_is_never_split(gauge):
    """MDPR 254 with DAPR 3 is 25.4 mm over three days, whichever of the two comes first."""
    for n, order in enumerate((("MDPR", "DAPR"), ("DAPR", "MDPR"))):
        one = factory.make_gauge(f"G{n}", kind=GaugeKind.DAILY)
        value = {"MDPR": 254, "DAPR": 3}
        take(by_year(*((13, name, value[name], "", "", "") for name in order)), one)
        assert rows(one) == [("10 07:00", "13 07:00", ReadingKind.MULTI_DAY, 25_400)]


def test_days_before_a_total_stay_missing_and_a_total_on_known_days_is_refused(gauge):
    text = by_year(
        (11, "PRCP", -9999, "", "", ""),
        (13, "MDPR", 254, "", "", ""),
        (13, "DAPR", 3, "", "", ""),
        (15, "MDPR", 50, "", "", ""),
        (15, "DAPR", 4, "", "", ""),
        (20, "MDPR", 50, "", "", ""),
    )
    batch = take(text, gauge)
    assert sorted(row[2] for row in rows(gauge)) == [ReadingKind.MISSING, ReadingKind.MULTI_DAY]
    assert bad(batch) == [
        (4, "The time overlaps another reading, from Wed 10 Jun, 7 a.m. to Sat 13 Jun, 7 a.m., without being the same."),
        (6, "A total of several days without the number of days (DAPR)."),
    ]  # fmt: skip


def test_other_elements_and_other_stations_are_passed_over_and_counted(gauge):
    text = by_year((1, "PRCP", 1, "", "", ""), (1, "TMAX", 311, "", "", ""), (1, "TMIN", 99, "", "X", ""))  # fmt: skip
    batch = take(text + by_year((1, "PRCP", 9, "", "", ""), station=OTHER), gauge, where=STATION)
    assert (batch.added, batch.skipped, batch.rejected) == (1, 1, 0)
    assert batch.understood.endswith("2 values of other elements were passed over (TMAX, TMIN).")


def test_of_several_stations_one_must_be_chosen(gauge):
    text = by_year((1, "PRCP", 1, "", "", "")) + by_year((1, "PRCP", 9, "", "", ""), station=OTHER)
    with pytest.raises(Refused) as refusal:
        take(text, gauge)
    assert str(refusal.value) == (
        "The file holds several stations: USC00990001, USC00990002. "
        "Say which is this gauge’s, as station=its name."
    )
    take(text, gauge, where=f"ID={OTHER}")
    assert [row[3] for row in rows(gauge)] == [900]


def test_stations_are_found_by_gauge_codes_and_by_what_a_person_says(gauge):
    other = factory.make_gauge(OTHER.lower(), kind=GaugeKind.DAILY)
    text = by_year((1, "PRCP", 1, "", "", "")) + by_year((1, "PRCP", 9, "", "", ""), station=OTHER)
    lines = text.splitlines(keepends=True)
    found = understand(lines, gauge=None, wishes=Wishes(), program=Program.get())
    assert (list(found.layouts), found.unknown) == ([other], (STATION,))
    wishes = Wishes(gauges=f"{STATION}=creek")
    found = understand(lines, gauge=None, wishes=wishes, program=Program.get())
    shown = [(row.gauge_code, row.depth_um) for row in found.rows_read(lines)]
    assert shown == [("creek", 100), (OTHER.lower(), 900)]


def test_two_stations_are_not_one_gauge(gauge):
    text = by_year((1, "PRCP", 1, "", "", "")) + by_year((1, "PRCP", 9, "", "", ""), station=OTHER)
    wishes = Wishes(gauges=f"{STATION}=creek, {OTHER}=creek")
    with pytest.raises(Refused, match="Two stations in the file are said to be of one gauge"):
        understand(text.splitlines(True), gauge=None, wishes=wishes, program=Program.get())


def test_the_observation_time_ends_the_day_and_a_change_of_it_leaves_no_gap(gauge):
    take(
        by_year(
            (1, "PRCP", 1, "", "", "1700"),
            (2, "PRCP", 2, "", "", "1700"),
            (3, "PRCP", 3, "", "", "0800"),  # near the gauge's own hour: that
            (4, "PRCP", 4, "", "", ""),
        ),
        gauge,
    )
    assert [row[:2] for row in rows(gauge)] == [
        ("31 17:00", "01 17:00"),
        ("01 17:00", "02 17:00"),
        ("02 17:00", "03 07:00"),
        ("03 07:00", "04 07:00"),
    ]


def test_without_an_observation_time_an_automatic_gauges_day_is_the_calendars(program):
    gauge = factory.make_gauge("auto")
    take(by_year((1, "PRCP", 1, "", "", ""), (2, "PRCP", 2, "", "", "2400")), gauge)
    assert [row[:2] for row in rows(gauge)] == [("01 00:00", "02 00:00"), ("02 00:00", "03 00:00")]


DAILY = (
    '"STATION","DATE","NAME","PRCP","PRCP_ATTRIBUTES","MDPR","MDPR_ATTRIBUTES","DAPR","DAPR_ATTRIBUTES","TMAX","TMAX_ATTRIBUTES"\n'
    '"USC00990001","2026-06-01","CREEK","  254",",,7,0700",,,,,"311",",,7"\n'
    '"USC00990001","2026-06-02","CREEK","    0","T,,7,0700",,,,,"311",",,7"\n'
    '"USC00990001","2026-06-03","CREEK",,,,,,,"311",",,7"\n'
    '"USC00990001","2026-06-05","CREEK",,,"  100",",,7","    2",",,7",,\n'
    '"USC00990001","2026-06-06","CREEK","   51",",S,7,0700",,,,,,\n'
)


def test_one_row_a_day_with_flags_in_a_column_of_their_own(gauge):
    batch = take(DAILY, gauge)
    assert [row[1:] for row in rows(gauge)] == [
        ("01 07:00", ReadingKind.MEASURED, 25_400),
        ("02 07:00", ReadingKind.TRACE, 0),
        ("03 07:00", ReadingKind.MISSING, None),
        ("05 07:00", ReadingKind.MULTI_DAY, 10_000),
    ]
    assert bad(batch) == [
        (6, "The source marks the value as failing a check: spatial consistency (S).")
    ]


def test_depths_with_points_are_no_tenths_and_need_a_unit(gauge):
    text = DAILY.replace("  254", "1.00").replace("  100", "0.40").replace("   51", "0.20")
    with pytest.raises(Refused, match="not the archive’s tenths of a millimetre. Say the unit."):
        take(text, gauge)
    take(text, gauge, unit="in")
    assert [row[3] for row in rows(gauge)] == [25_400, 0, None, 10_160]


def test_the_fixed_form_has_one_line_a_month(gauge):
    days = ["  254  7", "    0T 7", "-9999   ", "   25 G7"] + ["    0  7"] * 26 + ["-9999   "]
    text = f"{STATION}202606PRCP{''.join(days)}\n{STATION}202606TMAX{''.join(days)}\n"
    batch = take(text, gauge)
    assert [row[2:] for row in rows(gauge)][:3] == [
        (ReadingKind.MEASURED, 25_400),
        (ReadingKind.TRACE, 0),
        (ReadingKind.MISSING, None),
    ]
    assert (batch.added, batch.rejected) == (29, 1)
    assert bad(batch)[0][0] == 1


@pytest.mark.parametrize("form", [FileFormat.GHCN_BY_YEAR, FileFormat.GHCN_DAILY, FileFormat.GHCN_FIXED])  # fmt: skip
def test_a_file_that_is_said_to_be_ghcn_but_is_not_is_refused(gauge, form):
    with pytest.raises(Refused):
        take("time,rain\n2026-07-14 15:00,0\n2026-07-14 15:15,1\n", gauge, format=form)
    assert not gauge.readings.exists()
    assert gauge.started_on < date(2026, 6, 1)
