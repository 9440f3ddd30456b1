import django_filters
from django.db.models import Exists, OuterRef, Q, QuerySet
from django.utils.translation import gettext_lazy as _

from people.choices import Channel, Language
from people.models import Agency, ContactPoint, Person
from people.services import NEEDS


class PersonFilter(django_filters.FilterSet):
    q = django_filters.CharFilter(label=_("Name, household or address"), method="search")
    channel = django_filters.ChoiceFilter(
        label=_("How they hear from us"), choices=Channel, empty_label=_("all")
    )
    language = django_filters.ChoiceFilter(
        label=_("Language"), choices=Language, empty_label=_("all")
    )
    agency = django_filters.ModelChoiceFilter(
        label=_("Agency"), queryset=Agency.objects.all(), empty_label=_("all")
    )
    unreachable = django_filters.BooleanFilter(
        label=_("Only people without an address"),
        method="without_address",
        widget=django_filters.widgets.forms.CheckboxInput,
    )

    class Meta:
        model = Person
        fields = ["q", "channel", "language", "agency"]

    def search(self, queryset: QuerySet[Person], name: str, value: str) -> QuerySet[Person]:
        for word in value.split():
            point = ContactPoint.objects.filter(people=OuterRef("pk"), value__icontains=word)
            queryset = queryset.filter(
                Q(given_name__icontains=word)
                | Q(family_name__icontains=word)
                | Q(household__name__icontains=word)
                | Q(household__address__icontains=word)
                | Exists(point)
            )
        return queryset

    def without_address(
        self, queryset: QuerySet[Person], name: str, value: bool
    ) -> QuerySet[Person]:
        """People whose chosen channel has no living address."""
        if not value:
            return queryset
        lost = Q()
        for channel, kind in NEEDS.items():
            living = ContactPoint.objects.filter(
                people=OuterRef("pk"), kind=kind, dead_since__isnull=True
            )
            lost |= Q(~Exists(living), channel=channel)
        return queryset.filter(lost)
