from typing import Any

import django_filters
from django import forms
from django.db.models import QuerySet, TextChoices
from django.http import QueryDict
from django.utils.translation import gettext_lazy as _

from sites.filters import site_words
from sites.models import Site
from stewardship.care.choices import DutyState, RainAsk, RainDecision, Trigger
from stewardship.care.models import Duty, RainQuestion


class Worklist(TextChoices):
    """What a coordinator looks for among the open ones."""

    NEEDS_PERSON = "needs_person", _("need a person")
    LATE = "late", _("late")
    NOBODY = "nobody", _("nobody responsible")


class DutyFilter(django_filters.FilterSet):
    q = django_filters.CharFilter(label=_("Site, street or address"), method="search")
    state = django_filters.ChoiceFilter(
        label=_("State"), choices=DutyState, empty_label=_("all states")
    )
    trigger = django_filters.ChoiceFilter(
        label=_("Because of"), choices=Trigger, empty_label=_("anything")
    )
    list = django_filters.ChoiceFilter(
        label=_("Open ones that"), choices=Worklist, empty_label=_("all"), method="on_list"
    )

    class Meta:
        model = Duty
        fields = ["q", "state", "trigger", "list"]

    def __init__(self, data: QueryDict | None = None, *args: Any, **kwargs: Any) -> None:
        """Open duties, unless a state, or all of them, is asked for."""
        asked = data.copy() if data else QueryDict(mutable=True)
        asked.setdefault("state", DutyState.OPEN)
        super().__init__(asked, *args, **kwargs)

    def search(self, queryset: QuerySet[Duty], name: str, value: str) -> QuerySet[Duty]:
        return queryset.filter(site__in=site_words(Site.objects.all(), value.split()))

    def on_list(self, queryset: QuerySet[Duty], name: str, value: str) -> QuerySet[Duty]:
        if value == Worklist.LATE:
            return queryset.late(on=self.request.program.today())
        if value == Worklist.NOBODY:
            return queryset.without_anybody()
        return queryset.needing_a_person()


class DecisionFilter(django_filters.FilterSet):
    q = django_filters.CharFilter(label=_("Site, street or address"), method="search")
    ask = django_filters.ChoiceFilter(label=_("Question"), choices=RainAsk, empty_label=_("any"))
    decision = django_filters.ChoiceFilter(
        label=_("Decision"), choices=RainDecision, empty_label=_("any")
    )
    since = django_filters.DateFilter(
        field_name="decided_at",
        lookup_expr="date__gte",
        label=_("Decided since"),
        widget=forms.DateInput(attrs={"type": "date"}),
    )

    class Meta:
        model = RainQuestion
        fields = ["q", "ask", "decision", "since"]

    def search(
        self, queryset: QuerySet[RainQuestion], name: str, value: str
    ) -> QuerySet[RainQuestion]:
        return queryset.filter(site__in=site_words(Site.objects.all(), value.split()))
