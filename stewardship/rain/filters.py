from datetime import timedelta

import django_filters
from django.db.models import Q, QuerySet
from django.forms import CheckboxInput, DateInput
from django.utils.translation import gettext_lazy as _

from stewardship.rain.choices import GaugeKind
from stewardship.rain.models import Gauge, RainRule, Storm
from stewardship.rain.times import local_s


def _day_input() -> DateInput:
    return DateInput(attrs={"type": "date"}, format="%Y-%m-%d")


class StormFilter(django_filters.FilterSet):
    since = django_filters.DateFilter(label=_("From"), method="from_day", widget=_day_input())
    until = django_filters.DateFilter(label=_("Until"), method="until_day", widget=_day_input())
    small = django_filters.BooleanFilter(
        label=_("small ones too"), method="with_small", widget=CheckboxInput
    )

    class Meta:
        model = Storm
        fields = ["since", "until", "small"]

    def from_day(self, queryset: QuerySet[Storm], name: str, value) -> QuerySet[Storm]:
        return queryset.filter(end_s__gt=local_s(value, self.request.program.tz))

    def until_day(self, queryset: QuerySet[Storm], name: str, value) -> QuerySet[Storm]:
        after = value + timedelta(days=1)
        return queryset.filter(start_s__lt=local_s(after, self.request.program.tz))

    def with_small(self, queryset: QuerySet[Storm], name: str, value: bool) -> QuerySet[Storm]:
        if value:
            return queryset
        rule = RainRule.objects.in_force(on=self.request.program.today())
        return queryset.filter(greatest_um__gte=rule.least_depth_um)


class GaugeFilter(django_filters.FilterSet):
    q = django_filters.CharFilter(label=_("Code or name"), method="search")
    kind = django_filters.ChoiceFilter(
        label=_("Kind"), choices=GaugeKind, empty_label=_("all kinds")
    )

    class Meta:
        model = Gauge
        fields = ["q", "kind"]

    def search(self, queryset: QuerySet[Gauge], name: str, value: str) -> QuerySet[Gauge]:
        for word in value.split():
            queryset = queryset.filter(Q(code__icontains=word) | Q(name__icontains=word))
        return queryset
