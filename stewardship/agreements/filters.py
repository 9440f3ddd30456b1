import django_filters
from django.db.models import Q, QuerySet
from django.utils.translation import gettext_lazy as _

from people.models import Program
from stewardship.agreements.choices import (
    AgreementState,
    Capacity,
    InstrumentKind,
    RequirementKind,
)
from stewardship.agreements.lacks import incomplete, lacks
from stewardship.agreements.models import Agreement, Requirement
from stewardship.agreements.services import OPEN_STATES
from stewardship.agreements.standing import GIVES

ANYTHING = "anything"
INCOMPLETE = "incomplete"


class AgreementFilter(django_filters.FilterSet):
    q = django_filters.CharFilter(label=_("Reference, site or name"), method="search")
    state = django_filters.ChoiceFilter(
        label=_("State"),
        choices=[*AgreementState.choices, (INCOMPLETE, _("Incomplete"))],
        empty_label=_("all states"),
        method="in_state",
    )
    instrument = django_filters.ChoiceFilter(
        label=_("Instrument"), choices=InstrumentKind, empty_label=_("all")
    )
    missing = django_filters.ChoiceFilter(
        label=_("Missing"),
        choices=[
            (ANYTHING, _("anything")),
            *((c.value, GIVES[c]) for c in Capacity),
            *RequirementKind.choices,
        ],
        empty_label=_("no matter"),
        method="is_missing",
    )

    class Meta:
        model = Agreement
        fields = ["q", "instrument"]

    def search(self, queryset: QuerySet[Agreement], name: str, value: str) -> QuerySet[Agreement]:
        for word in value.split():
            queryset = queryset.filter(
                pk__in=Agreement.objects.filter(
                    Q(reference__icontains=word)
                    | Q(sites__code__icontains=word)
                    | Q(sites__address__icontains=word)
                    | Q(parties__person__given_name__icontains=word)
                    | Q(parties__person__family_name__icontains=word)
                    | Q(parties__agency__name__icontains=word)
                ).values("pk")
            )
        return queryset

    def in_state(self, queryset: QuerySet[Agreement], name: str, value: str) -> QuerySet[Agreement]:
        if value != INCOMPLETE:
            return queryset.filter(state=value)
        found = incomplete(Agreement.objects.all(), on=Program.get().today())
        return queryset.filter(pk__in=[agreement.pk for agreement in found])

    def is_missing(
        self, queryset: QuerySet[Agreement], name: str, value: str
    ) -> QuerySet[Agreement]:
        """Whose signature is missing follows from the instrument's rules, so those that may lack something are looked at."""
        today = Program.get().today()
        wanting = Requirement.objects.open(on=today).values("agreement")
        waiting = Agreement.objects.filter(
            Q(state__in=OPEN_STATES) | Q(state=AgreementState.IN_FORCE, pk__in=wanting)
        ).with_signing()
        return queryset.filter(
            pk__in=[
                agreement.pk
                for agreement in waiting
                if any(value in (ANYTHING, one.key) for one in lacks(agreement, on=today))
            ]
        )
