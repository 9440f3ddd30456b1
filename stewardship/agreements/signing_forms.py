"""Forms around signing: on a screen, declining, how long an offer stands, a link that was lost."""

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from people.choices import AgentScope
from people.models import Agent, Person
from stewardship.agreements.consent import Consent
from stewardship.agreements.forms import DAY
from stewardship.agreements.models import Document, Party


class ScreenForm(forms.Form):
    """A signature on a screen. It carries which document and which words of consent were shown."""

    shown_document = forms.CharField(widget=forms.HiddenInput)
    shown_consent = forms.CharField(widget=forms.HiddenInput)
    agree = forms.BooleanField(
        error_messages={"required": _("Tick this first, or ask to sign on paper.")}
    )
    typed_name = forms.CharField(
        label=_("Your name"),
        max_length=160,
        error_messages={"required": _("Type your name: that is your signature.")},
        widget=forms.TextInput(attrs={"autocomplete": "off", "autocapitalize": "words"}),
    )

    def __init__(
        self, *args: Any, document: Document, consent: Consent, signer: Person, **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        self.document, self.consent = document, consent
        self.fields["agree"].label = consent.tick
        self.fields["typed_name"].help_text = _("As the agreement names you: %s.") % signer
        self.initial |= {"shown_document": document.sha256, "shown_consent": consent.mark}

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean()
        if (
            cleaned.get("shown_document") != self.document.sha256
            or cleaned.get("shown_consent") != self.consent.mark
        ):
            # What is bound to the signature is what this page shows now, so the reader starts over with that.
            self.data = self.data.copy()
            self.data["shown_document"] = self.document.sha256
            self.data["shown_consent"] = self.consent.mark
            self.data.pop("agree", None)
            raise forms.ValidationError(
                _("What is to be signed has changed since this page was opened. Read it once more.")
            )
        return cleaned


class DeclineForm(forms.Form):
    why = forms.CharField(
        label=_("Why"),
        max_length=200,
        required=False,
        help_text=_("In a few words, so that it can be put right."),
    )


class DeclinedForm(DeclineForm):
    """The same, written down by a coordinator."""

    on = forms.DateField(label=_("Day"), widget=DAY)
    field_order = ["on", "why"]


class StandForm(forms.Form):
    until = forms.DateField(
        label=_("The offer stands until"),
        widget=DAY,
        required=False,
        help_text=_("The last day on which it can be signed. Empty: no limit."),
    )


class AgentForm(forms.Form):
    agent = forms.ModelChoiceField(
        Person.objects.none(),
        label=_("Who signs"),
        required=False,
        empty_label=_("they themselves"),
    )

    def __init__(self, *args: Any, party: Party, on: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.agents = list(
            Agent.objects.on(on)
            .filter(principal=party.person_id, scope=AgentScope.SIGNS)
            .select_related("agent")
        )
        field = self.fields["agent"]
        field.queryset = Person.objects.filter(pk__in=[one.agent_id for one in self.agents])
        rights = {one.agent_id: one.authority for one in self.agents}
        field.label_from_instance = lambda person: f"{person} ({rights[person.pk]})"
        self.initial.setdefault("agent", party.signs_by_id)


class LostLinkForm(forms.Form):
    email = forms.EmailField(
        label=_("Your e-mail address"),
        max_length=300,
        widget=forms.EmailInput(attrs={"autocomplete": "email"}),
    )
