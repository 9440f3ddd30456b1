"""The hours of a storm at its gauges: each gauge's readings as a drawing, and as the lines of a table."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING

from django.utils.translation import gettext as _

from people.models import Program
from stewardship.common.charts import Bars, Scale, hyetograph
from stewardship.common.written import depth_text
from stewardship.rain.models import Reading, instant

if TYPE_CHECKING:
    from stewardship.front.storm_gauges import GaugeRecord

#: Fewer bars than this say nothing that the number beside them does not.
FEWEST_BARS = 3
#: Readings that one drawing shows; more are drawn in equal steps of several readings.
MOST_BARS = 288


@dataclass(frozen=True)
class Interval:
    """One line of the table beside a drawing: what a reading, or the silence between two, says for (start, end]. [µm]"""

    start: datetime
    end: datetime
    depth_um: int | None
    kind: str


def intervals(readings: Sequence[Reading], *, silence_is_dry: bool) -> list[Interval]:
    """Readings in order of time, and a line for each time between two of them that has none."""
    lines: list[Interval] = []
    for one in readings:
        start, end = instant(one.start_s), instant(one.end_s)
        if lines and start > lines[-1].end:
            silence = (0, _("nothing listed: dry")) if silence_is_dry else (None, _("no reading"))
            lines.append(Interval(lines[-1].end, start, *silence))
        lines.append(Interval(start, end, one.depth_um, str(one.get_kind_display())))
    return lines


def draw_hours(records: "Sequence[GaugeRecord]", program: Program) -> None:
    """Draws the gauges' hours, all on one scale; none of a gauge with few readings or without a part."""
    drawn = []
    for record in records:
        if record.parts:
            # silence of a gauge that reports only rain is dry; of any other it is a hole
            edges, depths = _steps(record.readings, between=None if record.gauge.lists_dry else 0.0)
            if len(depths) >= FEWEST_BARS:
                drawn.append((record, Bars(edges, depths)))
    if not drawn:
        return
    scale = Scale.holding(bars for _record, bars in drawn)
    for record, bars in drawn:
        if not record.why_out:  # it knows the whole storm: before and after its own part it was dry
            bars = _to_the_ends(bars, scale)
        record.svg = hyetograph(
            bars,
            scale=scale,
            title=_("Rain at %s") % record.gauge.name,
            description=_("%s in all.") % depth_text(record.depth_um, program.units),
            units=program.units,
            zone=program.zone,
        )


def _steps(
    readings: Sequence[Reading], *, between: float | None
) -> tuple[list[datetime], list[float | None]]:
    """Edges and depths [mm] of at most `MOST_BARS` bars; a time between two readings is a bar of its own, `between` high."""
    edges: list[datetime] = []
    depths: list[float | None] = []
    bundle = -(-len(readings) // MOST_BARS) or 1
    for n in range(0, len(readings), bundle):
        some = readings[n : n + bundle]
        start = instant(some[0].start_s)
        if not edges:
            edges.append(start)
        elif start > edges[-1]:
            edges.append(start)
            depths.append(between)
        edges.append(instant(some[-1].end_s))
        known = [r.depth_um for r in some if r.depth_um is not None]
        depths.append(sum(known) / 1000 if known else None)
    return edges, depths


def _to_the_ends(bars: Bars, scale: Scale) -> Bars:
    """The same with a dry bar before and after, where the scale reaches further."""
    edges, depths = list(bars.edges), list(bars.depths_mm)
    if scale.start < edges[0]:
        edges, depths = [scale.start, *edges], [0.0, *depths]
    if scale.end > edges[-1]:
        edges, depths = [*edges, scale.end], [*depths, 0.0]
    return Bars(edges, depths)
