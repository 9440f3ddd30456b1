"""Charts as SVG with real text, drawn by matplotlib and kept in Django's cache under their content.

The same string stands on pages and in PDFs: colours are attributes (paper colours) and classes (`f-water`, `s-ink`, …) through
which pages follow light and dark; text is text in our own letterforms. Every chart has a text alternative and, on its page, the
same figures as a table.
"""

import hashlib
import json
import re
from collections.abc import Callable, Iterable, Sequence
from dataclasses import astuple, dataclass
from datetime import datetime, timedelta
from io import BytesIO
from typing import TYPE_CHECKING
from xml.etree import ElementTree as ET
from zoneinfo import ZoneInfo

from django.core.cache import cache
from django.utils.formats import date_format, time_format
from django.utils.translation import get_language
from django.utils.translation import gettext as _

from stewardship.common import units as u
from stewardship.common.fonts import face_path
from stewardship.common.pen import INK, LEAF, NAMES, RULE, SOFT, TEXT, WATER, WIDTH
from stewardship.common.written import US, depth_mm_text, hours_text, number_text

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

SVG = "http://www.w3.org/2000/svg"
XLINK = "http://www.w3.org/1999/xlink"
EDITION = 6  # raise when the drawing changes, so that cached charts are drawn anew
HOUR = timedelta(hours=1)
KEEP_SECONDS = 30 * 24 * 3600
POINTS_PER_INCH = (
    72  # matplotlib's SVG counts in points, so a figure this wide has our drawing units
)


def kept(name: str, content: object, draw: Callable[[], str]) -> str:
    """The chart `name` of `content` (anything JSON can hold), drawn once per content and language."""
    key = hashlib.sha256(
        json.dumps([EDITION, name, get_language(), content], default=str).encode()
    ).hexdigest()
    svg = cache.get(f"chart:{key}")
    if svg is None:
        svg = draw()
        cache.set(f"chart:{key}", svg, KEEP_SECONDS)
    return svg


@dataclass(frozen=True)
class Bars:
    """Rain in intervals one after another: their ends in order, one more than depths; aware instants. Depth None where no
    reading exists. [mm]

    Raises
    ------
    ValueError : edges and depths do not fit together, or there is nothing to draw.
    """

    edges: Sequence[datetime]
    depths_mm: Sequence[float | None]

    def __post_init__(self) -> None:
        if len(self.edges) != len(self.depths_mm) + 1 or not self.depths_mm:
            raise ValueError(
                "A hyetograph needs one more edge than depths, and at least one depth."
            )

    @property
    def mm_per_h(self) -> list[float]:
        """How fast it rained in each interval, none where no reading exists: bars of different length compare."""
        return [
            (depth or 0) / ((end - start) / HOUR)
            for start, end, depth in zip(self.edges, self.edges[1:], self.depths_mm, strict=False)
        ]

    @property
    def total_mm(self) -> float:
        return sum(depth or 0 for depth in self.depths_mm)


@dataclass(frozen=True)
class Scale:
    """What the axes of hyetographs that are to be compared have in common."""

    start: datetime
    end: datetime
    most_mm_per_h: float
    most_mm: float

    @classmethod
    def holding(cls, records: Iterable[Bars]) -> "Scale":
        """The least one that all of some records fit into; at least one record."""
        each = list(records)
        return cls(
            min(bars.edges[0] for bars in each),
            max(bars.edges[-1] for bars in each),
            max(max(bars.mm_per_h) for bars in each),
            max(bars.total_mm for bars in each),
        )


def hyetograph(
    bars: Bars,
    *,
    scale: Scale,
    title: str,
    description: str,
    units: str,
    zone: str,
) -> str:
    """How fast it rained as bars (scale on the left), and what had fallen so far as a line that ends in the total (on the right).

    Parameters
    ----------
    bars : the readings; where none exists a gap is drawn that says so.
    scale : the time, the rate and the total that the axes reach to.
    title, description : what a person who can't see the chart is told.
    units : "us" or "metric". zone : IANA name of the zone that the hours are shown in.
    """
    content = [
        [edge.isoformat() for edge in bars.edges],
        list(bars.depths_mm),
        astuple(scale),
        title,
        description,
        units,
        zone,
    ]
    return kept(
        "hyetograph",
        content,
        lambda: _draw_hyetograph(bars, scale, title, description, units, ZoneInfo(zone)),
    )


