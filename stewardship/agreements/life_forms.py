"""Forms for what happens to an agreement after it was signed, and for its terms before."""

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from people.models import Person
from sites.models import Site
from stewardship.agreements.choices import Capacity, NoticeWay, RequirementKind, Sharing
from stewardship.agreements.forms import DAY
from stewardship.agreements.instruments import INSTRUMENTS
from stewardship.agreements.models import Agreement, Requirement
from stewardship.agreements.scans import read_scan
from stewardship.common.errors import Refused

WHERE_PEOPLE_ARE = _("Write them down under People first.")


class SitesForm(forms.Form):
    """What is done may be about some of the sites only, where there are several."""

    sites = forms.ModelMultipleChoiceField(
        Site.objects.none(),
        label=_("At which sites"),
        widget=forms.CheckboxSelectMultiple,
    )

    def __init__(self, *args: Any, agreement: Agreement, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.agreement = agreement
        sites = agreement.sites.order_by("code")
        self.fields["sites"].queryset = sites
        self.fields["sites"].initial = sites
        if len(sites) < 2:
            del self.fields["sites"]

    def chosen_sites(self) -> list[Site] | None:
        """None: all of them."""
        chosen = self.cleaned_data.get("sites")
        return None if chosen is None else list(chosen)


class EndForm(SitesForm):
    on = forms.DateField(label=_("From which day it binds nobody any more"), widget=DAY)
    why = forms.CharField(label=_("Why"), max_length=200)
    released = forms.CharField(
        label=_("What they are released from, if that was settled"),
        max_length=300,
        required=False,
        help_text=_("E.g. “all care of both basins; the plants stay”."),
    )

    field_order = ["on", "why", "sites", "released"]

    def __init__(self, *args: Any, agreement: Agreement, in_force: bool, **kwargs: Any) -> None:
        super().__init__(*args, agreement=agreement, **kwargs)
        if not in_force:
            self.fields["on"].label = _("Withdrawn on")
            for name in ("sites", "released"):
                self.fields.pop(name, None)


class SaleForm(SitesForm):
    sold_on = forms.DateField(label=_("Day of the sale"), widget=DAY)
    buyer = forms.ModelChoiceField(
        Person.objects.known(),
        label=_("New owner"),
        required=False,
        empty_label=_("not known yet"),
        help_text=WHERE_PEOPLE_ARE,
    )
    proven = forms.BooleanField(
        label=_("The transfer is proven: deed or closing statement seen"), required=False
    )
    draft_next = forms.BooleanField(
        label=_("Draft the next agreement with the new owner"), required=False, initial=True
    )

    field_order = ["sold_on", "buyer", "sites", "proven", "draft_next"]

    def __init__(self, *args: Any, agreement: Agreement, **kwargs: Any) -> None:
        super().__init__(*args, agreement=agreement, **kwargs)
        if not agreement.seller_owes_until_proof:
            del self.fields["proven"]
        if INSTRUMENTS[agreement.instrument].binds_successors:
            del self.fields["draft_next"]


class NewOwnerForm(forms.Form):
    """The buyer of a sale that carried over has become known."""

    on = forms.DateField(label=_("Responsible from"), widget=DAY)
    buyer = forms.ModelChoiceField(
        Person.objects.known(), label=_("New owner"), help_text=WHERE_PEOPLE_ARE
    )


class TenantOutForm(forms.Form):
    on = forms.DateField(label=_("Day on which they moved out"), widget=DAY)
    owner_does = forms.TypedChoiceField(
        label=_("Who does the work from then on"),
        coerce=lambda value: value == "owner",
        choices=[("owner", _("the owner")), ("nobody", _("nobody for now"))],
        initial="owner",
        widget=forms.RadioSelect,
    )
    tenant = forms.ModelChoiceField(
        Person.objects.known(),
        label=_("New tenant"),
        required=False,
        empty_label=_("none, or not known yet"),
        help_text=_("The next agreement is drafted with them. Write them down under People first."),
    )


class ConsentForm(forms.Form):
    on = forms.DateField(label=_("From which day"), widget=DAY)
    why = forms.CharField(label=_("What they say"), max_length=160)


class RequirementForm(forms.Form):
    kind = forms.ChoiceField(label=_("What is needed"), choices=RequirementKind)
    words = forms.CharField(
        label=_("In words"),
        max_length=200,
        required=False,
        help_text=_("Needed for something else; helps with the rest: “for the back fence”."),
    )
    due_on = forms.DateField(label=_("Needed by"), widget=DAY, required=False)


class MetForm(forms.Form):
    """A paper is there, or there anew."""

    on = forms.DateField(label=_("There since"), widget=DAY)
    number = forms.CharField(label=_("Number"), max_length=80, required=False)
    valid_until = forms.DateField(
        label=_("Valid until"), widget=DAY, required=False, help_text=_("The last day.")
    )
    paper = forms.FileField(
        label=_("Scan or photo of it"),
        required=False,
        help_text=_("PDF, PNG or JPEG, up to 25 MB."),
        widget=forms.ClearableFileInput(attrs={"accept": ".pdf,.png,.jpg,.jpeg"}),
    )

    def __init__(self, *args: Any, requirement: Requirement, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        kind = requirement.kind
        self.fields["number"].required = kind == RequirementKind.RECORDING
        self.fields["valid_until"].required = kind == RequirementKind.INSURANCE
        if kind in (RequirementKind.RECORDING, RequirementKind.TRANSFER):
            del self.fields["valid_until"]

    def clean_paper(self) -> bytes | None:
        """The bytes, once they are known to be a PDF, PNG or JPEG."""
        upload = self.cleaned_data["paper"]
        if not upload:
            return None
        content = upload.read()
        try:
            read_scan(content)
        except Refused as refusal:
            raise forms.ValidationError(str(refusal)) from refusal
        return content

    def facts(self) -> dict[str, Any]:
        """What `meet_requirement` takes."""
        upload = self.files.get("paper")
        return self.cleaned_data | {"paper_name": upload.name if upload else ""}


class DropForm(forms.Form):
    why = forms.CharField(label=_("Why it is not needed after all"), max_length=200)


class TermsForm(forms.Form):
    """What is settled in a draft besides parties and sites. One field for the part of each who may do the work."""

    cure_days = forms.IntegerField(
        label=_("Days to put a fault right"), min_value=0, max_value=365, required=False
    )
    notices_by = forms.ChoiceField(
        label=_("How notices are given"),
        choices=[("", _("as usual for the instrument")), *NoticeWay.choices],
        required=False,
    )
    seller_owes_until_proof = forms.BooleanField(
        label=_("On a sale, the seller owes until the transfer is proven"), required=False
    )
    sharing = forms.ChoiceField(
        label=_("Where several people promise"), choices=Sharing, widget=forms.RadioSelect
    )

    TERMS = ("cure_days", "notices_by", "seller_owes_until_proof", "sharing")
    #: Capacities whose people may do the work, and so may have a part.
    DOING = (Capacity.OWNER, Capacity.LANDLORD, Capacity.TENANT, Capacity.AGENCY_OFFICER)

    def __init__(self, *args: Any, agreement: Agreement, **kwargs: Any) -> None:
        initial = {name: getattr(agreement, name) for name in self.TERMS}
        super().__init__(*args, initial=initial, **kwargs)
        rules = INSTRUMENTS[agreement.instrument]
        self.fields["cure_days"].help_text = _("Empty: as usual, %d.") % rules.cure_days
        if rules.on_sale == "untouched":
            del self.fields["seller_owes_until_proof"]
        self.parties = [p for p in agreement.parties.all() if p.capacity in self.DOING]
        for party in self.parties:
            self.fields[f"part_{party.pk}"] = forms.CharField(
                label=_("Part of %s") % party.person,
                max_length=160,
                required=False,
                initial=party.part,
                help_text=_("Where each cares for a part: “the strip on Yucca Lane”."),
            )

    def terms(self) -> dict[str, Any]:
        return {name: self.cleaned_data[name] for name in self.TERMS if name in self.cleaned_data}

    def parts(self) -> dict:
        return {party: self.cleaned_data[f"part_{party.pk}"] for party in self.parties}


class AsBuiltForm(forms.Form):
    on = forms.DateField(label=_("As it stood on"), widget=DAY)
    what = forms.CharField(
        label=_("What is different from the drawing"),
        max_length=300,
        help_text=_("E.g. “one inlet instead of two, the basin 2 ft longer”."),
    )


class AcknowledgeForm(forms.Form):
    on = forms.DateField(label=_("Day"), widget=DAY)
    how = forms.CharField(
        label=_("How"), max_length=200, help_text=_("E.g. “shown at the basin, nodded”.")
    )
