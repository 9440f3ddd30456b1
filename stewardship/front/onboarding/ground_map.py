"""The sites and gauges that are known, drawn to scale with north up, so that a place can be pointed at.

Nothing is fetched from outside: no streets, only what the program itself has written down. A script turns a tap into coordinates
with the bounds that stand on the drawing; the numbers beside it say the same and stay editable.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from html import escape
from math import cos, floor, log10, radians

from django.utils.translation import gettext as _

from people.models import Program
from sites.choices import Stage
from sites.models import Site
from stewardship.common.pen import INK, LEAF, SOFT, SOIL, WATER, WIDTH, paint, path, words
from stewardship.common.units import M_PER_FOOT, M_PER_MILE
from stewardship.common.written import US, length_text
from stewardship.rain.models import Gauge

HEIGHT = 400
EDGE = 44  # around what is drawn
M_PER_DEGREE = 111_195.0  # [m] of latitude on a sphere of 6 371 km
#: [m] Around one point alone so much is shown, so that there is somewhere to point at: about a mile.
LEAST_ACROSS_M = 1_600.0
#: More codes than this are no help.
MOST_NAMED = 40
LETTER_PX = 12  # about what a letter takes, on a phone's larger text too


@dataclass(frozen=True)
class Point:
    """Something that stands somewhere."""

    name: str
    lat: float
    lon: float
    kind: str  # "site", "proposed" or "gauge"


@dataclass(frozen=True)
class Ground:
    """The drawing and the ground that it shows. Degrees; `lat` falls and `lon` rises evenly over it."""

    svg: str
    north: float
    south: float
    west: float
    east: float


def known_points(*, but: Site | None = None) -> list[Point]:
    """Sites with coordinates that are not retired, and where gauges stand today."""
    today = Program.get().today()
    sites = Site.objects.filter(lat__isnull=False).exclude(stage=Stage.RETIRED)
    if but is not None:
        sites = sites.exclude(pk=but.pk)
    points = [
        Point(
            site.code,
            site.lat,
            site.lon,
            "site" if site.stage == Stage.BUILT else "proposed",
        )
        for site in sites.order_by("code")
    ]
    for gauge in Gauge.objects.active(on=today).prefetch_related("places"):
        place = gauge.place(on=today)
        points.append(Point(gauge.code, place.lat, place.lon, "gauge"))
    return points


def ground_map(
    points: Sequence[Point], *, here: tuple[float, float] | None = None
) -> Ground | None:
    """The points on a sheet of `WIDTH` by `HEIGHT`; None where nothing is known that could be drawn. `here`: (lat, lon).

    The sheet is as large as the sites need; gauges far from all of them stay outside.
    """
    sites = [point for point in points if point.kind != "gauge"]
    places = [(point.lat, point.lon) for point in sites or points] + ([here] if here else [])
    if not places:
        return None
    middle_lat = (max(lat for lat, _lon in places) + min(lat for lat, _lon in places)) / 2
    middle_lon = (max(lon for _lat, lon in places) + min(lon for _lat, lon in places)) / 2
    m_per_lon = M_PER_DEGREE * max(cos(radians(middle_lat)), 0.01)
    across_m = max([abs(lon - middle_lon) * m_per_lon * 2 for _lat, lon in places])
    up_m = max([abs(lat - middle_lat) * M_PER_DEGREE * 2 for lat, _lon in places])
    m_per_px = max(
        across_m / (WIDTH - 2 * EDGE), up_m / (HEIGHT - 2 * EDGE), LEAST_ACROSS_M / WIDTH
    )
    half_lat, half_lon = HEIGHT / 2 * m_per_px / M_PER_DEGREE, WIDTH / 2 * m_per_px / m_per_lon
    north, west = middle_lat + half_lat, middle_lon - half_lon

    def at(lat: float, lon: float) -> tuple[float, float]:
        return (lon - west) / (2 * half_lon) * WIDTH, (north - lat) / (2 * half_lat) * HEIGHT

    shown = [
        point
        for point in points
        if north >= point.lat >= north - 2 * half_lat and west <= point.lon <= west + 2 * half_lon
    ]
    parts = [_point(point, *at(point.lat, point.lon)) for point in shown]
    parts += _names(shown, [at(point.lat, point.lon) for point in shown])
    parts += [_scale(m_per_px), _north()]
    x, y = at(*here) if here else (-100.0, -100.0)
    parts.append(
        f'<g class="ground-here" transform="translate({x:.1f} {y:.1f})">'
        f"{path('M-14 0H14M0 -14V14', stroke=LEAF, width=6)}{path('M-14 0H14M0 -14V14', stroke=SOIL, width=2.5)}"
        f'<circle r="7" {paint(None, SOIL, 2.5)}/></g>'
    )
    svg = (
        f'<svg viewBox="0 0 {WIDTH} {HEIGHT}" role="img" aria-label="{escape(_label(shown))}">'
        f"{''.join(parts)}</svg>"
    )
    return Ground(svg, north, north - 2 * half_lat, west, west + 2 * half_lon)


def _label(points: Sequence[Point]) -> str:
    return _(
        "Map without streets, north up: %(sites)d sites and %(gauges)d gauges of this book."
    ) % {
        "sites": sum(point.kind != "gauge" for point in points),
        "gauges": sum(point.kind == "gauge" for point in points),
    }


def _point(point: Point, x: float, y: float) -> str:
    """A built site filled, a proposed one open, a gauge as a small funnel: told apart by shape, not colour."""
    if point.kind == "gauge":
        drawn = path(f"M{x - 8:.1f} {y - 7:.1f}h16l-6 8v8h-4v-8z", fill=LEAF, stroke=WATER, width=2)
    else:
        fill = INK if point.kind == "site" else LEAF
        drawn = f'<circle cx="{x:.1f}" cy="{y:.1f}" r="5" {paint(fill, INK, 2)}/>'
    return f"<g><title>{escape(point.name)}</title>{drawn}</g>"


def _names(points: Sequence[Point], places: Sequence[tuple[float, float]]) -> Iterable[str]:
    """Codes under or over the points, where they cover neither another point nor another word; gauges first."""
    taken = [_Box(x, y, 9, 9) for x, y in places] + [_Box(90, HEIGHT - 18, 90, 16)]
    named = 0
    order = sorted(zip(points, places, strict=True), key=lambda one: one[0].kind != "gauge")
    for point, (x, y) in order:
        half = LETTER_PX * len(point.name) / 2
        for top in (y + 7, y - 30):
            box = _Box(x, top + 13, half, 11)
            if any(box.meets(other) for other in taken) or not 0 < top < HEIGHT - 24:
                continue
            taken.append(box)
            named += 1
            yield words(x, top, [point.name], colour=WATER if point.kind == "gauge" else INK)
            break
        if named >= MOST_NAMED:
            return


@dataclass(frozen=True, slots=True)
class _Box:
    """Something on the sheet: its middle, and half its size."""

    x: float
    y: float
    across: float
    up: float

    def meets(self, other: "_Box") -> bool:
        return abs(self.x - other.x) < self.across + other.across and (
            abs(self.y - other.y) < self.up + other.up
        )


def _scale(m_per_px: float) -> str:
    """A bar of a round length in the program's units."""
    units = Program.get().units
    unit_m = 1.0
    if units == US:
        unit_m = float(M_PER_FOOT) if 150 * m_per_px < float(M_PER_MILE) / 2 else float(M_PER_MILE)
    most = 150 * m_per_px / unit_m
    ten = 10 ** floor(log10(most))
    length_m = max(n for n in (1, 2, 5) if n * ten <= most) * ten * unit_m
    x, y, width = 16, HEIGHT - 18, length_m / m_per_px
    bar = path(f"M{x} {y - 6}v6h{width:.1f}v-6", stroke=SOFT)
    return bar + words(
        x + width + 8, y - 14, [length_text(length_m, units) or ""], anchor="start", colour=SOFT
    )


def _north() -> str:
    x, y = WIDTH - 24, 40
    return path(f"M{x} {y}v-24m-5 8l5 -8l5 8", stroke=SOFT) + words(x, y, [_("N")], colour=SOFT)
