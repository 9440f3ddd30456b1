"""The pen that drawings are made with: inks, lines, words and tufts of grass, as pieces of SVG.

Colours stand in attributes (paper colours, used by PDFs) and again as classes, through which pages follow light and dark.
"""

from collections.abc import Sequence
from html import escape

INK, SOFT, WATER, WATER_WASH = "#1b2a31", "#4b5a60", "#0d5872", "#d3e4e8"
SOIL, SOIL_WASH, RULE, LEAF = "#7a4519", "#efe3d3", "#cdd6cf", "#fbfcf9"
NAMES = {
    INK: "ink",
    SOFT: "ink-soft",
    WATER: "water",
    WATER_WASH: "water-wash",
    SOIL: "soil",
    SOIL_WASH: "soil-wash",
    RULE: "rule",
    LEAF: "leaf",
}

WIDTH = 640
TEXT = 15  # user units; the stylesheet enlarges it on a phone


def paint(fill: str | None, stroke: str | None, width: float) -> str:
    classes = " ".join(
        f"{kind}-{NAMES[colour]}" for kind, colour in (("f", fill), ("s", stroke)) if colour
    )
    line = (
        f' stroke="{stroke}" stroke-width="{width:g}" stroke-linejoin="round" stroke-linecap="round"'
        if stroke
        else ""
    )
    return f'class="{classes}" fill="{fill or "none"}"{line}'


def path(d: str, *, fill: str | None = None, stroke: str | None = None, width: float = 1.5) -> str:
    return f'<path {paint(fill, stroke, width)} d="{d}"/>'


def dashed(d: str, *, stroke: str) -> str:
    return f'<path {paint(None, stroke, 1.25)} stroke-dasharray="1 5" d="{d}"/>'


def words(
    x: float, y: float, lines: Sequence[str], *, anchor: str = "middle", colour: str = INK
) -> str:
    """Lines of text under the height `y`; the spacing grows with the text size that the page chooses."""
    spans = "".join(f'<tspan x="{x:g}" dy="1.15em">{escape(line)}</tspan>' for line in lines)
    return (
        f'<text class="sketch-text f-{NAMES[colour]}" fill="{colour}" x="{x:g}" y="{y:.1f}" '
        f'text-anchor="{anchor}" font-family="Rill Sans, sans-serif" font-size="{TEXT}">{spans}</text>'
    )


def measure(x: float, top: float, bottom: float, colour: str) -> str:
    """A dimension line with its two end strokes."""
    return path(
        f"M{x} {top:.1f}V{bottom:.1f}M{x - 5} {top:.1f}h10M{x - 5} {bottom:.1f}h10",
        stroke=colour,
    )


def tuft(x: float, foot: float, tall: float) -> str:
    """A plant as a handful of pen strokes."""
    spread = min(0.55 * tall, 26)
    blades = "".join(
        f"M{x + lean * 3:.1f} {foot:.1f}q{lean * spread * 0.18:.1f} {-tall * reach * 0.7:.1f} {lean * spread:.1f} {-tall * reach:.1f}"
        for lean, reach in (
            (-1, 0.62),
            (-0.62, 0.84),
            (-0.25, 0.97),
            (0.05, 0.8),
            (0.3, 1),
            (0.7, 0.86),
            (1, 0.58),
        )
    )
    return path(blades, stroke=SOFT, width=1.5)
