import django_filters
from django.db.models import Q, QuerySet
from django.utils.translation import gettext_lazy as _

from stewardship.outbox.choices import Channel, MessageClass, Status
from stewardship.outbox.models import Message


class MessageFilter(django_filters.FilterSet):
    q = django_filters.CharFilter(method="search", label=_("Name, address or words"))
    status = django_filters.MultipleChoiceFilter(choices=Status, label=_("Status"))
    channel = django_filters.ChoiceFilter(choices=Channel, label=_("Channel"), empty_label=_("any"))
    message_class = django_filters.ChoiceFilter(
        choices=MessageClass, label=_("Kind"), empty_label=_("any")
    )

    class Meta:
        model = Message
        fields = ("q", "status", "channel", "message_class")

    def search(self, messages: QuerySet[Message], _name: str, words: str) -> QuerySet[Message]:
        return messages.filter(
            Q(to_name__icontains=words)
            | Q(to_address__icontains=words)
            | Q(subject__icontains=words)
            | Q(text__icontains=words)
        )
