from django.contrib import admin

from stewardship.outbox.models import Message, MessageEvent, OptOut


class MessageEventInline(admin.TabularInline):
    model = MessageEvent
    extra = 0
    can_delete = False
    readonly_fields = ("was", "became", "why", "at", "by")


@admin.register(Message)
class MessageAdmin(admin.ModelAdmin):
    list_display = ("to_name", "to_address", "template", "channel", "status", "due_at")
    list_filter = ("status", "channel", "message_class")
    search_fields = ("key", "to_name", "to_address", "rfc_message_id")
    readonly_fields = ("key", "rfc_message_id")
    inlines = (MessageEventInline,)


@admin.register(OptOut)
class OptOutAdmin(admin.ModelAdmin):
    list_display = ("address", "channel", "at", "ended_at")
    search_fields = ("address",)
