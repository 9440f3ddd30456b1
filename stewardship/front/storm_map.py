"""The map of a storm in drawing units: cells, gauges, sites by depth, words where there is room for them, a scale."""

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from stewardship.common.drawing import WIDTH
from stewardship.common.units import M_PER_FOOT, M_PER_MILE
from stewardship.common.written import US, depth_text, number_text
from stewardship.front.storm_area import Area
from stewardship.front.storm_gauges import GaugeRecord
from stewardship.front.storm_sites import SiteNeed
from stewardship.rain.choices import Sureness

#: Radius of a site that got no rain, and what the deepest has beyond it. [drawing units]
LEAST_R, MORE_R = 4.5, 8.5
UNKNOWN_R = 6.5
#: Half a gauge's width and height. [drawing units]
TUBE_W, TUBE_H = 8, 9
#: Width of a letter of the labels, about. [drawing units] Words of gauges grow on a phone, so more is kept free for them.
SITE_LETTER, GAUGE_LETTER, LINE = 6.6, 8.6, 16
#: Sites that are named at most, the deepest first: a map of more could not be read.
MOST_NAMED = 100
#: Height of the strip under the map that holds the scale and the north arrow. [drawing units]
STRIP = 40
#: Longest scale bar, as a share of the map's width.
BAR = 0.3


@dataclass(frozen=True)
class Dot:
    """A site: where, how large, how dark (1-5); `kind` is "wet", "dry" or "unknown"."""

    x: str
    y: str
    r: str
    shade: int
    kind: str
    words: str


@dataclass(frozen=True)
class Tube:
    """Gauges at one place: `level` is how full the drawn one stands, `counts` whether any of them speaks for the map."""

    x: str
    y: str
    level: str
    counts: bool
    words: str


@dataclass(frozen=True)
class Label:
    x: str
    y: str
    anchor: str
    words: str


@dataclass(frozen=True)
class StormMap:
    """All that the drawing needs, numbers as they stand in it; and in words what the drawing leaves out."""

    height: str  # of the map; with the strip under it `whole`
    whole: str
    title: str
    description: str
    borders: str  # path data of the lines between cells
    dots: list[Dot]
    tubes: list[Tube]
    gauge_labels: list[Label]
    site_labels: list[Label]
    bar: str
    bar_words: str
    key: list[tuple[str, int, str]]  # radius, shade, depth in words
    unknown: bool
    dry: bool
    left_out: bool
    unnamed: int
    off_map: list[str]


Box = tuple[float, float, float, float]  # left, top, right, bottom


def storm_map(
    area: Area, rows: Sequence[SiteNeed], records: Sequence[GaugeRecord], *, title: str, units: str
) -> StormMap:
    """The drawing of an area. Deep sites are drawn first, so that none is hidden; a gauge is always named, a site where there
    is room."""
    per_m = WIDTH / (area.east - area.west)
    height = (area.north - area.south) * per_m

    def at(east_m: float, north_m: float) -> tuple[float, float]:
        return (east_m - area.west) * per_m, (area.north - north_m) * per_m

    most_um = max([row.rain.depth_um or 0 for row in rows] + [one.depth_um or 0 for one in records])
    placed = sorted(
        zip(area.sites, [at(*place) for place in area.sites_m.tolist()], strict=True),
        key=lambda one: (-(one[0].rain.depth_um or 0), one[0].rain.site.code),
    )
    standing = _standing(area, at)
    taken: list[Box] = [_around(x, y, _radius(row, most_um)) for row, (x, y) in placed]
    taken += [(x - TUBE_W, y - TUBE_H, x + TUBE_W, y + TUBE_H) for _gauges, (x, y) in standing]
    frame = (4.0, 2.0, WIDTH - 4.0, height - 4.0)
    gauge_labels = [
        _label(x, y, TUBE_W, TUBE_H, words, GAUGE_LETTER, taken, frame, must=True)
        for gauges, (x, y) in standing
        for words in [_gauge_words(gauges, units)]
    ]
    site_labels = [
        _label(x, y, r, r, row.rain.site.code, SITE_LETTER, taken, frame, must=False)
        for row, (x, y) in placed[:MOST_NAMED]
        for r in [_radius(row, most_um)]
    ]
    named = [label for label in site_labels if label]
    bar_m, bar_words = _bar((area.east - area.west) * BAR, units)
    known = [row.rain.depth_um for row in rows if row.rain.depth_um is not None]
    return StormMap(
        height=f"{height:.0f}",
        whole=f"{height + STRIP:.0f}",
        title=title,
        description=_described(rows, records, units),
        borders="".join(
            "M{:.1f} {:.1f}L{:.1f} {:.1f}".format(*at(*start), *at(*end))
            for start, end in area.borders_m
        ),
        dots=[_dot(row, x, y, most_um, units) for row, (x, y) in placed],
        tubes=[_tube(gauges, x, y, most_um, units) for gauges, (x, y) in standing],
        gauge_labels=[label for label in gauge_labels if label],
        site_labels=named,
        bar=f"{bar_m * per_m:.1f}",
        bar_words=bar_words,
        key=_key(known, most_um, units),
        unknown=any(row.rain.depth_um is None for row in area.sites),
        dry=any(row.rain.depth_um == 0 for row in area.sites),
        left_out=any(one.share is None for gauges, _at in standing for one in gauges),
        unnamed=len(placed) - len(named),
        off_map=_off_map(area, rows, records),
    )  # fmt: skip


