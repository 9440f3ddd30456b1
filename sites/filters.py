from collections.abc import Iterable

import django_filters
from django.db.models import Q, QuerySet
from django.utils.translation import gettext_lazy as _

from people.models import Agency
from sites.choices import Phase, Stage
from sites.models import Site, SiteExternalId, SiteParcel


def site_words(queryset: QuerySet[Site], words: Iterable[str]) -> QuerySet[Site]:
    """Sites whose code, street or address holds every word, or that another list or the assessor calls so."""
    for word in words:
        elsewhere = SiteExternalId.objects.filter(value__icontains=word).values("site")
        along = SiteParcel.objects.filter(parcel__number__icontains=word).values("site")
        queryset = queryset.filter(
            Q(code__icontains=word)
            | Q(street__icontains=word)
            | Q(address__icontains=word)
            | Q(pk__in=elsewhere)
            | Q(pk__in=along)
        )
    return queryset


class SiteFilter(django_filters.FilterSet):
    q = django_filters.CharFilter(label=_("Code, street or address"), method="search")
    stage = django_filters.ChoiceFilter(
        label=_("Stage"), choices=Stage, empty_label=_("all stages")
    )
    agency = django_filters.ModelChoiceFilter(
        label=_("Agency"),
        queryset=Agency.objects.all(),
        empty_label=_("all"),
        null_label=_("none: household’s frontage"),
    )
    phase = django_filters.ChoiceFilter(
        label=_("Planting"), choices=Phase, empty_label=_("all"), method="in_phase"
    )

    class Meta:
        model = Site
        fields = ["q", "stage", "agency", "phase"]

    def search(self, queryset: QuerySet[Site], name: str, value: str) -> QuerySet[Site]:
        return site_words(queryset, value.split())

    def in_phase(self, queryset: QuerySet[Site], name: str, value: str) -> QuerySet[Site]:
        return queryset.in_phase(value, on=self.request.program.today())
