"""A frontage from above, as SVG: street, curb with its inlets, sediment traps, planted basins, walk.

Basins, traps and openings have the sizes that are written down, to one scale. Nobody writes down where along the curb they lie or
how they are curved, so they stand in the order of their labels, as oblongs: the caption has to say so.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from html import escape
from math import pi, sqrt

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from stewardship.common.pen import (
    INK,
    LEAF,
    RULE,
    SOFT,
    SOIL,
    SOIL_WASH,
    WATER,
    WIDTH,
    dashed,
    path,
    tuft,
    words,
)
from stewardship.common.units import M_PER_FOOT
from stewardship.common.written import US, area_text, length_text, number_text

IN_A_ROW = 4  # basins that fit beside each other with words below
TIMES_AS_LONG = 2.4  # an oblong basin's length over its width where only its area is known
LONGEST_PX_PER_M = 60
TALLEST_PX = 120  # what a basin may take across the strip
STREET, CURB, WALK, LOT = 64, 10, 34, 30  # heights of the bands
GAP_M = 1.2  # between two basins; drawn, not known
APRON_PX = 16  # rock between trap and planting
SIDE = 22


@dataclass(frozen=True, slots=True)
class PlanInlet:
    """An opening in the curb, and the trap behind it. [m]"""

    width_m: float
    trap_m: tuple[float, float] | None  # along the flow, across it


@dataclass(frozen=True, slots=True)
class PlanBasin:
    """A basin as seen from above."""

    label: str
    lip_area_m2: float
    bottom_area_m2: float
    inlets: tuple[PlanInlet, ...]

    @property
    def across_m(self) -> float:
        """Width across the strip, as if the area at the lip were an oblong with round ends."""
        return sqrt(self.lip_area_m2 / (TIMES_AS_LONG - 1 + pi / 4))

    @property
    def along_m(self) -> float:
        return self.across_m * TIMES_AS_LONG


def plan_svg(basins: Sequence[PlanBasin], *, beside: str, units: str = US) -> str:
    """The drawing, with its own text alternative.

    Parameters
    ----------
    basins : one to `IN_A_ROW` of them, in order along the curb; sizes in metres.
    beside : the address that the frontage lies along.
    units : "us" or "metric", for the words.
    """
    along_m = sum(max(one.along_m, 1.0) for one in basins) + GAP_M * (len(basins) - 1)
    scale = min(
        (WIDTH - 2 * SIDE) / along_m,
        TALLEST_PX / max(one.across_m for one in basins),
        LONGEST_PX_PER_M,
    )
    curb_y = STREET + CURB
    trap_px = max(
        (inlet.trap_m[0] for one in basins for inlet in one.inlets if inlet.trap_m), default=0.0
    )
    top = curb_y + trap_px * scale + APRON_PX
    tall = max(one.across_m for one in basins) * scale
    walk_y = top + tall + 62
    height = walk_y + WALK + LOT
    parts = _bands(curb_y, walk_y, height, beside)
    room = (WIDTH - 2 * SIDE) / len(basins)
    for number, basin in enumerate(basins):
        middle = SIDE + room * (number + 0.5)
        parts += _basin(basin, middle, top, curb_y, scale, named=number == 0 and len(basins) < 3)
        parts.append(
            words(
                middle,
                top + tall + 8,
                [
                    _("Basin %s") % basin.label,
                    _("%s at the lip") % area_text(basin.lip_area_m2, units),
                ],
            )
        )
    parts += _scale_bar(walk_y + WALK + 21, scale, units)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="site-plan" role="img" viewBox="0 0 {WIDTH} {height:.0f}">'
        f"<title>{escape(_sentence(basins, beside, units))}</title>{''.join(parts)}</svg>"
    )


def _bands(curb_y: float, walk_y: float, height: float, beside: str) -> list[str]:
    """Street, curb, planted strip, walk, lot, from the top."""
    joints = "".join(f"M{x} {walk_y:.1f}v{WALK}" for x in range(80, WIDTH, 80))
    return [
        path(f"M0 0H{WIDTH}V{STREET}H0Z", fill=RULE),
        path(f"M0 {curb_y}H{WIDTH}V{walk_y:.1f}H0Z", fill=SOIL_WASH),
        path(f"M0 {STREET}H{WIDTH}V{curb_y}H0Z", fill=LEAF, stroke=INK),
        path(f"M0 {walk_y:.1f}H{WIDTH}v{WALK}H0Z", fill=LEAF, stroke=SOFT, width=1),
        path(joints, stroke=RULE, width=1),
        dashed(f"M0 {walk_y + WALK + 3:.1f}H{WIDTH}", stroke=SOFT),
        words(12, 8, [_("street")], anchor="start"),
        words(12, walk_y + 6, [_("walk")], anchor="start"),
        words(12, walk_y + WALK + 5, [beside], anchor="start"),
    ]


def _basin(
    basin: PlanBasin, middle: float, top: float, curb_y: float, scale: float, *, named: bool
) -> list[str]:
    along, across = basin.along_m * scale, basin.across_m * scale
    left = middle - along / 2
    share = sqrt(basin.bottom_area_m2 / basin.lip_area_m2)
    inner = (along * share, across * share)
    parts = [
        _oblong(left, top, along, across, fill=LEAF, stroke=INK),
        dashed(
            _oblong_path(middle - inner[0] / 2, top + (across - inner[1]) / 2, *inner), stroke=SOFT
        ),
    ]
    foot = top + across * 0.62
    parts += [
        tuft(middle + along * at, foot + across * down, min(24, across * 0.34))
        for at, down in ((-0.3, 0.1), (-0.12, -0.08), (0.08, 0.14), (0.27, 0.0))
    ]
    step = along / max(1, len(basin.inlets))
    for number, inlet in enumerate(basin.inlets):
        parts += _inlet(
            inlet, left + step * (number + 0.5), top, curb_y, scale, named=named and number == 0
        )
    return parts


def _oblong_path(x: float, y: float, along: float, across: float) -> str:
    r = across / 2
    straight = max(0.0, along - across)
    return (
        f"M{x + r:.1f} {y:.1f}h{straight:.1f}a{r:.1f} {r:.1f} 0 0 1 0 {across:.1f}"
        f"h{-straight:.1f}a{r:.1f} {r:.1f} 0 0 1 0 {-across:.1f}Z"
    )


def _oblong(x: float, y: float, along: float, across: float, *, fill: str, stroke: str) -> str:
    return path(_oblong_path(x, y, along, across), fill=fill, stroke=stroke, width=1.8)


def _inlet(
    inlet: PlanInlet, x: float, top: float, curb_y: float, scale: float, *, named: bool
) -> list[str]:
    """The gap in the curb, the way the water comes, the trap, and rock from there to the planting."""
    wide = max(inlet.width_m * scale, 6)
    parts = [
        path(f"M{x - wide / 2:.1f} {STREET - 1}h{wide:.1f}v{CURB + 2}h{-wide:.1f}Z", fill=RULE),
        path(
            f"M{x - wide / 2:.1f} {STREET}v{CURB}M{x + wide / 2:.1f} {STREET}v{CURB}",
            stroke=INK,
            width=2,
        ),
    ]
    below = curb_y
    if inlet.trap_m:
        long, across = (side * scale for side in inlet.trap_m)
        parts.append(
            path(
                f"M{x - across / 2:.1f} {curb_y + 1:.1f}h{across:.1f}v{long:.1f}h{-across:.1f}Z",
                fill=LEAF,
                stroke=SOIL,
                width=1.8,
            )
        )
        below = curb_y + 1 + long
    stones = "".join(
        f"M{x + dx:.1f} {y:.1f}q-4 -5 0 -8q5 -3 8 1q3 5 -1 8q-4 2 -7 -1z"
        for row, y in enumerate(_rows(below + 10, top + 6))
        for dx in ((-16, -4, 8) if row % 2 == 0 else (-10, 2))
    )
    parts.append(path(stones, fill=LEAF, stroke=SOFT, width=1))
    parts.append(
        path(
            f"M{x - 30:.1f} {STREET - 30}q28 2 30 {CURB + 30}m-5 -7l5 7l5 -7",
            stroke=WATER,
            width=2,
        )
    )
    if named:
        parts.append(words(x + wide / 2 + 8, STREET - 24, [_("inlet")], anchor="start"))
        if inlet.trap_m:
            at = x + inlet.trap_m[1] * scale / 2 + 8
            parts.append(words(at, curb_y + 1, [_("sediment trap")], anchor="start"))
    return parts


def _rows(first: float, last: float) -> list[float]:
    return [first + 9 * n for n in range(max(1, int((last - first) // 9) + 1))]


def _scale_bar(y: float, scale: float, units: str) -> list[str]:
    one, many = (M_PER_FOOT, _("%s ft")) if units == US else (1, _("%s m"))
    steps = next(n for n in (10, 5, 2, 1) if n * float(one) * scale < 150 or n == 1)
    long = steps * float(one) * scale
    x = WIDTH - 14 - long
    return [
        path(f"M{x:.1f} {y - 4:.1f}v8M{x:.1f} {y:.1f}h{long:.1f}m0 -4v8", stroke=INK),
        words(x - 8, y - 12, [many % number_text(steps)], anchor="end"),
    ]


def _sentence(basins: Sequence[PlanBasin], beside: str, units: str) -> str:
    said = []
    for basin in basins:
        traps = [inlet.trap_m for inlet in basin.inlets if inlet.trap_m]
        parts = [
            _("%s at the lip") % area_text(basin.lip_area_m2, units),
            ngettext("%d inlet", "%d inlets", len(basin.inlets)) % len(basin.inlets),
        ]
        parts += [
            _("sediment trap %(length)s × %(width)s")
            % {"length": length_text(long, units), "width": length_text(wide, units)}
            for long, wide in traps
        ]
        said.append(
            _("basin %(label)s: %(facts)s") % {"label": basin.label, "facts": ", ".join(parts)}
        )
    return _("The frontage of %(place)s from above, street to walk: %(basins)s.") % {
        "place": beside,
        "basins": "; ".join(said),
    }
