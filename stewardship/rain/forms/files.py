"""A file of readings, as somebody hands it in."""

from django import forms
from django.core.files.uploadedfile import UploadedFile
from django.utils.translation import gettext_lazy as _

from stewardship.rain.choices import DateOrder, DepthUnit, Stamps
from stewardship.rain.intake.layout import Wishes
from stewardship.rain.models import Gauge

#: Longer files hold the database's one writer for too long within a page; the command has no limit.
MOST_UPLOADED_BYTES = 20_000_000


class ImportForm(forms.Form):
    """A file of readings, and what the person knows about it. Everything but the gauge and the file may stay empty."""

    gauge = forms.ModelChoiceField(
        label=_("Gauge"), queryset=Gauge.objects.all(), empty_label=_("choose")
    )
    file = forms.FileField(
        label=_("File"),
        help_text=_("CSV with a time and a depth in each row."),
        error_messages={
            "required": _("Choose a file."),
            "empty": _("The file is empty."),
        },
    )
    time_column = forms.CharField(
        label=_("Time column"),
        required=False,
        max_length=120,
        help_text=_("Two columns: date + time."),
    )
    depth_column = forms.CharField(label=_("Depth column"), required=False, max_length=120)
    unit = forms.ChoiceField(
        label=_("Unit"),
        required=False,
        choices=[("", _("as the file or gauge says")), *DepthUnit.choices],
    )
    stamps = forms.ChoiceField(
        label=_("A time is"),
        required=False,
        choices=[("", _("as usual: the end")), *Stamps.choices],
    )
    dates = forms.ChoiceField(
        label=_("Dates are"),
        required=False,
        choices=[("", _("as usual here, or as the file shows")), *DateOrder.choices],
    )
    step = forms.CharField(
        label=_("One reading lasts"), required=False, max_length=12, help_text=_("15m, 1h or 1d")
    )
    zone = forms.CharField(
        label=_("Time zone"),
        required=False,
        max_length=64,
        help_text=_(
            "America/Denver or -07:00. A logger that stays on standard time all year has an offset."
        ),
    )
    where = forms.CharField(
        label=_("Only rows where"),
        required=False,
        max_length=120,
        help_text=_("column=value, for a file with several gauges"),
    )

    LAYOUT = ("time_column", "depth_column", "unit", "dates", "stamps", "step", "zone", "where")

    def layout_fields(self) -> list[forms.BoundField]:
        return [self[name] for name in self.LAYOUT]

    def says_more(self) -> bool:
        """Whether the person says something about the layout, or something about it is wrong."""
        return any(self[name].value() or self[name].errors for name in self.LAYOUT)

    def clean_file(self) -> UploadedFile:
        file = self.cleaned_data["file"]
        if file.size > MOST_UPLOADED_BYTES:
            raise forms.ValidationError(
                _(
                    "The file is larger than %d MB. Import it with the import_readings command, or a year at a time."
                )
                % (MOST_UPLOADED_BYTES // 1_000_000)
            )
        return file

    def wishes(self) -> Wishes:
        return Wishes(**{name: self.cleaned_data[name].strip() for name in self.LAYOUT})
