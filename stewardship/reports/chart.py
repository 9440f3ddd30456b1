"""The storms of a period as one drawing."""

from collections.abc import Sequence
from datetime import date, timedelta

from django.utils.formats import date_format
from django.utils.translation import gettext as _

from stewardship.common import units as u
from stewardship.common.charts import above_axis, kept, new_figure, svg_of
from stewardship.common.pen import RULE, SOIL, WATER
from stewardship.common.written import US, depth_text, number_text


def storms_chart(
    days: Sequence[date],
    depths_um: Sequence[int],
    *,
    starts_on: date,
    ends_on: date,
    threshold_um: int | None,
    units: str,
) -> str:
    """A stroke per storm, as tall as its greatest depth at a gauge, and the lowest care threshold as a dashed line.

    `days` and `depths_um` [µm] belong together, one each per storm, at least one.
    """
    content = [
        [day.isoformat() for day in days],
        list(depths_um),
        starts_on.isoformat(),
        ends_on.isoformat(),
        threshold_um,
        units,
    ]
    return kept(
        "storms",
        content,
        lambda: _draw(days, depths_um, starts_on, ends_on, threshold_um, units),
    )


def _shown(um: int, units: str) -> float:
    return float(u.um_to_in(um) if units == US else u.um_to_mm(um))


def _draw(
    days: Sequence[date],
    depths_um: Sequence[int],
    starts_on: date,
    ends_on: date,
    threshold_um: int | None,
    units: str,
) -> str:
    from matplotlib.dates import AutoDateLocator, date2num, num2date

    figure = new_figure(height=240)
    axes = figure.add_axes((0.1, 0.15, 0.86, 0.68))
    shown = [_shown(depth, units) for depth in depths_um]
    axes.vlines(date2num(list(days)), 0, shown, color=WATER, linewidth=3)
    axes.set_xlim(date2num(starts_on), date2num(ends_on + timedelta(days=1)))
    axes.set_ylim(0, max(shown) * 1.15)
    if threshold_um is not None:
        line = _shown(threshold_um, units)
        axes.axhline(line, color=SOIL, linewidth=1.5, linestyle=(0, (4, 3)))
        axes.annotate(  # above the frame: within it strokes would run through the words
            _("care falls due from %s") % depth_text(threshold_um, units),
            (1, 1),
            xycoords="axes fraction",
            xytext=(0, 12),
            textcoords="offset points",
            ha="right",
            va="bottom",
            color=SOIL,
        )
    axes.xaxis.set_major_locator(AutoDateLocator(minticks=4, maxticks=8))
    axes.xaxis.set_major_formatter(lambda value, _at: date_format(num2date(value), _("j M")))
    axes.yaxis.set_major_formatter(lambda value, _at: number_text(value, 1 if units == US else 0))
    axes.yaxis.get_major_locator().set_params(nbins=4)
    axes.yaxis.grid(visible=True, color=RULE, linewidth=0.8)
    axes.set_axisbelow(True)
    above_axis(
        axes, _("inches at the wettest gauge") if units == US else _("mm at the wettest gauge")
    )
    greatest = max(range(len(days)), key=lambda n: depths_um[n])
    return svg_of(
        figure,
        title=_("Storms of the period"),
        description=_("%(count)s storms; the greatest %(depth)s on %(day)s.")
        % {
            "count": len(days),
            "depth": depth_text(depths_um[greatest], units),
            "day": date_format(days[greatest], _("j M Y")),
        },
    )
