"""The map of a storm in drawing units: cells, gauges, sites by depth, words where there is room for them, a scale."""

from bisect import bisect_right
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from stewardship.common.drawing import WIDTH
from stewardship.common.units import M_PER_FOOT, M_PER_MILE
from stewardship.common.written import US, depth_text, least_shown_um, number_text
from stewardship.front.storm_area import Area
from stewardship.front.storm_gauges import GaugeRecord
from stewardship.front.storm_labels import (
    LINE,
    Box,
    Label,
    around,
    box_of,
    covered,
    lies_in,
    place_label,
)
from stewardship.front.storm_sites import SiteNeed
from stewardship.rain.choices import Sureness

#: Where the steps of size and colour begin, alike on every map so that storms compare; ours, no source. [µm]
STEPS_UM = {
    US: tuple(round(inches * 25_400) for inches in (0.1, 0.25, 0.5, 1)),
    "metric": tuple(mm * 1000 for mm in (2, 5, 10, 25)),
}
#: Radius of a site with next to no rain, of one whose rain is not known, and of one in each step. [drawing units]
DRY_R, UNKNOWN_R, STEP_R = 4.5, 6.5, (5.5, 7.0, 8.75, 10.75, 13.0)
#: Half a gauge's width and height. [drawing units]
TUBE_W, TUBE_H = 8, 9
#: Width of a letter of the labels, about. [drawing units]
SITE_LETTER, GAUGE_LETTER = 6.6, 8.0
#: The same and the height of a line of gauges on a phone, where their words are larger and sites have none.
PHONE_LETTER, PHONE_LINE = 11.0, 22
#: How far a gauge is drawn beside its place where a site lies under it, at most. [drawing units]
ASIDE = 21
#: Sites that are named at most, the deepest first: a map of more could not be read.
MOST_NAMED = 100
#: Height of the strip under the map that holds the scale and the north arrow. [drawing units]
STRIP = 40
#: Longest scale bar, as a share of the map's width.
BAR = 0.3


@dataclass(frozen=True)
class Dot:
    """A site: where, how large, how dark (1-5); `kind` is "wet", "dry" (or next to it) or "unknown"."""

    x: str
    y: str
    r: str
    shade: int
    kind: str
    words: str


@dataclass(frozen=True)
class Tube:
    """Gauges at one place: `level` is how full the drawn one stands, `counts` whether any of them speaks for the map; `aside`
    is path data of a line to their place, where they are drawn beside it."""

    x: str
    y: str
    aside: str
    level: str
    counts: bool
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
    key: list[tuple[float, int, str]]  # radius, shade, depths in words
    unknown: bool
    dry: str  # how much a site got at most that is drawn as dry, in words
    left_out: bool
    unnamed: int
    off_map: list[str]