def above_axis(axes: "Axes", words: str, *, left: int = -52) -> None:
    """What the upright axis counts, written above it. left: from the axis. [pt]"""
    axes.annotate(
        words,
        (0, 1),
        xycoords="axes fraction",
        xytext=(left, 12),
        textcoords="offset points",
        va="bottom",
        color=SOFT,
    )


def _draw_hyetograph(
    bars: Bars,
    scale: Scale,
    title: str,
    description: str,
    units: str,
    zone: ZoneInfo,
) -> str:
    from matplotlib.dates import AutoDateLocator, date2num
    from matplotlib.patheffects import withStroke
    from matplotlib.ticker import MaxNLocator

    figure = new_figure(height=270)
    axes = figure.add_axes((0.1, 0.17, 0.8, 0.67))
    times = date2num([edge.astimezone(zone) for edge in bars.edges])
    first, last = date2num([scale.start.astimezone(zone), scale.end.astimezone(zone)])
    spans = times[1:] - times[:-1]
    rates = [_shown_depth(rate, units) for rate in bars.mm_per_h]
    # Hundreds of bars stand without a gap between them, which would swallow them.
    gap = 0.8 if len(rates) * (last - first) / (times[-1] - times[0]) < 120 else 0
    axes.bar(
        times[:-1], rates, width=spans, align="edge", color=WATER, edgecolor=LEAF, linewidth=gap
    )
    axes.set_xlim(first, last)
    axes.set_ylim(0, max(_shown_depth(scale.most_mm_per_h, units) * 1.12, _shown_depth(0.5, units)))

    def axis_words(value: float, _at: float) -> str:
        return number_text(value, 2 if units == US else 1)

    so_far = [0.0]
    for depth in bars.depths_mm:
        so_far.append(so_far[-1] + _shown_depth(depth or 0, units))
    heaped = axes.twinx()
    halo = [
        withStroke(linewidth=5, foreground=LEAF)
    ]  # keeps the line apart from the bars it crosses
    heaped.plot(times, so_far, color=INK, linewidth=2, solid_capstyle="round", path_effects=halo)
    heaped.set_ylim(0, max(_shown_depth(scale.most_mm, units) * 1.12, _shown_depth(0.5, units)))
    heaped.yaxis.set_major_formatter(axis_words)
    heaped.yaxis.set_major_locator(MaxNLocator(nbins=4, steps=[1, 2, 5, 10]))
    heaped.annotate(
        _("inches so far") if units == US else _("mm so far"),
        (1, 1),
        xycoords="axes fraction",
        xytext=(52, 12),
        textcoords="offset points",
        ha="right",
        va="bottom",
        color=SOFT,
    )
    early = times[-1] - first < (last - first) / 4  # no room for words on its left
    heaped.annotate(
        _("total %s") % depth_mm_text(bars.total_mm, units),
        (times[-1], so_far[-1]),
        xytext=(4 if early else -4, 6),
        textcoords="offset points",
        ha="left" if early else "right",
        va="bottom",
        color=INK,
    )
    for start, span, depth in zip(times[:-1], spans, bars.depths_mm, strict=True):
        if depth is None:
            axes.axvspan(start, start + span, facecolor=RULE, linewidth=0)
    if None in bars.depths_mm:
        hole = list(bars.depths_mm).index(None)
        axes.annotate(
            _("no reading"),
            (times[hole], 0),
            xytext=(3, 4),
            textcoords="offset points",
            color=SOFT,
        )

    locator = AutoDateLocator(tz=zone, minticks=3, maxticks=6)
    axes.xaxis.set_major_locator(locator)
    axes.xaxis.set_major_formatter(_hour_labels(last - first > 3, zone))
    axes.yaxis.set_major_formatter(axis_words)
    axes.yaxis.set_major_locator(MaxNLocator(nbins=4, steps=[1, 2, 5, 10]))
    axes.yaxis.grid(visible=True, color=RULE, linewidth=0.8)
    axes.set_axisbelow(True)
    above_axis(axes, _bar_words(bars, units))
    return svg_of(figure, title=title, description=description)


def _shown_depth(mm: float, units: str) -> float:
    return float(u.mm_to_in(mm)) if units == US else mm


def _bar_words(bars: Bars, units: str) -> str:
    """What the bars count, and how long each that shows is unless they differ: "in per hour, each bar 15 min"."""
    spans = zip(bars.edges, bars.edges[1:], bars.depths_mm, strict=False)
    steps = {end - start for start, end, depth in spans if depth}
    rate = _("in per hour") if units == US else _("mm per hour")
    if len(steps) != 1:
        return rate
    return _("%(rate)s, each bar %(span)s") % {"rate": rate, "span": hours_text(steps.pop() / HOUR)}


