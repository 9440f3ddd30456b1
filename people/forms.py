"""The form for a person, with all their addresses on one page."""

import re
from collections.abc import Collection
from typing import Any

from django import forms
from django.core.exceptions import NON_FIELD_ERRORS
from django.utils.translation import gettext_lazy as _

from people import services
from people.alike import AlikePerson, households_alike, people_alike
from people.choices import AskedBy, Channel, ContactKind
from people.models import Household, Person
from stewardship.common.errors import Refused


class HouseholdMixin(forms.Form):
    """An existing household, or a new one by name and address."""

    household = forms.ModelChoiceField(
        label=_("Household"),
        queryset=Household.objects.known(),
        required=False,
        empty_label=_("none, or a new one"),
    )
    household_name = forms.CharField(
        label=_("New household"),
        max_length=120,
        required=False,
        help_text=_("As you would say it: “Quist and Amaro”."),
    )
    household_address = forms.CharField(
        label=_("Address of the new household"),
        max_length=200,
        required=False,
        widget=forms.TextInput(attrs={"data-alike-as": "address"}),
    )

    def clean_households(self, cleaned: dict[str, Any]) -> None:
        name, address = cleaned.get("household_name"), cleaned.get("household_address")
        if cleaned.get("household") and name:
            self.add_error("household_name", _("Choose a household or name a new one, not both."))
        elif name and not address:
            self.add_error("household_address", _("Say where the new household lives."))
        elif address and not name:
            self.add_error("household_name", _("Give the new household a name."))

    def chosen_household(self) -> Household | None:
        """The household that was chosen, or the new one, saved."""
        cleaned = self.cleaned_data
        if cleaned.get("household_name"):
            return services.household_at(
                name=cleaned["household_name"], address=cleaned["household_address"]
            )
        return cleaned.get("household")


class ContactsMixin(forms.Form):
    """How somebody wants to hear from us, and where; each kind of address can be given more than once."""

    channel = forms.ChoiceField(
        label=_("How they want to hear from us"),
        choices=Channel,
        widget=forms.RadioSelect,
        initial=Channel.EMAIL,
    )
    emails = forms.CharField(
        label=_("E-mail addresses"),
        required=False,
        widget=forms.Textarea(
            attrs={
                "rows": 2,
                "autocomplete": "off",
                "inputmode": "email",
                "data-alike-as": "contact",
            }
        ),
        help_text=_("One a line. A shared one may be given for several people."),
    )
    phones = forms.CharField(
        label=_("Phone numbers"),
        required=False,
        widget=forms.Textarea(
            attrs={
                "rows": 2,
                "autocomplete": "off",
                "inputmode": "tel",
                "data-alike-as": "contact",
            }
        ),
        help_text=_("One a line."),
    )
    postal = forms.CharField(
        label=_("Postal addresses"),
        required=False,
        widget=forms.Textarea(attrs={"rows": 4, "autocomplete": "off", "data-alike-as": "postal"}),
        help_text=_("As on an envelope. Leave an empty line between two addresses."),
    )
    #: which field holds which kind of address
    PLACES = {
        "emails": ContactKind.EMAIL,
        "phones": ContactKind.PHONE,
        "postal": ContactKind.POSTAL,
    }

    def _values(self, name: str) -> list[str]:
        text = self.cleaned_data.get(name, "").replace("\r\n", "\n")
        pieces = re.split(r"\n\s*\n", text) if name == "postal" else text.splitlines()
        return [piece.strip() for piece in pieces if piece.strip()]

    def contacts(self) -> list[tuple[str, str]]:
        """(kind, value) of every address that was typed."""
        return [
            (str(kind), value)
            for name, kind in self.PLACES.items()
            if name in self.fields
            for value in self._values(name)
        ]

    def clean_contacts(self, cleaned: dict[str, Any]) -> None:
        for name, kind in self.PLACES.items():
            for value in self._values(name):
                try:
                    services.check_contact(kind, value)
                except Refused as refusal:
                    self.add_error(name, str(refusal))
        channel = cleaned.get("channel")
        needed = services.NEEDS.get(channel)
        for name, kind in self.PLACES.items():
            if kind == needed and name not in self.errors and not self._values(name):
                self.add_error(name, services.unreachable_words(channel))

    @classmethod
    def initial_of(cls, person: Person) -> dict[str, Any]:
        """What the fields show for a person: the addresses that still reach them."""
        alive = [p for p in person.contact_points.order_by("pk") if not p.dead_since]
        initial: dict[str, Any] = {"channel": person.channel}
        for name, kind in cls.PLACES.items():
            gap = "\n\n" if name == "postal" else "\n"
            initial[name] = gap.join(p.value for p in alive if p.kind == kind)
        return initial