def storm_map(
    area: Area, rows: Sequence[SiteNeed], records: Sequence[GaugeRecord], *, title: str, units: str
) -> StormMap:
    """The drawing of an area. Deep sites are drawn first, so that none is hidden; a gauge is always named, a site where there
    is room."""
    per_m = WIDTH / (area.east - area.west)
    height = (area.north - area.south) * per_m

    def at(east_m: float, north_m: float) -> tuple[float, float]:
        return (east_m - area.west) * per_m, (area.north - north_m) * per_m

    placed = sorted(
        zip(area.sites, [at(*place) for place in area.sites_m.tolist()], strict=True),
        key=lambda one: (-(one[0].rain.depth_um or 0), one[0].rain.site.code),
    )
    dots = [around(x, y, _radius(row, units)) for row, (x, y) in placed]
    frame = (4.0, 2.0, WIDTH - 4.0, height - 4.0)
    tubes = _tubes(_standing(area, at), dots, frame, units)
    marks = dots + [_tube_box(float(tube.x), float(tube.y)) for tube in tubes]
    gauge_labels, gauge_boxes = _gauge_labels(tubes, marks, frame)
    taken = marks + gauge_boxes
    site_labels = [
        place_label(x, y, r, r, row.rain.site.code, SITE_LETTER, LINE, taken, frame, must=False)
        for row, (x, y) in placed[:MOST_NAMED]
        for r in [_radius(row, units)]
    ]
    named = [label for label in site_labels if label]
    bar_m, bar_words = _bar((area.east - area.west) * BAR, units)
    return StormMap(
        height=f"{height:.0f}",
        whole=f"{height + STRIP:.0f}",
        title=title,
        description=_described(rows, records, units),
        borders="".join(
            "M{:.1f} {:.1f}L{:.1f} {:.1f}".format(*at(*start), *at(*end))
            for start, end in area.borders_m
        ),
        dots=[_dot(row, x, y, units) for row, (x, y) in placed],
        tubes=tubes,
        gauge_labels=gauge_labels,
        site_labels=named,
        bar=f"{bar_m * per_m:.1f}",
        bar_words=bar_words,
        key=_key([row.rain.depth_um for row in area.sites], units),
        unknown=any(row.rain.depth_um is None for row in area.sites),
        dry=_dry_words([row.rain.depth_um for row in area.sites], units),
        left_out=not all(tube.counts for tube in tubes),
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
    shown = {one.gauge.pk for one in records}
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
        if not area.holds(*place) and record.gauge.pk in shown
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
def _step(um: int | None, units: str) -> int | None:
    """Which step of size and colour a depth lies in, from 0; None for what would be written as no rain."""
    if um is None or um < least_shown_um(units):
        return None
    return bisect_right(STEPS_UM[units], um)


def _radius(row: SiteNeed, units: str) -> float:
    if row.rain.depth_um is None:
        return UNKNOWN_R
    step = _step(row.rain.depth_um, units)
    return DRY_R if step is None else STEP_R[step]


def _dot(row: SiteNeed, x: float, y: float, units: str) -> Dot:
    um = row.rain.depth_um
    step = _step(um, units)
    return Dot(
        f"{x:.1f}",
        f"{y:.1f}",
        f"{_radius(row, units):.1f}",
        (step or 0) + 1,
        "unknown" if um is None else "dry" if step is None else "wet",
        f"{row.rain.site.code}: {depth_text(um, units) or _('not known')}"
        + ("" if um is None else f", {Sureness(row.rain.sureness).label}"),
    )


def _tubes(
    standing: list[tuple[list[GaugeRecord], tuple[float, float]]],
    dots: list[Box],
    frame: Box,
    units: str,
) -> list[Tube]:
    """The gauges, each at its place or, where that would hide a site or another gauge, close beside it."""
    taken, tubes = list(dots), list[Tube]()
    for gauges, (place_x, place_y) in standing:
        spots = [(place_x, place_y)] + [
            (place_x + ASIDE * far * right, place_y + ASIDE * far * down)
            for far in (0.75, 1)
            for right, down in (
                (1, 0),
                (-1, 0),
                (0, -1),
                (0, 1),
                (1, -1),
                (-1, -1),
                (1, 1),
                (-1, 1),
            )
        ]
        inside = [spot for spot in spots if lies_in(_tube_box(*spot), frame)] or spots[:1]
        _covers, n = min((covered(_tube_box(*spot), taken), n) for n, spot in enumerate(inside))
        x, y = inside[n]
        taken.append(_tube_box(x, y))
        moved = (x, y) != (place_x, place_y)
        deepest = max(one.depth_um or 0 for one in gauges)
        step = _step(deepest, units)
        full = 0 if step is None else (step + 1) / len(STEP_R)
        tubes.append(
            Tube(
                f"{x:.1f}",
                f"{y:.1f}",
                f"M{place_x:.1f} {place_y:.1f}L{x:.1f} {y:.1f}" if moved else "",
                f"{2 * TUBE_H * full:.1f}",
                any(one.share is not None for one in gauges),
                _gauge_words(gauges, units),
            )
        )
    return tubes


def _tube_box(x: float, y: float) -> Box:
    return x - TUBE_W, y - TUBE_H, x + TUBE_W, y + TUBE_H


def _gauge_words(gauges: Sequence[GaugeRecord], units: str) -> str:
    """ "porch 0.42 in"; of one that does not count why that is stands in the table."""
    said = []
    for one in gauges:
        if one.share is None:
            said.append(_("%s left out") % one.gauge.code)
        else:
            said.append(f"{one.gauge.code} {depth_text(one.depth_um, units)}")
    return ", ".join(said)


def _key(depths_um: list[int | None], units: str) -> list[tuple[float, int, str]]:
    """The steps that occur on the map, the least first: radius, shade, and which depths they stand for."""
    steps = STEPS_UM[units]
    found = sorted({step for um in depths_um if (step := _step(um, units)) is not None})
    words = []
    for step in found:
        low = depth_text(steps[step - 1] if step else least_shown_um(units), units)
        if step == len(steps):
            words.append(_("%s and more") % low)
        else:
            high = depth_text(steps[step], units)
            words.append(_("%(low)s to under %(high)s") % {"low": low, "high": high})
    return [(STEP_R[step], step + 1, said) for step, said in zip(found, words, strict=True)]


def _dry_words(depths_um: list[int | None], units: str) -> str:
    """What a hollow dot stands for: no rain at all, or less than is written."""
    dry = [um for um in depths_um if um is not None and _step(um, units) is None]
    if not dry:
        return ""
    if not any(dry):
        return _("a site that stayed dry")
    return _("a site that got less than %s") % depth_text(least_shown_um(units), units)


# -- words ----------------------------------------------------------------------------------------------------
def _gauge_labels(
    tubes: Sequence[Tube], marks: list[Box], frame: Box
) -> tuple[list[Label], list[Box]]:
    """The gauges' words where they cover nothing even on a phone, where they are larger; and what they take up elsewhere."""
    taken, labels, boxes = list(marks), list[Label](), list[Box]()
    for tube in tubes:
        x, y = float(tube.x), float(tube.y)
        label = place_label(
            x, y, TUBE_W, TUBE_H, tube.words, PHONE_LETTER, PHONE_LINE, taken, frame, must=True
        )
        if label:
            labels.append(label)
            boxes.append(box_of(label, GAUGE_LETTER))
    return labels, boxes


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
