"""Words on a drawing beside the marks that they name, where they cover nothing. All in drawing units."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

Box = tuple[float, float, float, float]  # left, top, right, bottom


@dataclass(frozen=True)
class Label:
    x: str
    y: str
    anchor: str
    words: str


#: Height of a line of the labels, about.
LINE = 16


def around(x: float, y: float, r: float) -> Box:
    return x - r, y - r, x + r, y + r


def box_of(label: Label, letter: float) -> Box:
    width, x, y = letter * len(label.words), float(label.x), float(label.y)
    left = {"start": x, "middle": x - width / 2, "end": x - width}[label.anchor]
    return left, y - LINE + 4, left + width, y + 4


def place_label(
    x: float,
    y: float,
    half_w: float,
    half_h: float,
    words: str,
    letter: float,
    line: float,
    taken: list[Box],
    frame: Box,
    *,
    must: bool,
) -> Label | None:
    """Words beside a mark where they cover nothing, and what they take up; if they `must` stand, where they cover least."""
    spots = list(_spots(x, y, half_w, half_h, letter * len(words), line))
    inside = [spot for spot in spots if lies_in(spot[0], frame)]
    hidden = [(covered(box, taken), n) for n, (box, _a, _x, _y) in enumerate(inside)]
    if not hidden:
        if not must:
            return None
        inside, hidden = spots, [(0.0, 0)]
    least, n = min(hidden)
    if least > 0 and not must:
        return None
    box, anchor, text_x, text_y = inside[n]
    taken.append(box)
    return Label(f"{text_x:.1f}", f"{text_y:.1f}", anchor, words)


def _spots(
    x: float, y: float, half_w: float, half_h: float, width: float, line: float
) -> Iterator[tuple[Box, str, float, float]]:
    """Where the words of a mark may stand, the best first: the box they fill, their anchor, where they start."""
    right, left = x + half_w + 4, x - half_w - 4
    for down in (0.0, -line * 0.7, line * 0.7):
        top = y + down - line / 2
        yield (right, top, right + width, top + line), "start", right, y + down + 5
        yield (left - width, top, left, top + line), "end", left, y + down + 5
    for top in (y - half_h - line - 1, y + half_h + 1):
        middle = x - width / 2
        yield (middle, top, middle + width, top + line), "middle", x, top + line - 4


def lies_in(box: Box, frame: Box) -> bool:
    return box[0] >= frame[0] and box[1] >= frame[1] and box[2] <= frame[2] and box[3] <= frame[3]


def covered(box: Box, taken: Iterable[Box]) -> float:
    """Area of a box that others lie on. [drawing units²]"""
    return sum(
        max(0.0, min(box[2], other[2]) - max(box[0], other[0]))
        * max(0.0, min(box[3], other[3]) - max(box[1], other[1]))
        for other in taken
    )
