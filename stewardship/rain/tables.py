from datetime import date

import django_tables2 as tables
from django.utils.html import format_html
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from stewardship.common.templatetags.ui import state
from stewardship.common.units import um_to_mm
from stewardship.common.written import depth_text, hours_text, moment_text
from stewardship.rain.models import Gauge, RejectedRow, Storm, instant
from stewardship.rain.times import HOUR_S

NUMBER = {"th": {"class": "num"}, "td": {"class": "num"}}


class StormTable(tables.Table):
    """Storms with what they were at the wettest gauge, and how many sites they reached."""

    caption = gettext_lazy("Storms")
    exportable = True

    start = tables.LinkColumn(
        "storm",
        args=[tables.A("pk")],
        accessor="start_at",
        order_by=("start_s", "pk"),
        verbose_name=gettext_lazy("Began"),
    )
    lasted = tables.Column(accessor="length_s", attrs=NUMBER, verbose_name=gettext_lazy("Lasted"))
    greatest = tables.Column(
        accessor="greatest_um",
        attrs=NUMBER,
        verbose_name=gettext_lazy("At the wettest gauge"),
    )
    gauges = tables.Column(
        accessor="gauge_count", attrs=NUMBER, verbose_name=gettext_lazy("Wet gauges")
    )
    sites = tables.Column(
        accessor="site_count", attrs=NUMBER, verbose_name=gettext_lazy("Sites rained on")
    )
    revision = tables.Column(attrs=NUMBER, verbose_name=gettext_lazy("Revision"))
    end = tables.Column(accessor="end_at", visible=False, verbose_name=gettext_lazy("Ended"))

    class Meta:
        model = Storm
        fields = ["start", "lasted", "greatest", "gauges", "sites", "revision"]
        empty_text = gettext_lazy("No storm fits. Widen the days, or show the small ones too.")
        order_by = "-start"

    def __init__(self, *args, units: str, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        self.units = units

    def render_start(self, record: Storm) -> str:
        return moment_text(record.start_at) or ""

    def value_start(self, record: Storm) -> str:
        return record.start_at.isoformat()

    def value_end(self, record: Storm) -> str:
        return record.end_at.isoformat()

    def render_lasted(self, record: Storm) -> str:
        length = hours_text((record.end_s - record.start_s) / HOUR_S)
        if not record.coarse:
            return length or ""
        return format_html(
            '{} <span class="note">{}</span>', length, _("at most: daily readings only")
        )

    def value_lasted(self, record: Storm) -> str:
        return f"{(record.end_s - record.start_s) / HOUR_S:g}"

    def render_greatest(self, record: Storm) -> str:
        return depth_text(record.greatest_um, self.units) or ""

    def value_greatest(self, record: Storm) -> str:
        return f"{um_to_mm(record.greatest_um)}"


class GaugeTable(tables.Table):
    caption = gettext_lazy("Gauges")
    exportable = True

    code = tables.LinkColumn(
        "rain:gauge", args=[tables.A("code")], verbose_name=gettext_lazy("Gauge")
    )
    name = tables.Column(verbose_name=gettext_lazy("Name"))
    kind = tables.Column(verbose_name=gettext_lazy("Kind"))
    last = tables.Column(
        accessor="last_end_s", default="", verbose_name=gettext_lazy("Known until")
    )
    works = tables.Column(empty_values=(), orderable=False, verbose_name=gettext_lazy("At work"))
    lat = tables.Column(visible=False, localize=False)
    lon = tables.Column(visible=False, localize=False)
    started_on = tables.Column(visible=False)
    ended_on = tables.Column(visible=False, default="")

    class Meta:
        model = Gauge
        fields = ["code", "name", "kind", "last", "works"]
        empty_text = gettext_lazy("No gauge fits.")
        order_by = "code"

    def __init__(self, *args, today: date, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        self.today = today

    def render_last(self, value: int) -> str:
        return moment_text(instant(value)) or ""

    def value_last(self, value: int) -> str:
        return instant(value).isoformat() if value else ""

    def render_works(self, record: Gauge) -> str:
        if not record.stands(on=self.today):
            return state("retired", _("stands no more"))
        if record.out_why:
            return state("act", _("out of order: %s") % record.out_why)
        return state("yes", _("yes"))

    def value_works(self, record: Gauge) -> str:
        if not record.stands(on=self.today):
            return _("stands no more")
        return _("out of order: %s") % record.out_why if record.out_why else _("yes")


class RejectedRowTable(tables.Table):
    """Rows of a file that were not taken in."""

    caption = gettext_lazy("Rows that were not taken in")
    exportable = True

    line = tables.Column(attrs=NUMBER, verbose_name=gettext_lazy("Line"))
    why = tables.Column(orderable=False, verbose_name=gettext_lazy("Why"))
    text = tables.Column(orderable=False, verbose_name=gettext_lazy("What it says"))

    class Meta:
        model = RejectedRow
        fields = ["line", "why", "text"]
        order_by = "line"
