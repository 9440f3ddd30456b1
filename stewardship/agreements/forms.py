from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from stewardship.agreements.choices import DocumentKind
from stewardship.agreements.models import Document, Party
from stewardship.agreements.scans import read_scan
from stewardship.common.errors import Refused

DAY = forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")


class SignForm(forms.Form):
    """A signature on paper: when, under what name, where the paper is, and the scanned page."""

    document = forms.ModelChoiceField(Document.objects.none(), widget=forms.HiddenInput)
    signed_on = forms.DateField(label=_("Day of the signature"), widget=DAY)
    typed_name = forms.CharField(
        label=_("Name as signed"), max_length=160, help_text=_("As it stands on the paper.")
    )
    original_kept_at = forms.CharField(
        label=_("Where the paper is"),
        max_length=200,
        help_text=_("So that somebody else finds it: “blue binder, office”."),
    )
    scan = forms.FileField(
        label=_("Scan or photo of the signed page"),
        required=False,
        help_text=_("PDF, PNG or JPEG, up to 25 MB. Not needed today; better soon."),
        widget=forms.ClearableFileInput(attrs={"accept": ".pdf,.png,.jpg,.jpeg"}),
    )
    same_scan = forms.ModelChoiceField(
        Document.objects.none(),
        label=_("Or a scan that is here already"),
        required=False,
        empty_label=_("none"),
    )

    def __init__(self, *args: Any, party: Party, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        documents = Document.objects.filter(agreement=party.agreement)
        self.fields["document"].queryset = documents.filter(kind=DocumentKind.TO_SIGN)
        scans = documents.filter(kind=DocumentKind.SIGNED)
        self.fields["same_scan"].queryset = scans
        if not scans.exists():
            del self.fields["same_scan"]
        self.initial.setdefault("typed_name", party.person.full_name)

    def clean_scan(self) -> bytes | None:
        """The bytes, once they are known to be a PDF, PNG or JPEG."""
        upload = self.cleaned_data["scan"]
        if not upload:
            return None
        content = upload.read()
        try:
            read_scan(content)
        except Refused as refusal:
            raise forms.ValidationError(str(refusal)) from refusal
        return content

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean()
        if cleaned.get("scan") and cleaned.get("same_scan"):
            self.add_error("same_scan", _("Choose a file or a scan that is here, not both."))
        return cleaned

    def facts(self) -> dict[str, Any]:
        """What `record_signature` takes."""
        cleaned = self.cleaned_data
        kept = cleaned.get("same_scan")
        upload = self.files.get(self.add_prefix("scan"))
        return {
            "document": cleaned["document"],
            "signed_on": cleaned["signed_on"],
            "typed_name": cleaned["typed_name"],
            "original_kept_at": cleaned["original_kept_at"],
            "scan": bytes(kept.content) if kept else cleaned.get("scan"),
            "scan_name": upload.name if upload else "",
        }
