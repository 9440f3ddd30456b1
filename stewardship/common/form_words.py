"""What forms say about what was typed, in our words instead of the framework's. A field's own words go before these."""

from typing import Any

from django import forms
from django.core import validators
from django.utils.translation import gettext_lazy as _
from django.utils.translation import ngettext_lazy

_REQUIRED = _("Fill this in.")
_CHOOSE = _("Choose one.")
_LISTED = _("Choose one of those listed.")
#: Field class → its sentences by Django's code for the fault.
FIELDS: dict[type[forms.Field], dict[str, Any]] = {
    forms.Field: {"required": _REQUIRED},
    forms.IntegerField: {"invalid": _("Enter a whole number, e.g. 12.")},
    forms.FloatField: {"invalid": _("Enter a number, e.g. 2.5.")},
    forms.DecimalField: {"invalid": _("Enter a number, e.g. 2.5.")},
    forms.DateField: {"invalid": _("Enter a day, e.g. 2026-07-14.")},
    forms.TimeField: {"invalid": _("Enter a time, e.g. 07:00.")},
    forms.DateTimeField: {"invalid": _("Enter a day and a time, e.g. 2026-07-14 07:00.")},
    forms.BooleanField: {"required": _("Tick this to go on.")},
    forms.ChoiceField: {"required": _CHOOSE, "invalid_choice": _LISTED},
    forms.MultipleChoiceField: {"invalid_choice": _LISTED, "invalid_list": _LISTED},
    forms.ModelChoiceField: {"required": _CHOOSE, "invalid_choice": _LISTED},
    forms.ModelMultipleChoiceField: {
        "required": _("Choose at least one."),
        "invalid_list": _LISTED,
        "invalid_choice": _LISTED,
        "invalid_pk_value": _LISTED,
    },
    forms.FileField: {
        "required": _("Choose a file."),
        "invalid": _("The file did not arrive; choose it again."),
        "missing": _("The file did not arrive; choose it again."),
        "empty": _("The file is empty."),
    },
}
#: Validator class → its sentence.
VALIDATORS: dict[Any, Any] = {
    validators.MinValueValidator: _("At least %(limit_value)s."),
    validators.MaxValueValidator: _("At most %(limit_value)s."),
    validators.MaxLengthValidator: ngettext_lazy(
        "At most %(limit_value)d character; this has %(show_value)d.",
        "At most %(limit_value)d characters; this has %(show_value)d.",
        "limit_value",
    ),
    validators.EmailValidator: _("That is not an e-mail address, e.g. ines@example.org."),
}


def use_own_words() -> None:
    """Put our sentences in the places where fields and validators keep theirs."""
    for field, words in FIELDS.items():
        # a dictionary of its own, so that a class does not write into the one that it inherits
        field.default_error_messages = {**vars(field).get("default_error_messages", {}), **words}
    for validator, sentence in VALIDATORS.items():
        validator.message = sentence
