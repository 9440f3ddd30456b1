from datetime import date

import django_tables2 as tables
from django.db.models import F, QuerySet
from django.utils.html import format_html
from django.utils.translation import gettext_lazy as _

from sites.choices import Phase, Stage
from sites.models import Site, phase_on
from stewardship.common.templatetags.ui import state

NUMBER = {"th": {"class": "num"}, "td": {"class": "num"}}


class SiteTable(tables.Table):
    """All sites; the CSV carries the facts that the page has no room for."""

    caption = _("Sites")
    exportable = True

    code = tables.LinkColumn("site", args=[tables.A("code")], verbose_name=_("Site"))
    address = tables.Column(verbose_name=_("Nearest address"))
    stage = tables.Column(verbose_name=_("Stage"))
    phase = tables.Column(empty_values=(), verbose_name=_("Planting"))
    agency = tables.Column(accessor="agency__name", verbose_name=_("Agency"), default="")
    basins = tables.Column(accessor="basin_count", verbose_name=_("Basins"), attrs=NUMBER)
    street = tables.Column(verbose_name=_("Street"), visible=False)
    lat = tables.Column(verbose_name=_("Latitude"), visible=False, default="", localize=False)
    lon = tables.Column(verbose_name=_("Longitude"), visible=False, default="", localize=False)
    source_class = tables.Column(verbose_name=_("What the street drains"), visible=False)
    built_on = tables.Column(verbose_name=_("Built on"), visible=False, default="")
    retired_on = tables.Column(verbose_name=_("Retired on"), visible=False, default="")

    class Meta:
        model = Site
        fields = ["code", "address", "stage", "phase", "agency", "basins"]
        empty_text = _("No site fits. Take a filter away, or take on a new site.")
        order_by = "code"

    def __init__(self, *args, today: date, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        self.today = today

    def render_stage(self, record: Site) -> str:
        return state(record.stage, record.get_stage_display())

    def value_stage(self, record: Site) -> str:
        return record.get_stage_display()

    def render_phase(self, record: Site) -> str:
        if record.stage in (Stage.PROPOSED, Stage.AGREED):
            return format_html('<span class="note">{}</span>', _("not planted yet"))
        return self.value_phase(record) or "–"

    def value_phase(self, record: Site) -> str:
        if record.stage != Stage.BUILT or record.youngest is None:
            return ""
        return str(Phase(phase_on(record.youngest, on=self.today)).label)

    def value_built_on(self, value) -> str:
        return value.isoformat()

    value_retired_on = value_built_on

    def order_phase(self, queryset: QuerySet[Site], is_descending: bool) -> tuple:
        """By age: ascending is the youngest planting first, sites without one at the end."""
        youngest = F("youngest")
        order = youngest.asc(nulls_last=True) if is_descending else youngest.desc(nulls_last=True)
        return queryset.order_by(order, "code"), True
