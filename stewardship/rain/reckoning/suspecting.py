"""What looks wrong about a gauge's record in a span, as a person will be asked about it."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import Any

import numpy as np

from stewardship.hydrology.units import IntArray
from stewardship.rain.choices import GaugeKind, SuspicionKind
from stewardship.rain.intake.blocks import greatest_um
from stewardship.rain.models import Gauge
from stewardship.rain.quality.amounts import odd_amounts, streaks, unlikely_rates
from stewardship.rain.quality.days import MOST_NEIGHBOURS, near_rain
from stewardship.rain.quality.stuck import shifted_days, stuck_zeros
from stewardship.rain.reckoning.daily import DayTable, neighbours_of, wet_readings_of


@dataclass(frozen=True)
class Found:
    """A stretch that looks wrong. What `facts` holds, by kind:

    stuck: days, near_um, gauges (codes), chance, dry_until_s (None: it lasts) · rate: depth_um, length_s, share ·
    streak: depth_um, times · odd: odd, of, resolution_um · shifted: days_late, fit, as_written, gauges
    """

    kind: SuspicionKind
    start_s: int
    end_s: int
    facts: dict[str, Any] = field(default_factory=dict)


def suspicions_in(
    gauge: Gauge, *, gauges: Sequence[Gauge], table: DayTable, span_s: tuple[int, int], on: date
) -> list[Found]:
    """Everything that looks wrong about a gauge in a span.

    Parameters
    ----------
    gauges : whose days the rows of `table` are; `gauge` is among them.
    on : day on which the gauges' places are looked up.
    """
    return [*_amounts(gauge, span_s), *_beside_neighbours(gauge, gauges, table, on)]


def _amounts(gauge: Gauge, span_s: tuple[int, int]) -> list[Found]:
    wet = wet_readings_of(gauge, *span_s)
    found = [
        Found(
            SuspicionKind.RATE,
            rate.start_s,
            rate.end_s,
            {"depth_um": rate.depth_um, "length_s": rate.length_s, "share": round(rate.share, 3)},
        )
        for rate in unlikely_rates(wet, greatest_um)
    ]
    daily = gauge.kind == GaugeKind.DAILY
    found += [
        Found(
            SuspicionKind.STREAK,
            streak.start_s,
            streak.end_s,
            {"depth_um": streak.depth_um, "times": streak.times},
        )
        for streak in streaks(wet, resolution_um=gauge.resolution_um, daily=daily)
    ]
    odd = odd_amounts(wet, resolution_um=gauge.resolution_um)
    if odd is not None:
        facts = {"odd": odd.odd, "of": odd.of, "resolution_um": gauge.resolution_um}
        found.append(Found(SuspicionKind.ODD, odd.start_s, odd.end_s, facts))
    return found


def _beside_neighbours(
    gauge: Gauge, gauges: Sequence[Gauge], table: DayTable, on: date
) -> list[Found]:
    near = neighbours_of(gauge, gauges, on=on)
    if not near:
        return []
    place = {one.pk: n for n, one in enumerate(gauges)}
    rows = [place[other.pk] for other, _far in near]
    own = place[gauge.pk]
    near_um = near_rain(
        table.depth_um[rows], table.complete[rows], np.array([far for _other, far in near])
    )
    depth_um, complete = table.depth_um[own], table.complete[own]

    def speaking(days: IntArray) -> list[str]:
        """Codes of the nearest neighbours that are known on any of some days."""
        codes = [
            other.code
            for (other, _far), row in zip(near, rows, strict=True)
            if table.complete[row, days].any()
        ]
        return codes[:MOST_NEIGHBOURS]

    found = []
    known = np.flatnonzero(complete)
    for zero in stuck_zeros(
        depth_um=depth_um, alive=table.alive[own], complete=complete, near_um=near_um
    ):
        lasting = zero.dry_last == known[-1]
        facts: dict[str, Any] = {
            "days": zero.days,
            "near_um": zero.near_um,
            "gauges": speaking(np.arange(zero.first, zero.last + 1)),
            "chance": zero.chance,
            "dry_until_s": None if lasting else table.span_s(zero.first, zero.dry_last)[1],
        }
        found.append(Found(SuspicionKind.STUCK, *table.span_s(zero.first, zero.last), facts))
    if gauge.kind == GaugeKind.DAILY:
        for shifted in shifted_days(depth_um=depth_um, complete=complete, near_um=near_um):
            facts = {
                "days_late": shifted.days_late,
                "fit": round(shifted.fit, 2),
                "as_written": round(max(shifted.fit_as_written, 0), 2),
                "gauges": speaking(np.arange(shifted.first, shifted.last + 1)),
            }
            span = table.span_s(shifted.first, shifted.last)
            found.append(Found(SuspicionKind.SHIFTED, *span, facts))
    return found