def _standing(
    area: Area, at: Callable[[float, float], tuple[float, float]]
) -> list[tuple[list[GaugeRecord], tuple[float, float]]]:
    """The gauges on the map, those at one place together."""
    spots: dict[tuple[float, float], list[GaugeRecord]] = {}
    for record, (east_m, north_m) in zip(area.gauges, area.gauges_m.tolist(), strict=True):
        if area.holds(east_m, north_m):
            spots.setdefault((round(east_m, 1), round(north_m, 1)), []).append(record)
    return [(records, at(*spot)) for spot, records in spots.items()]


def _off_map(area: Area, rows: Sequence[SiteNeed], records: Sequence[GaugeRecord]) -> list[str]:
    """In words, each site and gauge that could not be drawn."""
    words = [
        _("%s is not on the map: its coordinates are not known.") % row.rain.site.code
        for row in rows
        if not row.rain.site.has_place
    ]
    words += [
        _("Gauge %s is not on the map: nobody wrote down where it stands.") % one.gauge.code
        for one in records
        if one.place is None
    ]
    return words + [
        _("Gauge %s stands beyond the edge of the map.") % record.gauge.code
        for record, place in zip(area.gauges, area.gauges_m.tolist(), strict=True)
        if not area.holds(*place)
    ]


def _described(rows: Sequence[SiteNeed], records: Sequence[GaugeRecord], units: str) -> str:
    """What the drawing shows, for somebody who cannot see it."""
    sites = ngettext("One site", "%(n)s sites", len(rows)) % {"n": len(rows)}
    gauges = ngettext("one gauge", "%(n)s gauges", len(records)) % {"n": len(records)}
    words = [_("%(sites)s and %(gauges)s, north up.") % {"sites": sites, "gauges": gauges}]
    known = [row for row in rows if row.rain.depth_um is not None]
    if known:
        least = min(known, key=lambda row: row.rain.depth_um or 0)
        most = max(known, key=lambda row: row.rain.depth_um or 0)
        words.append(
            _("Most rain at %(most)s (%(most_depth)s), least at %(least)s (%(least_depth)s).")
            % {
                "most": most.rain.site.code,
                "most_depth": depth_text(most.rain.depth_um, units),
                "least": least.rain.site.code,
                "least_depth": depth_text(least.rain.depth_um, units),
            }
        )
    words.append(_("The tables below say the same."))
    return " ".join(words)


# -- marks ----------------------------------------------------------------------------------------------------
def _share(um: int | None, most_um: int) -> float:
    return (um or 0) / most_um if most_um else 0.0


def _radius(row: SiteNeed, most_um: int) -> float:
    """The area of a dot beyond the least grows with the depth."""
    if row.rain.depth_um is None:
        return UNKNOWN_R
    return LEAST_R + MORE_R * _share(row.rain.depth_um, most_um) ** 0.5


def _shade(um: int | None, most_um: int) -> int:
    """From 1, light, to 5."""
    return min(5, 1 + int(5 * _share(um, most_um)))


def _dot(row: SiteNeed, x: float, y: float, most_um: int, units: str) -> Dot:
    um = row.rain.depth_um
    return Dot(
        f"{x:.1f}",
        f"{y:.1f}",
        f"{_radius(row, most_um):.1f}",
        _shade(um, most_um),
        "unknown" if um is None else "wet" if um else "dry",
        f"{row.rain.site.code}: {depth_text(um, units) or _('not known')}"
        + ("" if um is None else f", {Sureness(row.rain.sureness).label}"),
    )


