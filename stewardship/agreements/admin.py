"""Repairs only. Nothing here signs, brings into force, ends or builds: that has its own doors, and leaves events."""

from django.contrib import admin
from django.http import HttpRequest

from stewardship.agreements.models import (
    Agreement,
    AgreementEvent,
    Document,
    Party,
    Responsibility,
    Signature,
    Wording,
)


class LookedAt(admin.ModelAdmin):
    """Shown, never changed here."""

    def has_add_permission(self, request: HttpRequest) -> bool:
        return False

    def has_change_permission(self, request: HttpRequest, obj=None) -> bool:
        return False

    def has_delete_permission(self, request: HttpRequest, obj=None) -> bool:
        return False


class EventInline(admin.TabularInline):
    model = AgreementEvent
    extra = 0
    can_delete = False
    readonly_fields = fields = ["at", "was", "became", "why", "by"]

    def has_add_permission(self, request: HttpRequest, obj=None) -> bool:
        return False


@admin.register(Agreement)
class AgreementAdmin(admin.ModelAdmin):
    list_display = ["reference", "instrument", "state", "begins_on", "ends_on"]
    list_filter = ["state", "instrument", "language"]
    search_fields = ["reference", "sites__code"]
    fields = ["reference", "instrument", "state", "wording", "begins_on", "ends_on", "ended_why"]
    readonly_fields = ["instrument", "state", "wording", "begins_on", "ends_on"]
    inlines = [EventInline]

    def has_add_permission(self, request: HttpRequest) -> bool:
        return False

    def has_delete_permission(self, request: HttpRequest, obj=None) -> bool:
        return False


@admin.register(Party)
class PartyAdmin(LookedAt):
    list_display = ["agreement", "person", "capacity", "must_sign"]
    list_filter = ["capacity"]
    search_fields = ["agreement__reference", "person__given_name", "person__family_name"]


@admin.register(Document)
class DocumentAdmin(LookedAt):
    list_display = ["file_name", "agreement", "kind", "version", "dated", "sha256"]
    list_filter = ["kind"]
    search_fields = ["file_name", "agreement__reference", "sha256"]

    def get_queryset(self, request: HttpRequest):
        return super().get_queryset(request).defer("content")


@admin.register(Signature)
class SignatureAdmin(admin.ModelAdmin):
    """A name that was typed wrongly, or paper that has moved, can be put right."""

    list_display = ["party", "document", "signed_on", "typed_name", "original_kept_at"]
    search_fields = ["typed_name", "party__agreement__reference"]
    fields = ["party", "document", "method", "signed_on", "typed_name", "original_kept_at", "scan"]
    readonly_fields = ["party", "document", "method", "signed_on", "scan"]

    def has_add_permission(self, request: HttpRequest) -> bool:
        return False

    def has_delete_permission(self, request: HttpRequest, obj=None) -> bool:
        return False


@admin.register(Responsibility)
class ResponsibilityAdmin(LookedAt):
    list_display = ["site", "role", "person", "agency", "agreement", "starts_on", "ends_on"]
    list_filter = ["role"]
    search_fields = ["site__code", "agreement__reference"]


@admin.register(Wording)
class WordingAdmin(LookedAt):
    """Texts are written under Agreements → Wordings."""

    list_display = ["instrument", "language", "version", "title", "in_use_since"]
    list_filter = ["instrument", "language"]
