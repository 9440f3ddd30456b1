"""Rows beside a site's own facts: the parcels it lies along, and what other lists call it."""

from collections.abc import Callable
from typing import Any

from django import forms
from django.db import transaction
from django.http import QueryDict
from django.utils.translation import gettext_lazy as _

from people.models import User
from sites.models import Basin, Site
from sites.ties import Along, Elsewhere, known_lists, set_external_ids, set_parcels
from stewardship.common.errors import Refused

#: Empty rows that stand ready.
SPARE = 2


class ParcelForm(forms.Form):
    number = forms.CharField(label=_("Parcel number"), max_length=60, required=False)
    county = forms.CharField(label=_("County"), max_length=80, required=False)
    share_percent = forms.IntegerField(
        label=_("Share of the frontage (%)"), min_value=1, max_value=100, required=False
    )

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean()
        if (cleaned.get("county") or cleaned.get("share_percent")) and not cleaned.get("number"):
            self.add_error("number", _("Give the parcel’s number, or leave the row empty."))
        return cleaned


class ElsewhereForm(forms.Form):
    kept_by = forms.CharField(
        label=_("Whose list"),
        max_length=80,
        required=False,
        widget=forms.TextInput(attrs={"list": "known-lists", "autocomplete": "off"}),
    )
    value = forms.CharField(label=_("What it is called there"), max_length=80, required=False)
    basin = forms.ModelChoiceField(
        Basin.objects.none(), label=_("Basin"), required=False, empty_label=_("the whole site")
    )

    def __init__(self, *args: Any, site: Site | None, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        basins = site.basins.select_related("site") if site else Basin.objects.none()
        if basins.exists():
            self.fields["basin"].queryset = basins
        else:
            del self.fields["basin"]

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean()
        for name, other in (("kept_by", "value"), ("value", "kept_by")):
            if cleaned.get(other) and not cleaned.get(name) and name not in self.errors:
                self.add_error(name, _("The list and the name there go together."))
        return cleaned


class SiteTies:
    """Both kinds of rows of one site, as a form of a page: `is_valid`, `save`, and rows to show."""

    def __init__(self, data: QueryDict | None, site: Site | None) -> None:
        # a form sent without these rows leaves them as they are
        data = data if data is not None and "parcel-TOTAL_FORMS" in data else None
        along = site.along.select_related("parcel") if site else []
        named = site.external_ids.all() if site else []
        self.parcels = forms.formset_factory(ParcelForm, extra=SPARE)(
            data,
            prefix="parcel",
            initial=[
                {
                    "number": tie.parcel.number,
                    "county": tie.parcel.county,
                    "share_percent": tie.share_percent,
                }
                for tie in along
            ],
        )
        self.elsewhere = forms.formset_factory(ElsewhereForm, extra=SPARE)(
            data,
            prefix="elsewhere",
            form_kwargs={"site": site},
            initial=[
                {"kept_by": one.kept_by, "value": one.value, "basin": one.basin_id} for one in named
            ],
        )
        self.sent = data is not None

    @property
    def known_lists(self) -> list[str]:
        return known_lists()

    @property
    def parcels_open(self) -> bool:
        return bool(self.parcels.total_error_count() or self.parcels.initial)

    @property
    def elsewhere_open(self) -> bool:
        return bool(self.elsewhere.total_error_count() or self.elsewhere.initial)

    def is_valid(self) -> bool:
        """All rows; those of a form that was sent without them are as they were."""
        return not self.sent or all([self.parcels.is_valid(), self.elsewhere.is_valid()])

    def save(self, *, site: Site, by: User) -> bool:
        """Write the rows. A refusal is said at the first row of its kind, and False comes back: take the rest back too."""
        if not self.sent:
            return True
        along = [
            Along(row["number"], row["county"], row["share_percent"])
            for row in (form.cleaned_data for form in self.parcels)
            if row.get("number")
        ]
        elsewhere = [
            Elsewhere(row["kept_by"], row["value"], row.get("basin"))
            for row in (form.cleaned_data for form in self.elsewhere)
            if row.get("kept_by")
        ]
        try:
            set_parcels(site=site, along=along, by=by)
        except Refused as refusal:
            self.parcels[0].add_error("number", str(refusal))
            return False
        try:
            set_external_ids(site=site, elsewhere=elsewhere, by=by)
        except Refused as refusal:
            named = [form for form in self.elsewhere if form.cleaned_data.get("value")]
            at = next((f for f in named if f.cleaned_data["value"] in str(refusal)), named[0])
            at.add_error("value", str(refusal))
            return False
        return True


def save_site(
    form: forms.Form, ties: SiteTies, write: Callable[[], Site], *, by: User
) -> Site | None:
    """Write a site and its rows, all or nothing. A refusal is said at its place on the page, and None comes back."""
    with transaction.atomic():
        try:
            site = write()
        except Refused as refusal:
            form.add_error("code" if "code" in form.fields else None, str(refusal))
            transaction.set_rollback(True)
            return None
        if not ties.save(site=site, by=by):
            transaction.set_rollback(True)
            return None
    return site
