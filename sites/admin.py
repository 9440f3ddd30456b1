"""Repairs only. A site's stage and days are shown, not set: they have their own doors."""

from django.contrib import admin

from sites.models import Basin, Inlet, Planting, SedimentTrap, Site


class BasinInline(admin.TabularInline):
    model = Basin
    extra = 0
    show_change_link = True


@admin.register(Site)
class SiteAdmin(admin.ModelAdmin):
    list_display = ["code", "address", "stage", "agency"]
    list_filter = ["stage", "agency"]
    search_fields = ["code", "address", "street"]
    readonly_fields = ["stage", "built_on", "retired_on"]
    inlines = [BasinInline]


class InletInline(admin.TabularInline):
    model = Inlet
    extra = 0


class PlantingInline(admin.TabularInline):
    model = Planting
    extra = 0


@admin.register(Basin)
class BasinAdmin(admin.ModelAdmin):
    list_display = ["site", "label", "depth_m", "soak_mm_h", "phase_from"]
    search_fields = ["site__code"]
    autocomplete_fields = ["site"]
    inlines = [InletInline, PlantingInline]


@admin.register(SedimentTrap)
class SedimentTrapAdmin(admin.ModelAdmin):
    list_display = ["inlet", "length_m", "width_m", "depth_m", "lip_below_inlet_m"]
    search_fields = ["inlet__basin__site__code"]
