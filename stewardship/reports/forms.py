from datetime import date
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from people.choices import Language
from people.models import Agency

DAY = forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")


class ReportForm(forms.Form):
    """Which period and which sites a report is about. Reporting years differ by permit, so both days are asked for."""

    starts_on = forms.DateField(label=_("From"), widget=DAY)
    ends_on = forms.DateField(
        label=_("To"), widget=DAY, help_text=_("A year at most; your permit says which.")
    )
    agency = forms.ModelChoiceField(
        label=_("Sites of"),
        queryset=Agency.objects.all(),
        required=False,
        empty_label=_("the whole program"),
    )
    language = forms.ChoiceField(label=_("Language"), choices=Language)

    def __init__(self, *args: Any, today: date, **kwargs: Any) -> None:
        last_year = today.year - 1
        kwargs["initial"] = {
            "starts_on": date(last_year, 1, 1),
            "ends_on": date(last_year, 12, 31),
            "language": Language.EN,
        } | (kwargs.get("initial") or {})
        super().__init__(*args, **kwargs)


class AsOfForm(forms.Form):
    """A day to look back at."""

    on = forms.DateField(label=_("Who was responsible on"), widget=DAY, required=False)
