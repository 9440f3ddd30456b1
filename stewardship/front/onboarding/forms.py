"""The forms of taking on a household."""

from typing import Any

from django import forms
from django.db.models import QuerySet
from django.utils.translation import gettext_lazy as _

from people.choices import Language
from people.models import Organisation, Person
from sites.forms import BasinForm
from sites.models import Site
from stewardship.agreements.choices import Capacity, InstrumentKind
from stewardship.agreements.duties import Duty, duties_of
from stewardship.agreements.instruments import INSTRUMENTS
from stewardship.agreements.models import Agreement
from stewardship.front.onboarding.path import OFFERS, main_party

DAY = forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")


class TakeSiteForm(forms.Form):
    """A site that is in the book already."""

    existing = forms.ModelChoiceField(
        Site.objects.none(),
        label=_("A site that is in the book"),
        empty_label=_("choose"),
        help_text=_("Sites that somebody looks after are not listed; end that agreement first."),
    )

    def __init__(self, *args: Any, sites: QuerySet[Site], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["existing"].queryset = sites


class PlannedBasinForm(BasinForm):
    """A basin before it is built: its planting day comes with acceptance."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        del self.fields["phase_from"]


class DutiesForm(forms.Form):
    """One tick for each group of duties that was walked through."""

    def __init__(self, *args: Any, agreement: Agreement, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.duties = duties_of(agreement.instrument)
        shown = set(agreement.duties_shown.values_list("group", flat=True))
        for duty in self.duties:
            self.fields[duty.group.value] = forms.BooleanField(
                label=_("We talked about this"), required=False, initial=duty.group in shown
            )

    def rows(self) -> list[tuple[Duty, forms.BoundField]]:
        return [(duty, self[duty.group.value]) for duty in self.duties]

    def ticked(self) -> list[str]:
        return [name for name, value in self.cleaned_data.items() if value]


class TermsForm(forms.Form):
    """Instrument, language and first day."""

    instrument = forms.ChoiceField(label=_("Instrument"), widget=forms.RadioSelect)
    language = forms.ChoiceField(label=_("Language of the agreement"), choices=Language)
    begins_on = forms.DateField(
        label=_("Not before"),
        required=False,
        widget=DAY,
        help_text=_("Otherwise it begins on the day of the last signature."),
    )

    def __init__(self, *args: Any, agreement: Agreement, **kwargs: Any) -> None:
        super().__init__(
            *args,
            initial={
                "instrument": agreement.instrument,
                "language": agreement.language,
                "begins_on": agreement.begins_on,
            },
            **kwargs,
        )
        party = main_party(agreement)
        offers = OFFERS[Capacity(party.capacity)] if party else (agreement.instrument,)
        self.fields["instrument"].choices = [(kind, InstrumentKind(kind).label) for kind in offers]


class NameForm(forms.Form):
    """One more party."""

    person = forms.ModelChoiceField(
        Person.objects.known().filter(died_on=None, erased_on=None).select_related("agency"),
        label=_("Person"),
        empty_label=_("choose"),
    )
    capacity = forms.ChoiceField(label=_("Signs as"))
    organisation = forms.ModelChoiceField(
        Organisation.objects.all(),
        label=_("For a body"),
        required=False,
        empty_label=_("for themselves"),
    )

    def __init__(self, *args: Any, agreement: Agreement, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["capacity"].choices = [
            (kind, Capacity(kind).label)
            for kind in dict.fromkeys(INSTRUMENTS[agreement.instrument].capacities)
        ]


class OfferForm(forms.Form):
    """The day that the document bears, and how long it can be signed."""

    on = forms.DateField(label=_("Dated"), widget=DAY)
    until = forms.DateField(
        label=_("The offer stands until"),
        widget=DAY,
        required=False,
        help_text=_("The last day on which it can be signed. Empty: no limit."),
    )
