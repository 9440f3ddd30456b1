"""Late news: rain to decide about, rain that somebody declares, water that ran."""

from collections.abc import Iterable
from datetime import date
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from sites.models import Site
from stewardship.care import rules
from stewardship.care.choices import FlowKind
from stewardship.care.forms.work import DayField
from stewardship.care.models import RainQuestion
from stewardship.common import units as u
from stewardship.common.measures import MeasureField, use_units


class PickForm(forms.Form):
    """Which questions of one group, or all that were shown, and a note for the record."""

    all = forms.BooleanField(required=False)
    seen = forms.CharField(widget=forms.HiddenInput(), required=False)
    pick = forms.MultipleChoiceField(
        label=_("Sites"), widget=forms.CheckboxSelectMultiple(), required=False
    )
    note = forms.CharField(label=_("Note"), required=False, max_length=300)

    def __init__(self, *args: Any, questions: Iterable[RainQuestion], **kwargs: Any) -> None:
        questions = list(questions)
        seen = " ".join(str(question.pk) for question in questions)
        super().__init__(*args, initial={"seen": seen}, **kwargs)
        self.fields["all"].label = _("All of them (%s)") % len(questions)
        self.fields["pick"].choices = [(str(one.pk), one.site.code) for one in questions]

    def boxes(self) -> dict[str, Any]:
        """For the page: the box of each question, by its number."""
        return {str(box.data["value"]): box for box in self["pick"]}

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean()
        if not cleaned.get("pick") and not cleaned.get("all") and "pick" not in self.errors:
            self.add_error("pick", _("Tick the sites that you decide about."))
        return cleaned

    @property
    def pks(self) -> list[int]:
        """Those ticked; for all: those that stood on the page, not what has come since."""
        known = {value for value, _label in self.fields["pick"].choices}
        seen = self.cleaned_data["seen"].split() if self.cleaned_data["all"] else []
        return [int(pk) for pk in {*seen, *self.cleaned_data["pick"]} if pk in known]


class LateNewsForm(forms.Form):
    """What acts by itself, from today on."""

    acts_alone_days = forms.IntegerField(
        label=_("Rain asks for a look by itself for so many days after it ended"),
        min_value=0,
        max_value=rules.ASKS_DAYS,
        help_text=_("Older rain waits here for you."),
    )
    reports_act = forms.BooleanField(
        label=_("A resident’s word that water ran asks for a look by itself"), required=False
    )


class SitesField(forms.ModelMultipleChoiceField):
    widget = forms.CheckboxSelectMultiple

    def label_from_instance(self, site: Site) -> str:
        return f"{site.code}, {site.address}"


class DeclareForm(forms.Form):
    """What a storm was at some sites, and how somebody knows."""

    depth = MeasureField(
        "rain",
        label=_("How much rain"),
        min_value=0,
        max_value=80,
        decimal_places=2,
        help_text=_("0 where it stayed dry."),
    )
    reason = forms.CharField(
        label=_("How do you know?"),
        max_length=300,
        help_text=_("It stands beside the rain, with your name, and in letters about it."),
    )
    sites = SitesField(
        label=_("Where"),
        queryset=Site.objects.none(),
        error_messages={"required": _("Tick at least one site.")},
    )

    def __init__(self, *args: Any, sites: Any, units: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["sites"].queryset = sites
        use_units(self, units)

    @property
    def depth_um(self) -> int:
        return u.mm_to_um(self.cleaned_data["depth"])

    @property
    def typed(self) -> str:
        return f"{self.data['depth'].strip()} {self.fields['depth'].unit.sign}"[:16]


class RanForm(forms.Form):
    """That water ran: for a resident's page."""

    ran_on = DayField(label=_("Which day?"))
    ran_at = forms.TimeField(
        label=_("About what time?"),
        required=False,
        widget=forms.TimeInput(attrs={"type": "time"}),
    )
    kind = forms.ChoiceField(label=_("What was it?"), choices=FlowKind, initial=FlowKind.RAIN)
    note = forms.CharField(
        label=_("Anything we should know?"),
        required=False,
        max_length=300,
        widget=forms.Textarea(attrs={"rows": 2}),
    )

    def __init__(self, *args: Any, today: date, **kwargs: Any) -> None:
        kwargs.setdefault("initial", {}).setdefault("ran_on", today)
        super().__init__(*args, **kwargs)
        self.fields["ran_on"].until(today)


class WriteRanForm(RanForm):
    """For the coordinator: for several sites at once, and who says so."""

    told_by = forms.CharField(
        label=_("Who says so?"),
        required=False,
        max_length=120,
        help_text=_("A neighbour’s name, say. Empty: you do."),
    )
    sites = SitesField(
        label=_("Where"),
        queryset=Site.objects.none(),
        error_messages={"required": _("Tick at least one site.")},
    )

    def __init__(self, *args: Any, sites: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["sites"].queryset = sites
        self.fields["note"].help_text = _("Stands in the letters, unless somebody else says so.")


class FlowWhyForm(forms.Form):
    why = forms.CharField(
        label=_("Why?"),
        max_length=300,
        required=False,
        help_text=_("Needed when you set it aside."),
    )
