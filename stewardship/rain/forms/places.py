"""Coordinates as people type them, and the usual faults in them, found by how far they lie from the program's sites."""

from typing import Any

import numpy as np
from django import forms
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from sites.models import Site
from stewardship.common.written import length_text
from stewardship.hydrology.spread import haversine_m

#: [m] A gauge farther than this from every site is asked about: no program of one town reaches so far. Ours, no source.
FAR_M = 100_000
#: A likely fault is named if putting it right brings the place to so small a part of the distance. Ours, no source.
MUCH_NEARER = 0.1


class PlaceFields(forms.Form):
    """Latitude, longitude and a note. A place far from every site is asked about once; a tick says that it is right."""

    lat = forms.FloatField(
        label=gettext_lazy("Latitude"),
        help_text=gettext_lazy("Decimal degrees, e.g. 34.52104."),
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
    )
    lon = forms.FloatField(
        label=gettext_lazy("Longitude"),
        help_text=gettext_lazy("Decimal degrees, west is negative, e.g. -106.24402."),
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
    )
    place_is_right = forms.BooleanField(
        label=gettext_lazy("The place is right, though it is far from every site"), required=False
    )
    note = forms.CharField(
        label=gettext_lazy("Where that is"),
        required=False,
        max_length=200,
        help_text=gettext_lazy("e.g. “on the roof of the tool shed”"),
    )

    PLACE = ("lat", "lon", "note")
    units = ""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if not (self.is_bound and self.data.get("place_is_right")):
            self.fields["place_is_right"].widget = forms.HiddenInput()

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        lat, lon = cleaned.get("lat"), cleaned.get("lon")
        if lat is None or lon is None:
            return cleaned
        if not -90 <= lat <= 90:
            swapped = -90 <= lon <= 90 and -180 <= lat <= 180
            self.add_error(
                "lat",
                _("A latitude lies between -90 and 90. Are the two the wrong way round?")
                if swapped
                else _("A latitude lies between -90 and 90."),
            )
        elif not -180 <= lon <= 180:
            self.add_error("lon", _("A longitude lies between -180 and 180."))
        elif not cleaned.get("place_is_right"):
            self._ask(lat, lon)
        return cleaned

    def _ask(self, lat: float, lon: float) -> None:
        sites = np.array(
            Site.objects.filter(lat__isnull=False, lon__isnull=False).values_list("lat", "lon")
        )

        def away_m(lat: float, lon: float) -> float:
            if abs(lat) > 90:
                return np.inf
            return float(haversine_m(sites[:, 0], sites[:, 1], lat, lon).min())

        if not sites.size or (typed_m := away_m(lat, lon)) <= FAR_M:
            return
        near_m = max(FAR_M, typed_m * MUCH_NEARER)
        guesses = (
            ("lon", lat, -lon, _("Did you leave out the minus sign?") if lon > 0 else _("Is the minus sign right?")),
            ("lat", lon, lat, _("Are latitude and longitude the wrong way round?")),
            ("lat", -lat, lon, _("Did you leave out the minus sign?") if lat > 0 else _("Is the minus sign right?")),
            ("lat", -lon, lat, _("Are latitude and longitude the wrong way round, and a minus sign missing?")),
            ("lat", lon, -lat, _("Are latitude and longitude the wrong way round, and a minus sign missing?")),
        )  # fmt: skip
        field, question = next(
            ((field, said) for field, a, b, said in guesses if away_m(a, b) <= near_m),
            ("lat", _("Look at the numbers again.")),
        )
        said = _("That is %s from your nearest site.") % length_text(typed_m, self.units)
        self.fields["place_is_right"].widget = forms.CheckboxInput()
        self.add_error(field, f"{said} {question}")
