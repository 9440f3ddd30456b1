import django_filters
from django import forms
from django.db.models import QuerySet
from django.utils.translation import gettext_lazy as _

from people.models import Agency
from sites.filters import site_words
from sites.models import Site
from stewardship.reports.standing import AGREEMENT_WORDS, CONDITION_WORDS, KNOWN_FOR_DAYS


class WholeNumberFilter(django_filters.NumberFilter):
    field_class = forms.IntegerField


class ComplianceFilter(django_filters.FilterSet):
    q = django_filters.CharFilter(label=_("Code, street or address"), method="search")
    agency = django_filters.ModelChoiceFilter(
        label=_("Agency"), queryset=Agency.objects.none(), empty_label=_("all")
    )
    condition = django_filters.ChoiceFilter(
        label=_("As last seen"), choices=list(CONDITION_WORDS.items()), empty_label=_("all")
    )
    agreement_state = django_filters.ChoiceFilter(
        label=_("Agreement"), choices=list(AGREEMENT_WORDS.items()), empty_label=_("all")
    )
    days = WholeNumberFilter(
        label=_("A look counts for so many days"),
        method="unchanged",
        initial=KNOWN_FOR_DAYS,
        min_value=1,
        max_value=3650,
    )
    late = django_filters.BooleanFilter(
        label=_("Only sites with late duties"), method="only_late", widget=forms.CheckboxInput
    )

    class Meta:
        model = Site
        fields = ["q", "agency", "condition", "agreement_state", "days", "late"]

    def __init__(self, *args, agencies: QuerySet[Agency], **kwargs) -> None:
        super().__init__(*args, **kwargs)
        self.filters["agency"].queryset = agencies
        if agencies.count() < 2:
            del self.filters["agency"]

    def search(self, queryset: QuerySet[Site], name: str, value: str) -> QuerySet[Site]:
        return site_words(queryset, value.split())

    def unchanged(self, queryset: QuerySet[Site], name: str, value: int) -> QuerySet[Site]:
        return queryset  # the page reads the number before it asks how sites stand

    def only_late(self, queryset: QuerySet[Site], name: str, value: bool) -> QuerySet[Site]:
        return queryset.filter(late_duties__gt=0) if value else queryset
