"""Forms about people's lives as far as the book must know: who died, who is not written to, who acts for whom, who cannot."""

from datetime import date
from typing import Any

from django import forms
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from people.choices import AgentScope, ContactRole, OrganisationKind, Silence
from people.models import Agency, OrganisationContact, Person
from sites.models import Site
from stewardship.agreements.choices import PauseEffect, ResponsibilityRole
from stewardship.agreements.models import Responsibility
from stewardship.front.forms import DAY


class PersonField(forms.ModelChoiceField):
    """Somebody in the book who may be written to."""

    def __init__(self, **kwargs: Any) -> None:
        people = Person.objects.known().filter(silent_since=None).select_related("household")
        super().__init__(queryset=people, **kwargs)

    def but(self, person: Person) -> None:
        self.queryset = self.queryset.exclude(pk=person.pk)

    def label_from_instance(self, obj: Person) -> str:
        return f"{obj} ({obj.household})" if obj.household else str(obj)


def _words(label: Any, *, rows: int = 2, required: bool = True, **kwargs: Any) -> forms.CharField:
    return forms.CharField(
        label=label, required=required, widget=forms.Textarea(attrs={"rows": rows}), **kwargs
    )


class DiedForm(forms.Form):
    on = forms.DateField(label=_("Died on"), widget=DAY)
    note = _words(
        _("How we know"),
        required=False,
        max_length=400,
        help_text=_("E.g. a neighbour called, an obituary. Only coordinators read it."),
    )


class SilenceForm(forms.Form):
    why = forms.ChoiceField(
        label=_("Why"),
        choices=[(one, one.label) for one in Silence if one is not Silence.DIED],
        widget=forms.RadioSelect,
    )
    on = forms.DateField(label=_("From"), widget=DAY)
    note = _words(
        _("What was said"),
        required=False,
        max_length=400,
        help_text=_("Only coordinators read it. Nothing about health."),
    )


class WriteAgainForm(forms.Form):
    why = forms.CharField(label=_("Why they are written to again"), max_length=400)


class EstateForm(forms.Form):
    contact = PersonField(label=_("Who answers for the estate"), empty_label=_("choose"))
    on = forms.DateField(label=_("From"), widget=DAY)


