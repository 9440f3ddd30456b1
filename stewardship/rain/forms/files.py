"""A file of readings, as somebody hands it in, says what it is, and takes it back."""

from dataclasses import asdict

from django import forms
from django.core.files.uploadedfile import UploadedFile
from django.utils.functional import cached_property
from django.utils.translation import gettext_lazy as _

from stewardship.rain.choices import DateOrder, DepthUnit, FileFormat, Stamps
from stewardship.rain.intake.layout import Wishes
from stewardship.rain.models import Gauge

#: Two or three million rows. While they are taken in, nobody else can write to SQLite: some twenty seconds (tests/bench_waiting.py).
MOST_UPLOADED_BYTES = 60_000_000


def _gauge_field() -> forms.ModelChoiceField:
    return forms.ModelChoiceField(
        label=_("Gauge"),
        queryset=Gauge.objects.all(),
        required=False,
        empty_label=_("the file says which"),
    )


class UploadForm(forms.Form):
    """A file of readings and whose they are."""

    gauge = _gauge_field()
    file = forms.FileField(
        label=_("File"),
        help_text=_(
            "A table as text (CSV): a time and a depth in each row, running totals, tips, a column for each gauge, or GHCN-Daily."
        ),
        error_messages={
            "required": _("Choose a file."),
            "empty": _("The file is empty."),
        },
    )

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


class LayoutForm(forms.Form):
    """What a person says about a file. Preset with what was found; what is left as it stands is found out again."""

    gauge = _gauge_field()
    format = forms.ChoiceField(
        label=_("The rows are"),
        required=False,
        choices=[("", _("as the file shows")), *FileFormat.choices],
    )
    time_column = forms.CharField(
        label=_("Time column"),
        required=False,
        max_length=300,
        help_text=_("Two columns: date + time."),
        widget=forms.TextInput(attrs={"list": "columns", "autocomplete": "off"}),
    )
    depth_column = forms.CharField(
        label=_("Depth column"),
        required=False,
        max_length=300,
        widget=forms.TextInput(attrs={"list": "columns", "autocomplete": "off"}),
    )
    unit = forms.ChoiceField(
        label=_("Unit"),
        required=False,
        choices=[("", _("as the file or gauge says")), *DepthUnit.choices],
    )
    dates = forms.ChoiceField(
        label=_("Dates are"),
        required=False,
        choices=[("", _("as usual here, or as the file shows")), *DateOrder.choices],
    )
    stamps = forms.ChoiceField(
        label=_("A time is"),
        required=False,
        choices=[("", _("as usual: the end")), *Stamps.choices],
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
    gauges = forms.CharField(
        label=_("Which name is which gauge"),
        required=False,
        max_length=2_000,
        help_text=_(
            "Name in the file = code of the gauge, with commas between: north=porch, south=depot"
        ),
    )
    tip = forms.CharField(
        label=_("One tip is"), required=False, max_length=16, help_text=_("0.01 in or 0.2 mm")
    )

    def __init__(self, *args, said: Wishes, found: Wishes, gauge: Gauge | None, **kwargs) -> None:
        """`said`: by the person so far; `found`: with the rest as it was understood."""
        self.said = said
        super().__init__(*args, initial={**asdict(found), "gauge": gauge}, **kwargs)

    @cached_property
    def names(self) -> list[str]:
        return [name for name in self.fields if name != "gauge"]

    def wishes(self) -> Wishes:
        """What was said before and what was changed now; guesses that were left alone stay guesses."""
        changed = set(self.changed_data)
        return Wishes(
            **{
                name: self.cleaned_data[name].strip()
                if name in changed or getattr(self.said, name)
                else ""
                for name in self.names
            }
        )


class UndoForm(forms.Form):
    """Why a batch is taken back."""

    why = forms.CharField(
        label=_("Why"),
        max_length=400,
        error_messages={"required": _("Say why it is taken back.")},
        help_text=_("It stays in the book: the wrong gauge, the wrong unit, a trial …"),
    )
