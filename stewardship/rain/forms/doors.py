"""Ways in for a gauge's readings, as a coordinator makes them."""

from django import forms
from django.utils.translation import gettext_lazy as _

from people.models import Person
from stewardship.rain.models import Gauge


class TokenForm(forms.Form):
    label = forms.CharField(
        label=_("For which machine"),
        max_length=80,
        help_text=_("As you would call it: “logger on the school’s roof”."),
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
    )


class ReaderLinkForm(forms.Form):
    """One button at each reader."""

    person = forms.ModelChoiceField(queryset=Person.objects.none(), widget=forms.HiddenInput)

    def __init__(self, *args, gauge: Gauge, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        self.fields["person"].queryset = gauge.readers.all()