class AgentForm(forms.Form):
    """Who handles somebody's letters, or signs for them."""

    scope = forms.ChoiceField(label=_("What for"), choices=AgentScope, widget=forms.RadioSelect)
    agent = PersonField(label=_("Who"), empty_label=_("choose"))
    authority = forms.CharField(
        label=_("By what right"),
        max_length=200,
        required=False,
        help_text=_("E.g. a power of attorney and its day. Needed to sign."),
    )
    starts_on = forms.DateField(label=_("From"), widget=DAY)
    ends_on = forms.DateField(
        label=_("First day on which it holds no more"),
        widget=DAY,
        required=False,
        help_text=_("Empty: until ended."),
    )

    def __init__(self, *args: Any, principal: Person, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["agent"].but(principal)


class PauseForm(forms.Form):
    """Somebody cannot care for their site for a time."""

    site = forms.ModelChoiceField(label=_("Where"), queryset=Site.objects.none(), empty_label=None)
    starts_on = forms.DateField(label=_("From"), widget=DAY)
    ends_on = forms.DateField(
        label=_("First day on which they can again"),
        widget=DAY,
        required=False,
        help_text=_("Empty: not known yet."),
    )
    effect = forms.ChoiceField(
        label=_("The duty meanwhile"),
        choices=PauseEffect,
        widget=forms.RadioSelect,
        initial=PauseEffect.OWED,
        help_text=_("Excused: looks after rain and by calendar are not asked for."),
    )
    cover = PersonField(
        label=_("Who covers"),
        required=False,
        empty_label=_("nobody; it comes to your list"),
        help_text=_("Gets the letters meanwhile. Ask them first."),
    )
    why = forms.CharField(
        label=_("Why"),
        max_length=200,
        required=False,
        help_text=_("Private: it stands in no letter, report or export. Nothing about health."),
    )

    def __init__(self, *args: Any, person: Person, on: date, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["site"].queryset = sites_of(person, on=on)
        self.fields["cover"].but(person)


def sites_of(person: Person, *, on: date):
    """Sites where somebody does the work on that day or later, in their own right or for an organisation."""
    held = Responsibility.objects.filter(role=ResponsibilityRole.DOES).filter(
        Q(ends_on=None) | Q(ends_on__gt=on)
    )
    speaks = OrganisationContact.objects.on(on).filter(person=person).values("organisation")
    mine = held.filter(Q(person=person) | Q(organisation__in=speaks))
    return Site.objects.filter(pk__in=mine.values("site")).order_by("code")


class DisputeForm(forms.Form):
    person = PersonField(
        label=_("Who says so"), required=False, empty_label=_("somebody who is not in the book")
    )
    claim = _words(_("What they say"), rows=4, max_length=4000)
    answer = _words(_("What we say"), rows=4, required=False, max_length=4000)
    on = forms.DateField(label=_("Since"), widget=DAY)

    def __init__(self, *args: Any, site: Site, on: date, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        here = Responsibility.objects.as_of(on).filter(site=site).values("person")
        people = self.fields["person"].queryset
        # Those of the site stand first.
        own = [(one.pk, str(one)) for one in people.filter(pk__in=here)]
        rest = [(one.pk, str(one)) for one in people.exclude(pk__in=here)]
        self.fields["person"].choices = [
            ("", self.fields["person"].empty_label),
            (_("Of this site"), own),
            (_("Others"), rest),
        ]


class AnswerDisputeForm(forms.Form):
    answer = _words(_("What we say"), rows=4, max_length=4000)


class SettleForm(forms.Form):
    on = forms.DateField(label=_("Settled on"), widget=DAY)
    outcome = forms.CharField(label=_("How it was settled"), max_length=400)


class OrganisationForm(forms.Form):
    name = forms.CharField(label=_("Name"), max_length=160)
    kind = forms.ChoiceField(label=_("Kind"), choices=OrganisationKind)
    postal_address = _words(
        _("Postal address"), rows=3, required=False, help_text=_("As on an envelope.")
    )


class ContactForm(forms.Form):
    """Who answers for an organisation, and for what."""

    person = PersonField(label=_("Who"), empty_label=_("choose"))
    role = forms.ChoiceField(label=_("For what"), choices=ContactRole)
    starts_on = forms.DateField(label=_("From"), widget=DAY)


class OfficeForm(forms.Form):
    """An agency's office became another."""

    office = forms.ChoiceField(label=_("Office as it was"))
    on = forms.DateField(label=_("On"), widget=DAY, help_text=_("The first day of the new one."))
    new_agency = forms.ModelChoiceField(
        label=_("Agency now"), queryset=Agency.objects.all(), empty_label=None
    )
    new_office = forms.CharField(label=_("Office now"), max_length=120)
    leaving = forms.ModelMultipleChoiceField(
        label=_("Who does not go along"),
        queryset=Person.objects.none(),
        required=False,
        widget=forms.CheckboxSelectMultiple,
        help_text=_("They get no more letters about the agency’s basins."),
    )
    takes_sites = forms.BooleanField(
        label=_("The agency’s sites and duties go along"),
        required=False,
        help_text=_(
            "For another agency: its reviewers see them from then on; who signed stays who signed."
        ),
    )
    why = forms.CharField(label=_("Why"), max_length=200, required=False)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        people = (
            Person.objects.known()
            .exclude(agency=None)
            .exclude(agency_office="")
            .select_related("agency")
            .order_by("agency__name", "agency_office", "family_name", "given_name")
        )
        self.offices = list(
            dict.fromkeys((person.agency, person.agency_office) for person in people)
        )
        self.fields["office"].choices = [
            (str(n), f"{office}, {agency}") for n, (agency, office) in enumerate(self.offices)
        ]
        self.fields["leaving"].queryset = people
        self.fields["leaving"].label_from_instance = lambda one: (
            f"{one} ({one.agency_office}, {one.agency})"
        )

    def clean_office(self) -> tuple[Agency, str]:
        return self.offices[int(self.cleaned_data["office"])]

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean()
        if "office" in cleaned and "leaving" in cleaned:
            agency, office = cleaned["office"]
            strangers = [
                str(one)
                for one in cleaned["leaving"]
                if (one.agency, one.agency_office) != (agency, office)
            ]
            if strangers:
                self.add_error("leaving", _("Not of that office: %s.") % ", ".join(strangers))
        return cleaned

    def facts(self) -> dict[str, Any]:
        """What `change_office` takes."""
        cleaned = dict(self.cleaned_data)
        cleaned["agency"], cleaned["office"] = cleaned["office"]
        return cleaned
