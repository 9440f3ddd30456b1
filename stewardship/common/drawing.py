"""A street-side basin in section, as SVG: street, curb with its inlet, sediment trap, lip, planted hollow, water line.

Heights are to scale among themselves, lengths are not.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from html import escape

from django.utils.translation import gettext as _

from stewardship.common.pen import (
    INK,
    LEAF,
    RULE,
    SOFT,
    SOIL,
    SOIL_WASH,
    WATER,
    WATER_WASH,
    WIDTH,
    dashed,
    measure,
    path,
    tuft,
    words,
)
from stewardship.common.written import length_text

CURB_M = 0.15  # curb height above the gutter where none is known: 6 in, common practice, no source
TRAP_DEPTH_M = (
    0.30  # trap floor below the inlet where none is known: 12 in, common practice, no source
)
TOP = 80  # above it two rows of words
TALL = 190  # what the heights are stretched to
X_CURB, X_BACK, X_TRAP, X_TRAP_END = 130, 152, 160, 240
X_LIP, X_LIP_END, X_FLOOR, X_FLOOR_END, X_WALK = 240, 302, 356, 486, 566


@dataclass(frozen=True)
class Section:
    """Heights in metres above the inlet bottom (the gutter's flow line); None where nobody knows."""

    lip: float
    floor: float
    pit: float
    silt: float | None
    water: float | None

    @property
    def top(self) -> float:
        return max(CURB_M, self.lip + 0.02, self.water or 0)

    @property
    def scale(self) -> float:
        """Drawing units per metre."""
        return TALL / (self.top - min(self.floor, self.pit))

    def y(self, height_m: float) -> float:
        return TOP + (self.top - height_m) * self.scale


def _ground_line(s: Section) -> str:
    """The surface from the back of the curb to the walk, as path commands from the left."""
    y, lip, floor = s.y, s.y(s.lip), s.y(s.floor)
    bank_top = y(CURB_M)
    return (
        f"M{X_BACK} {y(0):.1f}H{X_TRAP - 2}L{X_TRAP + 4} {y(s.pit):.1f}H{X_TRAP_END - 8}"
        f"L{X_LIP + 4} {lip + 8:.1f}L{X_LIP + 12} {lip + 4:.1f}H{X_LIP_END - 8}"
        f"C{X_LIP_END + 24} {lip + 6:.1f} {X_FLOOR - 34} {floor:.1f} {X_FLOOR} {floor:.1f}H{X_FLOOR_END}"
        f"C{X_FLOOR_END + 42} {floor:.1f} {X_WALK - 30} {bank_top:.1f} {X_WALK} {bank_top:.1f}"
    )


def _water(s: Section) -> list[str]:
    """What stood: the trap brim-full to its lip, the hollow to its greatest depth. Drawn before the ground, which covers the rest."""
    if s.water is None or s.water <= s.floor:
        return []
    bottom = s.y(min(s.floor, s.pit)) + 2
    level = s.y(s.water)
    in_trap = max(s.lip, s.water)
    left = X_TRAP - 4 if in_trap <= 0 else X_CURB - 14
    mark = X_FLOOR + 26
    parts = [
        path(f"M{X_LIP + 20} {level:.1f}H{X_WALK}V{bottom:.1f}H{X_LIP + 20}Z", fill=WATER_WASH),
        path(f"M{left} {s.y(in_trap):.1f}H{X_LIP + 24}V{bottom:.1f}H{left}Z", fill=WATER_WASH),
        path(f"M{left} {s.y(in_trap):.1f}H{X_LIP + 20}", stroke=WATER, width=1.5),
        path(f"M{X_LIP + 20} {level:.1f}H{X_WALK}", stroke=WATER, width=2.5),
    ]
    # The draughtsman's sign for a free water surface.
    parts.append(
        path(
            f"M{mark} {level - 2:.1f}l-8 -13h16zM{mark - 7} {level + 5:.1f}h14M{mark - 4} {level + 9.5:.1f}h8",
            stroke=WATER,
        )
    )
    return parts


def _plants(s: Section, heights_m: Sequence[float] | None) -> list[str]:
    """Plants on the floor at their own heights (cut at the curb's); with no heights known, grass on the far bank only."""
    foot = s.y(s.floor)
    if not heights_m:
        return [
            tuft(x, s.y(s.floor + share * (CURB_M - s.floor)), 34)
            for x, share in ((532, 0.66), (549, 0.9))
        ]
    shown = list(heights_m)[:4]
    room = foot - TOP + 10
    step = (X_FLOOR_END - X_FLOOR) / len(shown)
    return [
        tuft(X_FLOOR + step * (i + 0.62), foot, min(max(h, 0.02) * s.scale, room))
        for i, h in enumerate(shown)
    ]


def _stones(s: Section) -> list[str]:
    """The rock lip: level on top, of a few fitted stones."""
    top = s.y(s.lip)
    return [
        path(d, fill=LEAF, stroke=INK)
        for d in (
            f"M{X_LIP + 8} {top + 24:.1f}q-5 -9 3 -13q9 -6 17 0q5 7 -1 13z",
            f"M{X_LIP + 29} {top + 24:.1f}q-4 -8 2 -12q9 -5 17 1q4 6 0 11z",
            f"M{X_LIP - 1} {top + 13:.1f}q-3 -11 6 -13h15q8 3 5 12q-12 5 -26 1z",
            f"M{X_LIP + 25} {top + 13:.1f}q-2 -10 6 -13h16q9 2 6 12q-13 5 -28 1z",
            f"M{X_LIP + 53} {top + 15:.1f}q-2 -11 5 -14h7q8 5 5 13q-9 5 -17 1z",
        )
    ]


def _silt(s: Section) -> list[str]:
    """Sediment in the trap up to the measured surface, stippled. Drawn before the ground, too."""
    if s.silt is None or s.silt <= s.pit:
        return []
    top, bottom = s.y(s.silt), s.y(s.pit) + 2
    left, right = X_TRAP - 4, X_TRAP_END + 12
    dots = "".join(
        f"M{left + 4 + (i * 11 + row * 5) % 88} {top + 6 + row * 7:.1f}h.1"
        for row in range(max(0, int((bottom - top - 4) // 7)))
        for i in range(9)
    )
    surface = f"M{left} {top + 1:.1f}q24 -4 44 -1t{right - left - 44} 1"
    return [
        path(f"{surface}V{bottom:.1f}H{left}Z", fill=SOIL_WASH),
        path(dots, stroke=SOIL, width=2.2),
        path(surface, stroke=SOIL),
    ]


def _street(s: Section) -> list[str]:
    """Pavement falling to the gutter, the curb behind the cut, its footing, and the way the water comes."""
    gutter, top, deep = s.y(0), s.y(CURB_M), s.y(0) + 0.09 * s.scale
    crown = gutter - 0.035 * s.scale
    return [
        path(
            f"M0 {crown:.1f}L{X_CURB} {gutter:.1f}V{gutter + 14:.1f}L0 {crown + 14:.1f}Z", fill=RULE
        ),
        path(f"M0 {crown:.1f}L{X_CURB} {gutter:.1f}", stroke=INK, width=2),
        path(
            f"M{X_CURB} {gutter:.1f}V{top + 4:.1f}q0 -4 4 -4H{X_BACK}V{gutter:.1f}",
            fill=LEAF,
            stroke=SOFT,
            width=1,
        ),
        path(
            f"M{X_CURB} {gutter:.1f}H{X_BACK}V{deep:.1f}H{X_CURB}Z", fill=RULE, stroke=INK, width=2
        ),
        path(
            f"M24 {crown - 9:.1f}L{X_CURB - 6} {gutter - 9:.1f}H{X_BACK + 4}q14 1 18 12"
            f"m-8 -4.500l8 5l2.500 -9",
            stroke=WATER,
            width=2,
        ),
    ]


def _earth(s: Section, bottom: float) -> list[str]:
    """Ground under it all, its surface, and the draughtsman's earth strokes below that."""
    y, surface = s.y, _ground_line(s)
    crown = y(0) - 0.035 * s.scale + 14
    lower = f"H{WIDTH}V{bottom:.1f}H0V{crown:.1f}L{X_CURB} {y(0) + 14:.1f}V{y(0):.1f}Z"
    strokes = "".join(
        f"M{x:.1f} {at + 9:.1f}l-7 9m13 -9l-7 9m13 -9l-7 9"
        for x, at in (
            (34, crown),
            (92, crown + 6),
            (192, y(s.pit)),
            (376, y(s.floor)),
            (448, y(s.floor)),
            (606, y(CURB_M) + 14),
        )
    )
    return [
        path(surface + lower, fill=SOIL_WASH),
        path(strokes, stroke=SOIL, width=1),
        path(surface, stroke=INK, width=2),
        path(f"M{X_WALK} {y(CURB_M):.1f}H{WIDTH}v14H{X_WALK}Z", fill=RULE, stroke=INK, width=1.5),
    ]


def _sentence(s: Section, units: str, said: dict[str, str]) -> str:
    parts = [said["water"], said["silt"]]
    if s.lip >= 0:
        parts.append(said["lip"])
    elif s.water is not None and s.water > s.lip:
        over = length_text(s.water - s.lip, units)
        parts.append(_("the water rose %s over the lip") % over)
    elif s.water is not None and s.water > s.floor:
        under = length_text(s.lip - s.water, units)
        parts.append(_("%s were left below the lip") % under)
    return _("The basin in section: %s.") % "; ".join(parts)


def _said(s: Section, units: str, planned: bool) -> dict[str, str]:
    """The measured things in words; of works that are only planned, the sizes."""
    if s.water is None:
        water = _("water depth not known")
    elif s.water <= s.floor:
        water = _("stayed dry")
    else:
        water = _("water %s deep") % length_text(s.water - s.floor, units)
    if s.silt is None and planned:
        silt = _("pit %s deep") % length_text(-s.pit, units)
    elif s.silt is None:
        silt = _("silt not measured")
    elif s.silt >= 0:
        silt = _("silt up to the inlet")
    else:
        silt = _("silt %s down") % length_text(-s.silt, units)
    if s.lip >= 0:
        lip = _("lip not below the inlet")
    else:
        lip = _("lip %s below inlet") % length_text(-s.lip, units)
    return {"water": water, "silt": silt, "lip": lip}


def basin_section_svg(
    *,
    depth_at_lip_m: float,
    lip_below_inlet_m: float,
    water_depth_m: float | None = None,
    trap_drop_m: float | None = None,
    trap_depth_m: float | None = None,
    plant_heights_m: Sequence[float] | None = None,
    units: str = "us",
    planned: bool = False,
) -> str:
    """The drawing as an SVG element with its own text alternative.

    Parameters
    ----------
    depth_at_lip_m : how deep the hollow is when full to its lip. [m, > 0]
    lip_below_inlet_m : how far the lip lies below the inlet bottom; zero or less is a construction fault and is said. [m]
    water_depth_m : greatest depth of water over the floor; 0 for dry, None for not known. [m]
    trap_drop_m : measured drop from the inlet bottom to the sediment; None for not measured. [m]
    trap_depth_m : trap floor below the inlet bottom; a usual one is drawn when None. [m]
    plant_heights_m : heights of up to four plants on the floor. [m]
    units : "us" or "metric", for the words.
    planned : nothing has been measured because nothing is built; the pit's depth is said instead.
    """
    pit = -(trap_depth_m or TRAP_DEPTH_M)
    lip, floor = -lip_below_inlet_m, -lip_below_inlet_m - depth_at_lip_m
    s = Section(
        lip=lip,
        floor=floor,
        pit=min(pit, lip - 0.04, 0 if trap_drop_m is None else -trap_drop_m - 0.01),
        silt=None if trap_drop_m is None else -trap_drop_m,
        water=None if water_depth_m is None else floor + water_depth_m,
    )
    said = _said(s, units, planned)
    bottom = s.y(min(s.floor, s.pit)) + 34
    height = bottom + 70
    parts = [*_water(s), *_silt(s), *_plants(s, plant_heights_m), *_earth(s, bottom)]
    parts += [*_street(s), *_stones(s)]
    parts.append(dashed(f"M{X_BACK + 26} {s.y(0):.1f}H{X_LIP_END + 14}", stroke=SOFT))
    if s.silt is not None and s.silt < 0:
        parts.append(measure(X_TRAP + 42, s.y(0), s.y(s.silt), SOIL))
    if s.water is not None and s.water > s.floor:
        parts.append(measure((X_FLOOR + X_FLOOR_END) / 2 + 22, s.y(s.water), s.y(s.floor), WATER))
    curb_mid, lip_mid = (X_CURB + X_BACK) / 2, (X_LIP + X_LIP_END) / 2
    parts += [
        path(
            f"M{curb_mid} 32V{s.y(CURB_M * 0.55):.1f}M{lip_mid} 60V{s.y(s.lip) - 5:.1f}",
            stroke=SOFT,
            width=1,
        ),
        words(12, 6, [_("street")], anchor="start"),
        words(curb_mid, 6, [_("inlet")]),
        words(WIDTH - 12, 6, [_("walk")], anchor="end"),
        words(lip_mid - 8, 30, [said["lip"]], anchor="start", colour=SOIL if s.lip >= 0 else INK),
        words((X_TRAP + X_TRAP_END) / 2, bottom + 4, [_("sediment trap"), said["silt"]]),
        words((X_FLOOR + X_FLOOR_END) / 2 + 30, bottom + 4, [_("planted hollow"), said["water"]]),
    ]
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="basin-section" role="img" viewBox="0 0 {WIDTH} {height:.0f}"'
        f"><title>{escape(_sentence(s, units, said))}</title>{''.join(parts)}</svg>"
    )
