"""The forms of step 1: the person taken on, and any other person beside them."""

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from people.alike import people_alike
from people.choices import Channel, ContactKind, Language, OrganisationKind
from people.forms import AlikeMixin, ContactsMixin, HouseholdMixin
from people.models import Agency, Organisation, Person
from people.services import NEEDS, check_contact, unreachable_words
from stewardship.agreements.choices import Capacity
from stewardship.agreements.models import Agreement
from stewardship.common.errors import Refused
from stewardship.front.onboarding.path import main_party

Row = list[forms.BoundField]


class WhoForm(HouseholdMixin, ContactsMixin, AlikeMixin, forms.Form):
    """The person across the table, in what capacity, and for which body."""

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
    organisation = forms.ModelChoiceField(
        Organisation.objects.all(),
        label=_("They sign for"),
        required=False,
        empty_label=_("themselves, or a new body"),
    )
    organisation_name = forms.CharField(label=_("New body"), max_length=160, required=False)
    organisation_kind = forms.ChoiceField(
        label=_("What kind of body"),
        choices=[("", _("choose")), *OrganisationKind.choices],
        required=False,
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
    OPEN = (
        ("given_name", "family_name"),
        ("capacity",),
        ("channel",),
        ("emails", "phones"),
        ("postal", "language"),
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
            initial |= {"capacity": party.capacity, "organisation": party.organisation_id}
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

    def rows(self, *names: tuple[str, ...]) -> list[Row]:
        return [[self[name] for name in row] for row in names]

    @property
    def open_rows(self) -> list[Row]:
        return self.rows(*self.OPEN)

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean()
        if self.person and self.person.died_on:
            raise forms.ValidationError(
                _("%s died; choose somebody else, or who answers for the estate.") % self.person
            )
        self.clean_contacts(cleaned)
        self.clean_households(cleaned)
        if cleaned.get("capacity") == Capacity.AGENCY_OFFICER and not cleaned.get("agency"):
            self.add_error("agency", _("Say which agency they speak for."))
        self._clean_organisation(cleaned)
        self.ask_if_alike(but=self.person)
        return cleaned

    def _clean_organisation(self, cleaned: dict[str, Any]) -> None:
        name, kind = cleaned.get("organisation_name"), cleaned.get("organisation_kind")
        if cleaned.get("organisation") and name:
            self.add_error("organisation_name", _("Choose a body or name a new one, not both."))
        elif name and not kind:
            self.add_error("organisation_kind", _("Say what kind of body it is."))
        elif kind and not name:
            self.add_error("organisation_name", _("Give it its name."))
        if (name or cleaned.get("organisation")) and cleaned.get("capacity") not in (
            Capacity.OWNER,
            Capacity.TENANT,
        ):
            self.add_error("organisation", _("Only an owner or tenant signs for such a body."))

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

    def body(self) -> Organisation | tuple[str, str] | None:
        """The organisation they sign for: from the book, or (name, kind) of a new one."""
        cleaned = self.cleaned_data
        if cleaned["organisation_name"]:
            return cleaned["organisation_name"], cleaned["organisation_kind"]
        return cleaned["organisation"]


class SomebodyForm(forms.Form):
    """One more person: from the book, or new in a few words."""

    person = forms.ModelChoiceField(
        Person.objects.known().filter(died_on=None, erased_on=None),
        label=_("Somebody in the book"),
        required=False,
        empty_label=_("somebody new, or nobody"),
    )
    given_name = forms.CharField(label=_("Name"), max_length=80, required=False)
    family_name = forms.CharField(label=_("Family name"), max_length=80, required=False)
    email = forms.CharField(label=_("E-mail"), max_length=300, required=False)
    phone = forms.CharField(label=_("Phone"), max_length=300, required=False)
    postal = forms.CharField(
        label=_("Postal address"),
        max_length=300,
        required=False,
        widget=forms.Textarea(attrs={"rows": 3, "autocomplete": "off"}),
    )
    channel = forms.ChoiceField(
        label=_("How they want to hear from us"),
        choices=[("", _("as fits the address")), *Channel.choices],
        required=False,
    )
    language = forms.ChoiceField(
        label=_("Language for letters"),
        choices=[("", _("the same")), *Language.choices],
        required=False,
    )
    someone_else = forms.BooleanField(
        label=_("It is somebody else"), required=False, widget=forms.HiddenInput
    )
    #: which field holds which kind of address, and which way of hearing goes with it
    PLACES = (
        ("email", ContactKind.EMAIL, Channel.EMAIL),
        ("postal", ContactKind.POSTAL, Channel.LETTER),
        ("phone", ContactKind.PHONE, Channel.TEXT),
    )
    ROWS: tuple[tuple[str, ...], ...] = (
        ("person",),
        ("given_name", "family_name"),
        ("email", "phone"),
        ("channel", "language"),
    )
    #: whether somebody new needs an address of their own
    own_address = False

    @property
    def rows(self) -> list[Row]:
        shown = [[self[name] for name in row] for row in self.ROWS]
        if not self["someone_else"].is_hidden:
            shown.append([self["someone_else"]])
        return shown

    @property
    def filled(self) -> bool:
        """Whether somebody is named."""
        return bool(self.cleaned_data.get("person") or self.cleaned_data.get("given_name"))

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean()
        if cleaned.get("person"):
            return cleaned
        given = False
        for name, kind, _channel in self.PLACES:
            if cleaned.get(name):
                given = True
                try:
                    check_contact(kind, cleaned[name])
                except Refused as refusal:
                    self.add_error(name, str(refusal))
        if not cleaned.get("given_name"):
            if given or cleaned.get("family_name"):
                self.add_error("given_name", _("One name is enough, but one is needed."))
            return cleaned
        if self.own_address and not given:
            self.add_error("email", _("Give one way to reach them."))
        channel = cleaned.get("channel")
        if given and channel and NEEDS.get(channel) not in self._kinds(cleaned) | {None}:
            self.add_error("channel", unreachable_words(channel))
        self._ask_if_alike(cleaned)
        return cleaned

    def _kinds(self, cleaned: dict[str, Any]) -> set[Any]:
        return {kind for name, kind, _channel in self.PLACES if cleaned.get(name)}

    def _ask_if_alike(self, cleaned: dict[str, Any]) -> None:
        """By name only: people who live together share addresses."""
        if self.errors or cleaned.get("someone_else"):
            return
        found = people_alike(
            given_name=cleaned["given_name"], family_name=cleaned.get("family_name", "")
        )
        if found:
            self.fields["someone_else"].widget = forms.CheckboxInput()
            names = "; ".join(str(one.person) for one in found)
            self.add_error(
                "someone_else",
                _("Perhaps in the book already: %s. Choose them above, or tick this.") % names,
            )

    def who(self, beside: dict[str, Any]) -> Person | dict[str, Any]:
        """Somebody from the book, or facts of somebody new; without an address of their own they share those of `beside`."""
        cleaned = self.cleaned_data
        if cleaned["person"]:
            return cleaned["person"]
        given = [
            (kind, cleaned[name], channel) for name, kind, channel in self.PLACES if cleaned[name]
        ]
        if given:
            contacts = [(kind, value) for kind, value, _channel in given]
            channel = cleaned["channel"] or given[0][2]
        else:
            contacts = beside["contacts"]
            channel = cleaned["channel"] or beside["channel"]
        return {
            "given_name": cleaned["given_name"],
            "family_name": cleaned["family_name"],
            "language": cleaned["language"] or beside["language"],
            "channel": channel,
            "contacts": contacts,
        }


class LandlordForm(SomebodyForm):
    ROWS = (
        ("person",),
        ("given_name", "family_name"),
        ("email", "phone"),
        ("postal",),
        ("channel", "language"),
    )
    own_address = True


class AgentForm(SomebodyForm):
    """Somebody who acts for them."""

    letters = forms.BooleanField(label=_("They get the letters"), required=False)
    signs = forms.BooleanField(label=_("They sign"), required=False)
    authority = forms.CharField(
        label=_("By what right they sign"),
        max_length=200,
        required=False,
        help_text=_("E.g. a power of attorney and its day."),
    )
    ROWS = (*SomebodyForm.ROWS, ("letters",), ("signs", "authority"))

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean()
        named = cleaned.get("person") or cleaned.get("given_name")
        asked = cleaned.get("letters") or cleaned.get("signs") or cleaned.get("authority")
        if asked and not named and not self.errors:
            self.add_error("given_name", _("Say who acts for them."))
        if named and not (cleaned.get("letters") or cleaned.get("signs")):
            self.add_error("letters", _("Say what they do: get the letters, sign, or both."))
        if cleaned.get("signs") and not cleaned.get("authority"):
            self.add_error(
                "authority", _("Say by what right they sign, e.g. a power of attorney and its day.")
            )
        return cleaned
