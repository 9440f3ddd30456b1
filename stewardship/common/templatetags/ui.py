"""Template tags that every page may use (they are builtins): quantities, days, states, contents.

Quantities follow `program.units` from the context processor; a template rendered without a request (letters, PDFs) passes
`program` in its context.
"""

from collections.abc import Sequence
from datetime import date, datetime
from typing import Any

from django import template
from django.urls import NoReverseMatch, reverse
from django.utils.html import format_html
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _

from stewardship.common import written
from stewardship.common.drawing import basin_section_svg
from stewardship.common.plan_drawing import PlanBasin, plan_svg
from stewardship.common.states import MARKS, tone_of

register = template.Library()


def _units(context: template.Context) -> str:
    return getattr(context.get("program"), "units", written.US)


def _known(value: Any) -> Any:
    """None for a template variable that is not there: `{% depth rain.depth_um %}` with no `rain` passes ""."""
    return None if value == "" else value


def _or_unknown(text: str | None) -> str | SafeString:
    """`text`, or a dash that says "not known" to those who cannot see it."""
    if text is not None:
        return text
    return format_html(
        '<span class="unknown"><span aria-hidden="true">—</span><span class="visually-hidden">{}</span></span>',
        _("not known"),
    )


@register.simple_tag(takes_context=True)
def depth(context: template.Context, um: int | None) -> str:
    """Rain depth stored in micrometres."""
    return _or_unknown(written.depth_text(_known(um), _units(context)))


@register.simple_tag(takes_context=True)
def depth_mm(context: template.Context, mm: float | None) -> str:
    """Rain or water depth in millimetres."""
    return _or_unknown(written.depth_mm_text(_known(mm), _units(context)))


@register.simple_tag(takes_context=True)
def volume_m3(context: template.Context, m3: float | None, bulk: bool = False) -> str:
    """Volume in cubic metres; bulk=True for silt and mulch."""
    return _or_unknown(written.volume_text(_known(m3), _units(context), bulk=bulk))


@register.simple_tag(takes_context=True)
def length_m(context: template.Context, m: float | None) -> str:
    """Length in metres."""
    return _or_unknown(written.length_text(_known(m), _units(context)))


@register.simple_tag(takes_context=True)
def far_m(context: template.Context, m: float | None) -> str:
    """How far apart places are, in metres."""
    return _or_unknown(written.far_text(_known(m), _units(context)))


@register.simple_tag(takes_context=True)
def area_m2(context: template.Context, m2: float | None) -> str:
    """Area in square metres."""
    return _or_unknown(written.area_text(_known(m2), _units(context)))


@register.simple_tag
def hours(value: float | None) -> str:
    """A span in hours."""
    return _or_unknown(written.hours_text(_known(value)))


@register.simple_tag
def day(value: date | None) -> str:
    """A date."""
    if not value:
        return _or_unknown(None)
    return format_html('<time datetime="{}">{}</time>', value.isoformat(), written.day_text(value))


@register.simple_tag
def moment(value: datetime | None) -> str:
    """An instant, in the zone that is active."""
    if not value:
        return _or_unknown(None)
    return format_html(
        '<time datetime="{}">{}</time>', value.isoformat(), written.moment_text(value)
    )


@register.simple_tag
def state(value: Any, label: Any = None) -> SafeString:
    """A state as a small ink mark and its word. `value` picks the mark; `label` (default: the value's own) is the word."""
    tone = tone_of(value)
    return format_html(
        '<span class="state state-{}">{}{}</span>',
        tone,
        SafeString(MARKS[tone]),
        label if label is not None else getattr(value, "label", value),
    )


@register.simple_tag(takes_context=True)
def basin_section(context: template.Context, **measures: Any) -> SafeString:
    """The basin drawn in section; the measures are those of `drawing.basin_section_svg`, in metres."""
    return SafeString(basin_section_svg(units=_units(context), **measures))


@register.simple_tag(takes_context=True)
def street_plan(context: template.Context, basins: Sequence[PlanBasin], beside: str) -> SafeString:
    """A frontage drawn from above, as `plan_drawing.plan_svg` does."""
    return SafeString(plan_svg(basins, beside=beside, units=_units(context)))


@register.simple_tag(takes_context=True)
def contents_entry(context: template.Context, name: str, words: str) -> str:
    """One line of the contents, or nothing when the page does not exist. The page one is on is marked."""
    try:
        url = reverse(name)
    except NoReverseMatch:
        return ""
    request = context.get("request")
    path = request.path if request is not None else ""
    here = SafeString(' aria-current="page"') if path == url else ""
    if not here and url != "/" and path.startswith(url):
        here = SafeString(' aria-current="true"')
    return format_html('<li><a href="{}"{}>{}</a></li>', url, here, words)
