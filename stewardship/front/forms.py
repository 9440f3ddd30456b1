from django import forms
from django.utils.translation import gettext_lazy as _

DAY = forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")


class AsOfForm(forms.Form):
    """A day to look back at."""

    on = forms.DateField(label=_("Who was responsible on"), widget=DAY, required=False)


class BuiltForm(forms.Form):
    """The day on which the works were accepted."""

    on = forms.DateField(label=_("Works accepted on"), widget=DAY)
