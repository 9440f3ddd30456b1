import django_filters
from django.db.models import Q, QuerySet
from django.utils.translation import gettext_lazy as _

from stewardship.outbox.choices import NEEDS_A_PERSON, Channel, MessageClass, Status
from stewardship.outbox.models import Message

LOOK = "needs_a_person"


class MessageFilter(django_filters.FilterSet):
    q = django_filters.CharFilter(method="search", label=_("Name, address or words"))
    status = django_filters.ChoiceFilter(
        method="in_status",
        choices=[(LOOK, _("Failed or unsure")), *Status.choices],
        label=_("Status"),
        empty_label=_("any"),
    )
    channel = django_filters.ChoiceFilter(choices=Channel, label=_("Channel"), empty_label=_("any"))
    message_class = django_filters.ChoiceFilter(
        choices=MessageClass, label=_("Kind"), empty_label=_("any")
    )

    class Meta:
        model = Message
        fields = ("q", "status", "channel", "message_class")

    def in_status(self, messages: QuerySet[Message], _name: str, status: str) -> QuerySet[Message]:
        if status == LOOK:
            return messages.filter(status__in=NEEDS_A_PERSON)
        return messages.filter(status=status)

    def search(self, messages: QuerySet[Message], _name: str, words: str) -> QuerySet[Message]:
        return messages.filter(
            Q(to_name__icontains=words)
            | Q(to_address__icontains=words)
            | Q(subject__icontains=words)
            | Q(text__icontains=words)
        )
