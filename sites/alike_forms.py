"""Asks once when a site at or near the same place is in the book already; a tick saves all the same."""

from collections.abc import Collection

from django import forms
from django.utils.translation import gettext_lazy as _

from sites.alike import sites_alike
from sites.models import Site

#: Which facts of a place the script of as-you-type offers reads.
PLACE = ("address", "lat", "lon")


class AlikeSiteMixin(forms.Form):
    another_site = forms.BooleanField(
        label=_("It is another site"), required=False, widget=forms.HiddenInput
    )

    #: sites that are known to be others, such as a corner lot's first frontage
    apart: Collection[Site] = ()

    def mark_place(self) -> None:
        """Let the script know which fields tell the place."""
        for name in PLACE:
            self.fields[name].widget.attrs["data-alike-as"] = name

    def ask_if_alike(self) -> None:
        """Only about a new site, or one whose place was changed."""
        cleaned = self.cleaned_data
        if self.errors or cleaned.get("another_site"):
            return
        if self.instance.pk and not set(PLACE) & set(self.changed_data):
            return
        found = sites_alike(
            **{name: cleaned[name] for name in PLACE},
            but=self.instance if self.instance.pk else None,
        )
        found = [one for one in found if one.site not in self.apart]
        if found:
            self.fields["another_site"].widget = forms.CheckboxInput()
            names = "; ".join(
                f"{one.site} ({', '.join(str(word) for word in one.words)})" for one in found
            )
            self.add_error(
                "another_site",
                _("Perhaps in the book already: %s. Tick this if it is another site.") % names,
            )
