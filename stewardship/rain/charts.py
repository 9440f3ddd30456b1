"""The gauge page's charts: rain by day over a year, and the gauge's sum against its neighbours'."""

from collections.abc import Sequence
from datetime import date, timedelta

from django.utils.formats import date_format
from django.utils.translation import gettext as _

from stewardship.common.charts import above_axis, kept, new_figure, svg_of
from stewardship.common.pen import INK, LEAF, RULE, SOFT, SOIL, WATER
from stewardship.common.units import um_to_in, um_to_mm
from stewardship.common.written import US, day_text, depth_text, number_text
from stewardship.rain.comparison import Comparison
from stewardship.rain.figures import GaugeYear, WetDay

#: Points of a double-mass line that are drawn; more would not be seen.
DRAWN = 400


def year_of_rain(year: GaugeYear, *, title: str, description: str, units: str) -> str:
    """Bars of the rain on each wet day, the sum so far as a line, and days of which nothing is known hatched, as SVG.

    Parameters
    ----------
    title, description : what a person who can't see the chart is told.
    units : "us" or "metric".
    """
    wet = [(day.day, day.depth_um, day.days) for day in year.wet]
    content = [wet, year.gaps, year.first, year.last, title, description, units]
    return kept("year of rain", content, lambda: _draw_year(year, title, description, units))


def _draw_year(year: GaugeYear, title: str, description: str, units: str) -> str:
    from matplotlib.dates import MonthLocator, date2num, num2date
    from matplotlib.patheffects import withStroke

    figure = new_figure(height=270)
    axes = figure.add_axes((0.08, 0.14, 0.84, 0.7))
    shown = [_in_units(day.depth_um, units) for day in year.wet]
    first, last = date2num(year.first) - 1, date2num(year.last) + 1
    for start, end in year.gaps:
        # A single day must be seen, too.
        axes.axvspan(
            date2num(start) - 0.5,
            date2num(end) + 0.5,
            facecolor=RULE,
            hatch="////",
            edgecolor=SOFT,
            linewidth=0,
            zorder=0,
        )
    _bars(axes, year.wet, shown)
    axes.set_xlim(first, last)
    axes.set_ylim(0, max([*shown, 0.5 if units == US else 10]) * 1.08)
    axes.xaxis.set_major_locator(MonthLocator(bymonthday=1, interval=2))
    axes.xaxis.set_major_formatter(lambda value, _at: date_format(num2date(value).date(), _("j M")))
    places = 1 if units == US else 0
    axes.yaxis.set_major_formatter(lambda value, _at: number_text(value, places))
    axes.yaxis.get_major_locator().set_params(nbins=4)
    axes.yaxis.grid(visible=True, color=RULE, linewidth=0.8)
    axes.set_axisbelow(True)
    above_axis(axes, _("in per day") if units == US else _("mm per day"), left=-44)
    if year.wet:
        heaped = axes.twinx()
        days, sums = [first], [0.0]
        for day, depth in zip(year.wet, shown, strict=True):
            days += [date2num(day.day), date2num(day.day)]
            sums += [sums[-1], sums[-1] + depth]
        halo = [withStroke(linewidth=4, foreground=LEAF)]
        heaped.plot([*days, last], [*sums, sums[-1]], color=INK, linewidth=1.5, path_effects=halo)
        heaped.set_ylim(0, sums[-1] * 1.12)
        heaped.set_axis_off()
        heaped.annotate(
            _("in all %s") % depth_text(year.depth_um, units),
            (last, sums[-1]),
            xytext=(-4, 6),
            textcoords="offset points",
            ha="right",
            va="bottom",
            color=INK,
        )
    return svg_of(figure, title=title, description=description)


def _bars(axes, wet: Sequence[WetDay], shown: Sequence[float]) -> None:
    """Rain of a day, filled; totals of several days as outlines over the days that they cover, as high as the whole total."""
    from matplotlib.dates import date2num

    single = [
        (date2num(one.day), depth) for one, depth in zip(wet, shown, strict=True) if one.days == 1
    ]
    if single:
        days, depths = zip(*single, strict=True)
        axes.bar(days, depths, width=1.6, color=WATER)
    for one, depth in zip(wet, shown, strict=True):
        if one.days > 1:
            start = date2num(one.day - timedelta(days=one.days - 1)) - 0.5
            axes.bar(
                start, depth, width=one.days, align="edge", facecolor="none", edgecolor=WATER, linewidth=1.2
            )  # fmt: skip


def beside_neighbours(comparison: Comparison, *, title: str, description: str, units: str) -> str:
    """The double-mass curve: the gauge's sum over its neighbours', the line of the whole, and the break if there is one."""
    mass = comparison.mass
    step = max(1, len(comparison.days) // DRAWN)
    points = [
        (_in_units(near, units), _in_units(own, units))
        for near, own in zip(
            mass.near_um[::step].tolist(), mass.gauge_um[::step].tolist(), strict=True
        )
    ]
    points.append((_in_units(mass.near_um[-1], units), _in_units(mass.gauge_um[-1], units)))
    broke = None
    if comparison.broke_on is not None and mass.change is not None:
        at = mass.day.tolist().index(mass.change.day)
        broke = (
            _in_units(mass.near_um[at], units),
            _in_units(mass.gauge_um[at], units),
            comparison.broke_on,
        )
    content = [points, broke, title, description, units]
    return kept(
        "double mass", content, lambda: _draw_mass(points, broke, title, description, units)
    )


def _draw_mass(
    points: list[tuple[float, float]],
    broke: tuple[float, float, date] | None,
    title: str,
    description: str,
    units: str,
) -> str:
    figure = new_figure(height=330)
    axes = figure.add_axes((0.1, 0.24, 0.84, 0.63))
    near, own = zip(*points, strict=True)
    axes.plot([0, near[-1]], [0, own[-1]], color=SOFT, linewidth=1, linestyle=(0, (4, 4)))
    axes.plot([0, *near], [0, *own], color=WATER, linewidth=2.2, solid_capstyle="round")
    if broke is not None:
        axes.plot([broke[0], broke[0]], [0, broke[1]], color=SOIL, linewidth=1.2)
        axes.plot([broke[0]], [broke[1]], marker="o", color=SOIL, markersize=7)
        right = broke[0] < near[-1] / 2
        axes.annotate(
            day_text(broke[2]),
            (broke[0], 0),
            xytext=(5 if right else -5, 5),
            textcoords="offset points",
            ha="left" if right else "right",
            color=SOIL,
        )
    axes.set_xlim(0, max(near[-1], 1e-9) * 1.03)
    axes.set_ylim(0, max(own[-1], 1e-9) * 1.1)
    for axis in (axes.xaxis, axes.yaxis):
        axis.set_major_formatter(lambda value, _at: number_text(value, 0))
        axis.get_major_locator().set_params(nbins=5, integer=True)
    axes.yaxis.grid(visible=True, color=RULE, linewidth=0.8)
    axes.set_axisbelow(True)
    axes.set_xlabel(
        _("neighbours' sum, in") if units == US else _("neighbours' sum, mm"), labelpad=14
    )
    above_axis(axes, _("its own sum, in") if units == US else _("its own sum, mm"))
    return svg_of(figure, title=title, description=description)


def _in_units(um: float, units: str) -> float:
    return float(um_to_in(um) if units == US else um_to_mm(um))
