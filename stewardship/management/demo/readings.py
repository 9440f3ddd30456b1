"""What each demo gauge reported of the rain: daily readers with their habits, automatic gauges with their steps."""

from datetime import date, timedelta
from typing import NamedTuple

import numpy as np

from stewardship.management.demo.days import Days
from stewardship.management.demo.rain import STEP_S, Shower
from stewardship.management.demo.weather import GaugeSpot
from stewardship.rain.choices import GaugeKind, ReadingKind

UM_PER_TIP = 254  # [µm] 0.01 in
MM_PER_TIP = 0.254  # [mm]
TRACE_MM = MM_PER_TIP / 2  # [mm] less than this in the funnel is written as a trace
STEPS_A_DAY = 86_400 // STEP_S
CLEAN_DAYS = 30  # readers were at home on every one of the last days


class Row(NamedTuple):
    """One reading: (start, end] in epoch seconds, its kind, depth in µm, and what was written down."""

    start_s: int
    end_s: int
    kind: str
    depth_um: int | None
    typed: str


def rows_of(gauge: GaugeSpot, rain: tuple[Shower, ...], days: Days) -> list[Row]:
    """Every reading of the gauge from the first day of the record until today."""
    if gauge.kind == GaugeKind.DAILY:
        return _daily(gauge, rain, days)
    return _automatic(gauge, rain, days)


def _daily(gauge: GaugeSpot, rain: tuple[Shower, ...], days: Days) -> list[Row]:
    """One reading a morning until yesterday's; this morning's is still to be entered."""
    hour = gauge.observation_hour or 0
    mornings = [days.first + timedelta(days=n) for n in range((days.ago(1) - days.first).days + 1)]
    edges_s = [days.at_s(morning, hour) for morning in mornings]
    depths_mm = gauge.depths_mm(rain, np.array(edges_s, dtype=float))
    rows: list[Row] = []
    together_s = None  # start of a total that is still being collected
    collected_mm = 0.0
    for morning, start_s, end_s, depth_mm in zip(
        mornings[1:], edges_s[:-1], edges_s[1:], depths_mm, strict=True
    ):
        if _nobody_there(gauge, morning, days):
            rows.append(Row(start_s, end_s, ReadingKind.MISSING, None, ""))
        elif _left_for_monday(gauge, morning, days):
            together_s = start_s if together_s is None else together_s
            collected_mm += depth_mm
        elif together_s is not None:
            tips = round((collected_mm + depth_mm) / MM_PER_TIP)
            rows.append(
                Row(together_s, end_s, ReadingKind.MULTI_DAY, tips * UM_PER_TIP, _inches(tips))
            )
            together_s, collected_mm = None, 0.0
        else:
            rows.append(_one_morning(start_s, end_s, float(depth_mm)))
    return rows


def _one_morning(start_s: int, end_s: int, depth_mm: float) -> Row:
    if depth_mm == 0:
        return Row(start_s, end_s, ReadingKind.ZERO, 0, "0.00 in")
    if depth_mm < TRACE_MM:
        return Row(start_s, end_s, ReadingKind.TRACE, 0, "T")
    tips = max(round(depth_mm / MM_PER_TIP), 1)
    return Row(start_s, end_s, ReadingKind.MEASURED, tips * UM_PER_TIP, _inches(tips))


def _left_for_monday(gauge: GaugeSpot, morning: date, days: Days) -> bool:
    """The depot's reader skips Saturday and Sunday in every sixth week and writes one total on Monday."""
    return (
        gauge.code == "depot"
        and morning.weekday() in (5, 6)
        and morning.isocalendar().week % 6 == 0
        and morning < days.ago(CLEAN_DAYS)
    )


def _nobody_there(gauge: GaugeSpot, morning: date, days: Days) -> bool:
    """Nobody reads the school's gauge in the last week of December."""
    return (
        gauge.code == "school"
        and morning.month == 12
        and morning.day > 24
        and morning < days.ago(CLEAN_DAYS)
    )


def _automatic(gauge: GaugeSpot, rain: tuple[Shower, ...], days: Days) -> list[Row]:
    """Steps of 15 minutes with rain; dry times as one row a day where the gauge reports them."""
    first_s, last_s = days.at_s(days.first, 0), days.at_s(days.today, 0)
    edges_s = np.arange(first_s, last_s + 1, STEP_S)
    depth_mm = gauge.depths_mm(rain, edges_s.astype(float))
    # The bucket tips when it is full; what is left in it counts toward the next tip.
    tips = np.diff(np.floor(np.concatenate([[0.0], np.cumsum(depth_mm)]) / MM_PER_TIP + 1e-9))
    rows = [
        Row(
            int(edges_s[n]),
            int(edges_s[n + 1]),
            ReadingKind.MEASURED,
            int(tips[n]) * UM_PER_TIP,
            _inches(int(tips[n])),
        )
        for n in np.flatnonzero(tips)
        if not _dead(gauge, int(edges_s[n]))
    ]
    if gauge.lists_dry:
        rows += _dry_rows(gauge, edges_s, tips)
    else:
        rows += _signs_of_life(edges_s, tips)
    return sorted(rows)


def _signs_of_life(edges_s: np.ndarray, tips: np.ndarray) -> list[Row]:
    """A gauge that is silent when it is dry still reports its last dry step of each day, so that it is known to be alive."""
    last_steps = np.arange(STEPS_A_DAY - 1, tips.size, STEPS_A_DAY)
    return [
        Row(int(edges_s[n]), int(edges_s[n + 1]), ReadingKind.ZERO, 0, "0.00 in")
        for n in last_steps
        if tips[n] == 0
    ]


def _dry_rows(gauge: GaugeSpot, edges_s: np.ndarray, tips: np.ndarray) -> list[Row]:
    """Dry steps in a row, cut at the end of each day, as single readings of zero."""
    rows: list[Row] = []
    dry = (tips == 0) & np.array([not _dead(gauge, int(start_s)) for start_s in edges_s[:-1]])
    for first in range(0, dry.size, STEPS_A_DAY):
        part = np.concatenate([[False], dry[first : first + STEPS_A_DAY], [False]])
        turns = np.flatnonzero(np.diff(part.astype(int)))
        for begin, end in zip(turns[::2], turns[1::2], strict=True):
            rows.append(
                Row(
                    int(edges_s[first + begin]),
                    int(edges_s[first + end]),
                    ReadingKind.ZERO,
                    0,
                    "0.00 in",
                )
            )
    return rows


def _dead(gauge: GaugeSpot, start_s: int) -> bool:
    return gauge.out is not None and gauge.out.start_s <= start_s < gauge.out.end_s


def _inches(tips: int) -> str:
    return f"{tips / 100:.2f} in"
