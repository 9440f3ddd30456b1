import django_filters
from django.db.models import Q, QuerySet
from django.utils.translation import gettext_lazy as _

from stewardship.agreements.choices import AgreementState, Capacity, InstrumentKind
from stewardship.agreements.models import Agreement
from stewardship.agreements.services import OPEN_STATES
from stewardship.agreements.standing import GIVES, missing_signatures

ANYTHING = "anything"


class AgreementFilter(django_filters.FilterSet):
    q = django_filters.CharFilter(label=_("Reference, site or name"), method="search")
    state = django_filters.ChoiceFilter(
        label=_("State"), choices=AgreementState, empty_label=_("all states")
    )
    instrument = django_filters.ChoiceFilter(
        label=_("Instrument"), choices=InstrumentKind, empty_label=_("all")
    )
    missing = django_filters.ChoiceFilter(
        label=_("Missing"),
        choices=[(ANYTHING, _("anything")), *((c.value, GIVES[c]) for c in Capacity)],
        empty_label=_("no matter"),
        method="is_missing",
    )

    class Meta:
        model = Agreement
        fields = ["q", "state", "instrument"]

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

    def is_missing(
        self, queryset: QuerySet[Agreement], name: str, value: str
    ) -> QuerySet[Agreement]:
        """What is missing follows from the instrument's rules, so the open agreements, which are few, are asked."""
        waiting = Agreement.objects.filter(state__in=OPEN_STATES).with_signing()
        return queryset.filter(
            pk__in=[
                agreement.pk
                for agreement in waiting
                if any(value in (ANYTHING, one.capacity) for one in missing_signatures(agreement))
            ]
        )
