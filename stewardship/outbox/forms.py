from django import forms
from django.utils.translation import gettext_lazy as _


class SuppressForm(forms.Form):
    why = forms.CharField(
        label=_("Why not"),
        max_length=200,
        help_text=_("Kept with the message, e.g. “told in person”."),
    )
