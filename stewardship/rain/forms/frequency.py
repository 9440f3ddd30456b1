"""A table of rain frequencies as somebody hands it in, and as they keep it."""

from django import forms
from django.core.files.uploadedfile import UploadedFile
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from stewardship.common.errors import Refused
from stewardship.hydrology.frequency_file import PublishedTable
from stewardship.rain.services.frequency import (
    MOST_BYTES,
    frequency_text,
    refuse_far,
    understand_frequencies,
)


class FrequencyFileForm(forms.Form):
    """The file. Valid only if it is understood; then `text` and `found` say what is in it."""

    file = forms.FileField(
        label=gettext_lazy("File"),
        help_text=gettext_lazy("The CSV of one point that NOAA’s Precipitation Frequency Data Server gives: depths or intensities, in either unit."),
        error_messages={
            "required": gettext_lazy("Choose a file."),
            "empty": gettext_lazy("The file is empty."),
        },
    )  # fmt: skip

    text: str
    found: PublishedTable

    def clean_file(self) -> UploadedFile:
        file = self.cleaned_data["file"]
        if file.size > MOST_BYTES:
            raise forms.ValidationError(
                _("The file is far larger than the table of one point. Save that of one place only.")
            )  # fmt: skip
        try:
            self.text = frequency_text(file.read())
            self.found = understand_frequencies(self.text)
            refuse_far(self.found)
        except Refused as refusal:
            raise forms.ValidationError(str(refusal)) from None
        return file


class KeepFrequenciesForm(forms.Form):
    """What was understood, once more, and what the place is called here."""

    name = forms.CharField(
        label=gettext_lazy("What you call the place"),
        max_length=120,
        error_messages={"required": gettext_lazy("Say for which place the table is.")},
    )
    text = forms.CharField(widget=forms.HiddenInput, strip=False)
