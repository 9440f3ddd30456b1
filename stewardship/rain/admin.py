"""To look at only: gauges, rules and outages change on their pages, readings through imports, storms through readings."""

from typing import Any

from django.contrib import admin
from django.http import HttpRequest

from stewardship.rain.models import (
    Gauge,
    GaugeEvent,
    GaugeOutage,
    GaugePlace,
    GaugeStorm,
    RainRule,
    Reading,
    ReadingBatch,
    ReadingCorrection,
    RejectedRow,
    SiteRain,
    Storm,
    StormRevision,
    StormSearch,
    Suspicion,
)


class LookOnly(admin.ModelAdmin):
    """Rows to look at, so that no change goes past the services and their events."""

    show_full_result_count = False

    def has_add_permission(self, request: HttpRequest) -> bool:
        return False

    def has_change_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        return False

    def has_delete_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        return False


@admin.register(RainRule)
class RainRuleAdmin(LookOnly):
    list_display = ["starts_on", "dry_gap_s", "least_depth_um", "source", "by", "withdrawn_at"]
    list_select_related = ["by"]


@admin.register(Gauge)
class GaugeAdmin(LookOnly):
    list_display = ["code", "name", "kind", "started_on", "ended_on"]
    search_fields = ["code", "name"]


@admin.register(GaugePlace)
class GaugePlaceAdmin(LookOnly):
    list_display = ["gauge", "since", "lat", "lon", "note"]
    list_select_related = ["gauge"]


@admin.register(GaugeEvent)
class GaugeEventAdmin(LookOnly):
    list_display = ["gauge", "became", "why", "at", "by"]
    list_select_related = ["gauge", "by"]


@admin.register(GaugeOutage)
class GaugeOutageAdmin(LookOnly):
    list_display = ["gauge", "start_at", "end_at", "why"]
    list_select_related = ["gauge"]


@admin.register(StormSearch)
class StormSearchAdmin(LookOnly):
    list_display = ["at", "by", "start_at", "last_at", "why", "reached_at", "done_at"]
    list_select_related = ["by"]


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


for model in (GaugeStorm, ReadingCorrection, RejectedRow, StormRevision, Suspicion):
    admin.site.register(model, LookOnly)
