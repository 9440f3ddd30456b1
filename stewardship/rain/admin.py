"""For repair only: what is worked out from readings can be looked at, not typed over."""

from typing import Any

from django.contrib import admin
from django.http import HttpRequest

from stewardship.rain.models import (
    Gauge,
    GaugeOutage,
    GaugeStorm,
    RainRule,
    Reading,
    ReadingBatch,
    ReadingCorrection,
    RejectedRow,
    SiteRain,
    Storm,
    StormRevision,
)
from stewardship.rain.services import note_outage


class LookOnly(admin.ModelAdmin):
    """Rows to look at; readings change through imports and corrections, storms through readings."""

    show_full_result_count = False

    def has_add_permission(self, request: HttpRequest) -> bool:
        return False

    def has_change_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        return False

    def has_delete_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        return False


@admin.register(RainRule)
class RainRuleAdmin(admin.ModelAdmin):
    list_display = ["starts_on", "dry_gap_s", "least_depth_um", "source"]


@admin.register(Gauge)
class GaugeAdmin(admin.ModelAdmin):
    list_display = ["code", "name", "kind", "started_on", "ended_on"]
    search_fields = ["code", "name"]
    autocomplete_fields = ["readers"]


@admin.register(GaugeOutage)
class GaugeOutageAdmin(admin.ModelAdmin):
    list_display = ["gauge", "start_at", "end_at", "why"]

    def has_delete_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        return False

    def save_model(self, request: HttpRequest, obj: GaugeOutage, form: Any, change: bool) -> None:
        kept = GaugeOutage.objects.get(pk=obj.pk) if change else None
        saved = note_outage(
            gauge=obj.gauge, start_s=obj.start_s, end_s=obj.end_s, why=obj.why, outage=kept
        )
        obj.pk = saved.pk


@admin.register(ReadingBatch)
class ReadingBatchAdmin(LookOnly):
    list_display = ["gauge", "source", "file_name", "at", "added", "corrected", "rejected"]
    list_select_related = ["gauge"]


@admin.register(Reading)
class ReadingAdmin(LookOnly):
    list_display = ["gauge", "start_at", "end_at", "kind", "depth_um", "typed"]
    list_select_related = ["gauge"]


@admin.register(Storm)
class StormAdmin(LookOnly):
    list_display = ["start_at", "end_at", "greatest_um", "revision", "withdrawn_at"]


@admin.register(SiteRain)
class SiteRainAdmin(LookOnly):
    list_display = ["site", "storm", "sureness", "depth_um", "weighed_at"]
    list_select_related = ["site", "storm"]


for model in (GaugeStorm, ReadingCorrection, RejectedRow, StormRevision):
    admin.site.register(model, LookOnly)
