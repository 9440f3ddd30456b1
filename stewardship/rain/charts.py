"""The gauge page's chart: rain by day over a year."""

from collections.abc import Sequence
from datetime import date

from django.utils.formats import date_format
from django.utils.translation import gettext as _

from stewardship.common.charts import kept, new_figure, svg_of
from stewardship.common.drawing import RULE, WATER
from stewardship.common.units import um_to_in, um_to_mm
from stewardship.common.written import US, number_text
from stewardship.rain.figures import WetDay


def year_of_rain(
    wet: Sequence[WetDay], *, first: date, last: date, title: str, description: str, units: str
) -> str:
    """Bars of the rain on each wet day between two days, as SVG.

    Parameters
    ----------
    wet : wet days, their depth in µm.
    title, description : what a person who can't see the chart is told.
    units : "us" or "metric".
    """
    content = [[(day.day, day.depth_um) for day in wet], first, last, title, description, units]
    return kept("year of rain", content, lambda: _draw(wet, first, last, title, description, units))


def _draw(
    wet: Sequence[WetDay], first: date, last: date, title: str, description: str, units: str
) -> str:
    from matplotlib.dates import MonthLocator, date2num, num2date

    figure = new_figure(height=220)
    axes = figure.add_axes((0.08, 0.16, 0.9, 0.78))
    to_unit = um_to_in if units == US else um_to_mm
    places = 1 if units == US else 0
    shown = [float(to_unit(day.depth_um)) for day in wet]
    axes.bar(date2num([day.day for day in wet]), shown, width=1.6, color=WATER)
    axes.set_xlim(date2num(first) - 1, date2num(last) + 1)
    axes.set_ylim(0, max([*shown, 0.5 if units == US else 10]) * 1.08)
    axes.xaxis.set_major_locator(MonthLocator(bymonthday=1, interval=2))
    axes.xaxis.set_major_formatter(lambda value, _at: date_format(num2date(value).date(), _("j M")))
    axes.yaxis.set_major_formatter(lambda value, _at: number_text(value, places))
    axes.yaxis.get_major_locator().set_params(nbins=4)
    axes.yaxis.grid(visible=True, color=RULE, linewidth=0.8)
    axes.set_axisbelow(True)
    return svg_of(figure, title=title, description=description)
