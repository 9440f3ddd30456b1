import django_tables2 as tables
from django.utils.html import format_html
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from people.choices import Channel, ContactKind
from people.models import Person
from people.services import reachable_at
from stewardship.common.templatetags.ui import state


class PersonTable(tables.Table):
    """Everybody in the book; the CSV carries the addresses that the page has no room for."""

    caption = gettext_lazy("People")
    exportable = True

    name = tables.LinkColumn(
        "person",
        args=[tables.A("pk")],
        text=lambda person: person.full_name,
        accessor="given_name",
        order_by=("family_name", "given_name", "pk"),
        verbose_name=gettext_lazy("Name"),
    )
    belongs = tables.Column(
        empty_values=(),
        order_by=("household__name", "agency__name", "pk"),
        verbose_name=gettext_lazy("Household or agency"),
    )
    reach = tables.Column(
        accessor="channel", verbose_name=gettext_lazy("How they hear from us"), order_by="channel"
    )
    language = tables.Column(verbose_name=gettext_lazy("Language"))
    emails = tables.Column(empty_values=(), visible=False, verbose_name=gettext_lazy("E-mail"))
    phones = tables.Column(empty_values=(), visible=False, verbose_name=gettext_lazy("Phone"))
    postal = tables.Column(empty_values=(), visible=False, verbose_name=gettext_lazy("Postal"))

    class Meta:
        model = Person
        fields = ["name", "belongs", "reach", "language"]
        empty_text = gettext_lazy("Nobody fits. Take a filter away, or write somebody down.")
        order_by = "name"

    def render_belongs(self, record: Person) -> str:
        if record.household:
            return record.household.name
        return str(record.agency or "")

    def value_name(self, record: Person) -> str:
        return record.full_name

    def render_reach(self, record: Person) -> str:
        words = record.get_channel_display()
        if record.is_silent:
            return state("suppressed", _("not written to"))
        if record.channel == Channel.NONE:
            return words
        point = reachable_at(record)
        if point is None:
            return format_html(
                '<span>{} <span class="note">{}</span></span>',
                state("act", words),
                _("there is no address"),
            )
        return format_html(
            '<span>{} <span class="note">{}</span></span>', words, " ".join(point.value.split())
        )

    def value_reach(self, record: Person) -> str:
        if record.is_silent:
            return _("not written to")
        return record.get_channel_display()

    def _addresses(self, record: Person, kind: str) -> str:
        return "; ".join(
            " ".join(point.value.split())
            for point in record.contact_points.all()
            if point.kind == kind and not point.dead_since
        )

    def value_emails(self, record: Person) -> str:
        return self._addresses(record, ContactKind.EMAIL)

    def value_phones(self, record: Person) -> str:
        return self._addresses(record, ContactKind.PHONE)

    def value_postal(self, record: Person) -> str:
        return self._addresses(record, ContactKind.POSTAL)