def _tube(gauges: Sequence[GaugeRecord], x: float, y: float, most_um: int, units: str) -> Tube:
    deepest = max(one.depth_um or 0 for one in gauges)
    return Tube(
        f"{x:.1f}",
        f"{y:.1f}",
        f"{2 * TUBE_H * _share(deepest, most_um):.1f}",
        any(one.share is not None for one in gauges),
        _gauge_words(gauges, units),
    )


def _gauge_words(gauges: Sequence[GaugeRecord], units: str) -> str:
    """ "porch 0.42 in"; of one that does not count why that is stands in the table."""
    said = []
    for one in gauges:
        if one.share is None:
            said.append(_("%s left out") % one.gauge.code)
        else:
            said.append(f"{one.gauge.code} {depth_text(one.depth_um, units)}")
    return ", ".join(said)


def _key(known: list[int], most_um: int, units: str) -> list[tuple[str, int, str]]:
    """Up to three sizes of dots with their depth: the least and the greatest that there is, and one between."""
    if not known:
        return []
    least, most = min(known), max(known)
    depths = sorted({least, (least + most) // 2, most} if most > 2 * least else {least, most})
    return [
        (
            f"{LEAST_R + MORE_R * _share(um, most_um) ** 0.5:.1f}",
            _shade(um, most_um),
            depth_text(um, units) or "",
        )
        for um in depths
        if depth_text(um, units) != depth_text(0, units)
    ]


# -- words ----------------------------------------------------------------------------------------------------
def _around(x: float, y: float, r: float) -> Box:
    return x - r, y - r, x + r, y + r


def _label(
    x: float,
    y: float,
    half_w: float,
    half_h: float,
    words: str,
    letter: float,
    taken: list[Box],
    frame: Box,
    *,
    must: bool,
) -> Label | None:
    """Words beside a mark where they cover nothing, and what they take up; if they `must` stand, where they cover least."""
    spots = list(_spots(x, y, half_w, half_h, letter * len(words)))
    inside = [
        spot
        for spot in spots
        if spot[0][0] >= frame[0] and spot[0][1] >= frame[1]
        and spot[0][2] <= frame[2] and spot[0][3] <= frame[3]
    ]  # fmt: skip
    covered = [(_covered(box, taken), n) for n, (box, _a, _x, _y) in enumerate(inside)]
    if not covered:
        if not must:
            return None
        inside, covered = spots, [(0.0, 0)]
    least, n = min(covered)
    if least > 0 and not must:
        return None
    box, anchor, text_x, text_y = inside[n]
    taken.append(box)
    return Label(f"{text_x:.1f}", f"{text_y:.1f}", anchor, words)


def _spots(
    x: float, y: float, half_w: float, half_h: float, width: float
) -> Iterator[tuple[Box, str, float, float]]:
    """Where the words of a mark may stand, the best first: the box they fill, their anchor, where they start."""
    right, left = x + half_w + 4, x - half_w - 4
    for down in (0.0, -LINE * 0.7, LINE * 0.7):
        top = y + down - LINE / 2
        yield (right, top, right + width, top + LINE), "start", right, y + down + 5
        yield (left - width, top, left, top + LINE), "end", left, y + down + 5
    for top in (y - half_h - LINE - 1, y + half_h + 1):
        middle = x - width / 2
        yield (middle, top, middle + width, top + LINE), "middle", x, top + LINE - 4


def _covered(box: Box, taken: Iterable[Box]) -> float:
    """Area of a box that others lie on. [drawing units²]"""
    return sum(
        max(0.0, min(box[2], other[2]) - max(box[0], other[0]))
        * max(0.0, min(box[3], other[3]) - max(box[1], other[1]))
        for other in taken
    )


def _bar(longest_m: float, units: str) -> tuple[float, str]:
    """The longest round distance up to a length: in metres and in words."""
    if units == US:
        foot, mile = float(M_PER_FOOT), float(M_PER_MILE)
        steps = [(n * foot, _("%s ft"), n) for n in (50, 100, 200, 500, 1000, 2000)]
        steps += [(n * mile, _("%s mi"), n) for n in (0.5, 1, 2, 5, 10, 20, 50, 100, 200, 500)]
    else:
        steps = [(n, _("%s m"), n) for n in (20, 50, 100, 200, 500)]
        steps += [(n * 1000, _("%s km"), n) for n in (1, 2, 5, 10, 20, 50, 100, 200, 500, 1000)]
    length_m, words, n = next((step for step in reversed(steps) if step[0] <= longest_m), steps[0])
    return length_m, words % number_text(n, 0 if n == int(n) else 1)
