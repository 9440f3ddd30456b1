"""For repairs only: rules, steps and what hangs on them. Daily work has its own pages."""

from django.contrib import admin

from stewardship.care import models


@admin.register(models.CareRule)
class CareRuleAdmin(admin.ModelAdmin):
    list_display = [
        "trigger",
        "phase",
        "least_depth_um",
        "every_days",
        "due_within_days",
        "starts_on",
        "ends_on",
    ]


@admin.register(models.HandOnStep)
class HandOnStepAdmin(admin.ModelAdmin):
    list_display = ["action", "after_days", "starts_on", "ends_on"]


class EventInline(admin.TabularInline):
    model = models.DutyEvent
    extra = 0
    raw_id_fields = ["by"]


@admin.register(models.Duty)
class DutyAdmin(admin.ModelAdmin):
    list_display = ["site", "trigger", "state", "opened_on", "due_on", "closed_on"]
    list_filter = ["state", "trigger"]
    list_select_related = ["site"]
    search_fields = ["site__code"]
    raw_id_fields = ["site", "rule", "storms", "owed_by"]
    inlines = [EventInline]


class FindingInline(admin.TabularInline):
    model = models.Finding
    extra = 0
    raw_id_fields = ["basin"]


class CleanOutInline(admin.TabularInline):
    model = models.CleanOut
    extra = 0
    raw_id_fields = ["trap"]


@admin.register(models.Visit)
class VisitAdmin(admin.ModelAdmin):
    list_display = ["site", "happened_on", "outcome", "evidence", "entered_at"]
    list_select_related = ["site"]
    search_fields = ["site__code"]
    raw_id_fields = ["site", "duty", "done_by", "done_by_agency", "entered_by"]
    inlines = [FindingInline, CleanOutInline]


@admin.register(models.Reminder)
class ReminderAdmin(admin.ModelAdmin):
    list_display = ["duty", "person", "round", "made_at", "came_back_on"]
    raw_id_fields = ["duty", "person", "message"]


@admin.register(models.Answer)
class AnswerAdmin(admin.ModelAdmin):
    list_display = ["duty", "person", "kind", "about_on", "at"]
    raw_id_fields = ["duty", "person", "visit"]


@admin.register(models.ContactCheck)
class ContactCheckAdmin(admin.ModelAdmin):
    list_display = ["person", "reason", "site", "opened_at", "closed_at"]
    raw_id_fields = ["person", "site", "closed_by"]


@admin.register(models.RainQuestion)
class RainQuestionAdmin(admin.ModelAdmin):
    list_display = ["site", "storm", "ask", "asked_at", "decision"]
    raw_id_fields = ["site", "storm", "duty", "decided_by"]


@admin.register(models.FlowReport)
class FlowReportAdmin(admin.ModelAdmin):
    list_display = ["site", "kind", "ran_on", "state", "decided_at"]
    list_select_related = ["site"]
    raw_id_fields = ["site", "person", "by", "duty", "decided_by"]


@admin.register(models.LateNewsRule)
class LateNewsRuleAdmin(admin.ModelAdmin):
    list_display = ["starts_on", "acts_alone_days", "reports_act"]
