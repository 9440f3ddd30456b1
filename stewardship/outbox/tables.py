import django_tables2 as tables
from django.utils.safestring import SafeString
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from stewardship.common.templatetags.ui import state
from stewardship.common.written import moment_text
from stewardship.outbox.models import Message


class MessageTable(tables.Table):
    caption = _("Messages")
    exportable = True

    queued_at = tables.Column(verbose_name=_("Queued"))
    to_name = tables.Column(verbose_name=_("To"), linkify=("outbox:detail", [tables.A("pk")]))
    subject = tables.Column(verbose_name=_("About"), empty_values=())
    channel = tables.Column(verbose_name=_("Channel"))
    message_class = tables.Column(verbose_name=_("Kind"))
    status = tables.Column(verbose_name=_("Status"))
    error = tables.Column(verbose_name=_("Remark"), orderable=False)

    class Meta:
        model = Message
        fields = (
            "queued_at",
            "to_name",
            "subject",
            "channel",
            "message_class",
            "status",
            "error",
        )
        order_by = "-queued_at"
        empty_text = _(
            "No message fits. Letters appear here when rain or the calendar asks for somebody."
        )

    def render_queued_at(self, value) -> str:
        return moment_text(value) or ""

    def value_queued_at(self, value) -> str:
        return value.isoformat(timespec="minutes")

    def render_subject(self, value: str, record: Message) -> str:
        return value or gettext("not written yet")

    def render_status(self, record: Message) -> SafeString:
        return state(record.status, record.get_status_display())

    def value_status(self, record: Message) -> str:
        return record.get_status_display()