def _hour_labels(days_only: bool, zone: ZoneInfo) -> Callable[[float, float], str]:
    from matplotlib.dates import num2date

    def label(value: float, _at: float) -> str:
        local = num2date(value, tz=zone)
        if days_only or (local.hour, local.minute) == (0, 0):
            return date_format(local, _("j M"))
        return time_format(local.time(), "TIME_FORMAT")

    return label


def new_figure(*, height: float) -> "Figure":
    """An empty figure of the drawings' width in our letterforms. [drawing units]"""
    import matplotlib
    from matplotlib import font_manager
    from matplotlib.figure import Figure

    # Set once and alike for all charts, so that threads may draw at the same time; ids are made unique in `svg_of`.
    matplotlib.rcParams.update(
        {
            "svg.fonttype": "none",
            "svg.hashsalt": "rillbook",
            "font.size": TEXT,
            "font.family": ["Source Sans Pro", "DejaVu Sans"],
            "axes.edgecolor": INK,
            "axes.labelcolor": INK,
            "text.color": INK,
            "xtick.color": INK,
            "ytick.color": INK,
            "axes.spines.top": False,
            "axes.spines.right": False,
            "axes.spines.left": False,
            "ytick.major.size": 0,
            "xtick.major.pad": 7,
        }
    )
    if "Source Sans Pro" not in {font.name for font in font_manager.fontManager.ttflist}:
        path = face_path("font_source_sans_pro", "SourceSansPro-Regular.ttf")
        if path is not None:
            font_manager.fontManager.addfont(path)
    return Figure(figsize=(WIDTH / POINTS_PER_INCH, height / POINTS_PER_INCH))


def svg_of(figure: "Figure", *, title: str, description: str) -> str:
    """The figure as an inline SVG element: classes for our colours, our letterforms, a text alternative, ids of its own."""
    buffer = BytesIO()
    figure.savefig(buffer, format="svg", transparent=True, metadata={"Date": None, "Creator": None})
    raw = buffer.getvalue()
    prefix = "c" + hashlib.sha256(raw + title.encode()).hexdigest()[:10]
    root = ET.fromstring(raw)  # noqa: S314 - our own output
    for parent in root.iter():
        for child in list(parent):
            if child.tag in {f"{{{SVG}}}metadata", f"{{{SVG}}}style"}:
                parent.remove(child)
    for element in root.iter():
        _restyle(element)
        _own_ids(element, prefix)
    for name in ("width", "height"):
        root.attrib.pop(name, None)
    root.set("class", "chart")
    root.set("role", "img")
    alternative = ET.Element(f"{{{SVG}}}title")  # WeasyPrint makes the PDF's alternative of it, too
    alternative.text = f"{title}. {description}"
    root.insert(0, alternative)
    ET.register_namespace("", SVG)
    ET.register_namespace("xlink", XLINK)
    return ET.tostring(root, encoding="unicode")


def _restyle(element: ET.Element) -> None:
    """Turn matplotlib's style attribute into presentation attributes, which stylesheets may override."""
    style = element.attrib.pop("style", "")
    for declaration in filter(None, (part.strip() for part in style.split(";"))):
        name, _colon, value = (part.strip() for part in declaration.partition(":"))
        if name != "font":  # a shorthand is no attribute; text gets our own face below
            element.set(name, value)
    classes = [
        f"{kind}-{NAMES[colour]}"
        for kind, name in (("f", "fill"), ("s", "stroke"))
        if (colour := element.get(name, "").lower()) in NAMES
    ]
    if element.tag == f"{{{SVG}}}text":
        if "fill" not in element.attrib:
            element.set("fill", INK)
            classes.append("f-ink")
        element.set("font-family", "Rill Sans, sans-serif")
        element.set("font-size", str(TEXT))
        classes.append("sketch-text")
    if classes:
        element.set("class", " ".join(classes))


def _own_ids(element: ET.Element, prefix: str) -> None:
    """Ids must be unique in the page that the chart stands in."""
    for name, value in element.attrib.items():
        if name == "id":
            element.set(name, f"{prefix}-{value}")
        elif name in ("href", f"{{{XLINK}}}href") and value.startswith("#"):
            element.set(name, f"#{prefix}-{value[1:]}")
        elif "url(#" in value:
            element.set(name, re.sub(r"url\(#", f"url(#{prefix}-", value))