class AlikeMixin(forms.Form):
    """Asks once when somebody alike is in the book already; a tick saves all the same."""

    someone_else = forms.BooleanField(
        label=_("It is somebody else"), required=False, widget=forms.HiddenInput
    )
    #: people who are known to be others, such as a spouse who signs too
    apart: Collection[Person] = ()

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name, part in (("given_name", "given"), ("family_name", "family")):
            self.fields[name].widget.attrs["data-alike-as"] = part

    def ask_if_alike(self, but: Person | None = None) -> None:
        cleaned = self.cleaned_data
        if self.errors or cleaned.get("someone_else"):
            return
        found = people_alike(
            given_name=cleaned["given_name"],
            family_name=cleaned.get("family_name", ""),
            contacts=self.contacts(),
            but=but,
        )
        found = [one for one in found if one.person not in self.apart]
        words = [self.words_for(one) for one in found] + self._households_alike()
        if words:
            self.fields["someone_else"].widget = forms.CheckboxInput()
            names = "; ".join(words)
            self.add_error(
                "someone_else",
                _("Perhaps in the book already: %s. Tick this if it is somebody else.") % names,
            )

    def _households_alike(self) -> list[str]:
        """Households at the address of a new one, but the very same, which is simply taken."""
        name, address = (
            self.cleaned_data.get(f"household_{part}", "") for part in ("name", "address")
        )
        found = households_alike(address=address) if name else []
        return [
            f"{one.household} ({one.words[0]})"
            for one in found
            if (one.household.name, one.household.address) != (name, address)
        ]

    def words_for(self, one: AlikePerson) -> str:
        """Who, where they live, and why they may be meant."""
        who = f"{one.person}, {one.person.household}" if one.person.household else one.person
        return f"{who} ({', '.join(str(word) for word in one.words)})"


class PersonForm(HouseholdMixin, ContactsMixin, AlikeMixin, forms.ModelForm):
    """Everything that is written down about a person. One name is enough."""

    field_order = [
        "given_name",
        "family_name",
        "channel",
        "emails",
        "phones",
        "postal",
        "language",
        "household",
        "household_name",
        "household_address",
        "agency",
        "agency_office",
        "note",
        "someone_else",
    ]

    class Meta:
        model = Person
        fields = ["given_name", "family_name", "language", "agency", "agency_office", "note"]
        labels = {"given_name": _("Name"), "family_name": _("Family name")}
        help_texts = {
            "given_name": _("One name is enough."),
            "agency": _("For somebody who works there."),
            "note": _("Nothing about health. They may ask to read it."),
        }
        widgets = {"note": forms.Textarea(attrs={"rows": 3})}

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["agency"].empty_label = _("none")
        self.before = self.instance.pk and Person.objects.get(pk=self.instance.pk)
        if self.before:
            self.initial |= self.initial_of(self.before) | {"household": self.before.household_id}

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean()
        self.clean_contacts(cleaned)
        self.clean_households(cleaned)
        self.ask_if_alike(but=self.before or None)
        return cleaned

    def facts(self) -> dict[str, Any]:
        """What the services take, contacts among it."""
        names = [*self.Meta.fields, "channel"]
        return {name: self.cleaned_data[name] for name in names} | {
            "household": self.chosen_household(),
            "contacts": self.contacts(),
        }


class HouseholdForm(forms.ModelForm):
    """What people who live at one address are called together."""

    class Meta:
        model = Household
        fields = ["name", "address", "one_letter"]
        error_messages = {
            NON_FIELD_ERRORS: {
                "unique_together": _(
                    "There is a household of that name at that address already; say that the two are one."
                )
            }
        }
        widgets = {"address": forms.TextInput(attrs={"data-alike-as": "address"})}


class EraseForm(forms.Form):
    """Who asked for somebody's data to be erased, and when."""

    asked_by = forms.ChoiceField(
        label=_("Who asked for it"), choices=AskedBy, widget=forms.RadioSelect
    )
    asked_on = forms.DateField(
        label=_("On"), widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")
    )
    law_allows = forms.BooleanField(label=_("We looked at their records law: it allows this"))
    sure = forms.BooleanField(label=_("I have read what is erased and what is kept"))

    def __init__(self, *args: Any, public_body: bool, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if not public_body:
            del self.fields["law_allows"]

    def facts(self) -> dict[str, Any]:
        """What the service takes."""
        return {name: value for name, value in self.cleaned_data.items() if name != "sure"}


class ExternalIdForm(forms.Form):
    """What somebody else's list calls a person."""

    kept_by = forms.CharField(
        label=_("Whose list"),
        max_length=80,
        help_text=_("E.g. the assessor, or an agency’s inventory."),
    )
    value = forms.CharField(label=_("What they are called there"), max_length=80)
