"""The forms of taking on a household."""

from typing import Any

from django import forms
from django.db.models import QuerySet
from django.utils.translation import gettext_lazy as _

from people.choices import Channel, ContactKind, Language
from people.forms import AlikeMixin, ContactsMixin, HouseholdMixin
from people.models import Agency, Person
from people.services import check_contact
from sites.forms import BasinForm
from sites.models import Site
from stewardship.agreements.choices import Capacity, InstrumentKind
from stewardship.agreements.duties import Duty, duties_of
from stewardship.agreements.instruments import INSTRUMENTS
from stewardship.agreements.models import Agreement
from stewardship.common.errors import Refused
from stewardship.front.onboarding.path import OFFERS, landlord_party, main_party

DAY = forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")


class WhoForm(HouseholdMixin, ContactsMixin, AlikeMixin, forms.Form):
    """Who is taken on, in what capacity, and who lets the place to a tenant."""

    given_name = forms.CharField(label=_("Name"), max_length=80, help_text=_("One name is enough."))
    family_name = forms.CharField(label=_("Family name"), max_length=80, required=False)
    language = forms.ChoiceField(
        label=_("Language for letters and the agreement"), choices=Language
    )
    capacity = forms.ChoiceField(
        label=_("They are"),
        widget=forms.RadioSelect,
        choices=[
            (Capacity.OWNER, _("the owner, living there or not")),
            (Capacity.TENANT, _("renting; the owner has to agree")),
            (Capacity.AGENCY_OFFICER, _("speaking for an agency on its own ground")),
            (Capacity.HELPER, _("a helper at basins that are not theirs")),
        ],
        initial=Capacity.OWNER,
    )
    landlord = forms.ModelChoiceField(
        Person.objects.all(),
        label=_("Landlord"),
        required=False,
        empty_label=_("somebody new, or none"),
    )
    landlord_given_name = forms.CharField(
        label=_("Name of a new landlord"), max_length=80, required=False
    )
    landlord_family_name = forms.CharField(label=_("Family name"), max_length=80, required=False)
    landlord_email = forms.CharField(label=_("E-mail"), max_length=300, required=False)
    landlord_phone = forms.CharField(label=_("Phone"), max_length=300, required=False)
    landlord_postal = forms.CharField(
        label=_("Postal address"),
        max_length=300,
        required=False,
        widget=forms.Textarea(attrs={"rows": 3}),
    )
    agency = forms.ModelChoiceField(
        Agency.objects.all(), label=_("Agency"), required=False, empty_label=_("none")
    )
    agency_office = forms.CharField(
        label=_("Office"),
        max_length=120,
        required=False,
        help_text=_("The office answers, not the person."),
    )
    LANDLORD = (
        ("landlord_email", ContactKind.EMAIL, Channel.EMAIL),
        ("landlord_postal", ContactKind.POSTAL, Channel.LETTER),
        ("landlord_phone", ContactKind.PHONE, Channel.TEXT),
    )
    #: Fields that always stand open, and those folded under a heading until they are needed.
    OPEN = (
        ("given_name", "family_name"),
        ("capacity",),
        ("channel",),
        ("emails", "phones"),
        ("postal", "language"),
    )
    FOLDED = (
        (
            _("If they rent: the landlord"),
            (
                ("landlord",),
                ("landlord_given_name", "landlord_family_name"),
                ("landlord_email", "landlord_phone"),
                ("landlord_postal",),
            ),
        ),
        (_("If they speak for an agency: which office"), (("agency", "agency_office"),)),
        (
            _("Whom they live with"),
            (("household",), ("household_name", "household_address")),
        ),
    )

    def __init__(self, *args: Any, person: Person | None = None, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.person = person

    @classmethod
    def initial_for(cls, agreement: Agreement | None, person: Person | None) -> dict[str, Any]:
        """What is known already, of the agreement's main party or of somebody chosen from the book."""
        initial: dict[str, Any] = {}
        party = main_party(agreement) if agreement else None
        if party:
            initial["capacity"] = party.capacity
            landlord = landlord_party(agreement)
            initial["landlord"] = landlord.person_id if landlord else None
        if person:
            initial |= cls.initial_of(person) | {
                "given_name": person.given_name,
                "family_name": person.family_name,
                "language": person.language,
                "household": person.household_id,
                "agency": person.agency_id,
                "agency_office": person.agency_office,
            }
        return initial

    def open_rows(self) -> list[list[forms.BoundField]]:
        return [[self[name] for name in row] for row in self.OPEN]

    def folded_rows(self) -> list[tuple[Any, list[list[forms.BoundField]], bool]]:
        """Heading, rows of fields, and whether they stand open: something is typed there or has to be put right."""
        found = []
        for heading, rows in self.FOLDED:
            bound = [[self[name] for name in row] for row in rows]
            stands_open = any(field.errors or field.value() for row in bound for field in row)
            found.append((heading, bound, stands_open))
        return found

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean()
        self.clean_contacts(cleaned)
        self.clean_households(cleaned)
        if cleaned.get("capacity") == Capacity.TENANT:
            self._clean_landlord(cleaned)
        if cleaned.get("capacity") == Capacity.AGENCY_OFFICER and not cleaned.get("agency"):
            self.add_error("agency", _("Say which agency they speak for."))
        self.ask_if_alike(but=self.person)
        return cleaned

    def _clean_landlord(self, cleaned: dict[str, Any]) -> None:
        if cleaned.get("landlord"):
            if self.person and cleaned["landlord"].pk == self.person.pk:
                self.add_error("landlord", _("Nobody is their own landlord: choose “the owner”."))
            return
        if not cleaned.get("landlord_given_name"):
            self.add_error(
                "landlord", _("A tenant’s promise needs the landlord’s consent: say who that is.")
            )
            return
        given = False
        for name, kind, _channel in self.LANDLORD:
            if cleaned.get(name):
                given = True
                try:
                    check_contact(kind, cleaned[name])
                except Refused as refusal:
                    self.add_error(name, str(refusal))
        if not given:
            self.add_error("landlord_email", _("Give one way to reach the landlord."))

    def facts(self) -> dict[str, Any]:
        """What the services of people take."""
        cleaned = self.cleaned_data
        facts = {
            "given_name": cleaned["given_name"],
            "family_name": cleaned["family_name"],
            "language": cleaned["language"],
            "channel": cleaned["channel"],
            "household": self.chosen_household(),
            "contacts": self.contacts(),
        }
        if cleaned["capacity"] == Capacity.AGENCY_OFFICER:
            facts |= {"agency": cleaned["agency"], "agency_office": cleaned["agency_office"]}
        return facts

    def landlord_facts(self) -> Person | dict[str, Any] | None:
        """A landlord from the book, what is known of a new one, or None."""
        cleaned = self.cleaned_data
        if cleaned["capacity"] != Capacity.TENANT:
            return None
        if cleaned["landlord"]:
            return cleaned["landlord"]
        given = [
            (kind, cleaned[name], channel) for name, kind, channel in self.LANDLORD if cleaned[name]
        ]
        return {
            "given_name": cleaned["landlord_given_name"],
            "family_name": cleaned["landlord_family_name"],
            "language": cleaned["language"],
            "channel": given[0][2],
            "contacts": [(kind, value) for kind, value, _channel in given],
        }


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
        Person.objects.select_related("agency"), label=_("Person"), empty_label=_("choose")
    )
    capacity = forms.ChoiceField(label=_("Signs as"))

    def __init__(self, *args: Any, agreement: Agreement, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["capacity"].choices = [
            (kind, Capacity(kind).label)
            for kind in dict.fromkeys(INSTRUMENTS[agreement.instrument].capacities)
        ]


class OfferForm(forms.Form):
    """The day that the document bears."""

    on = forms.DateField(label=_("Dated"), widget=DAY)
