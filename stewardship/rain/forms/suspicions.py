"""What a person says about readings that look odd."""

from django import forms
from django.utils.translation import gettext_lazy


class SetAsideForm(forms.Form):
    note = forms.CharField(
        label=gettext_lazy("How you know that it is right"),
        max_length=300,
        error_messages={
            "required": gettext_lazy("Say how you know, for whoever reads it next."),
        },
    )
