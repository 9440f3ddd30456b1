"""Forms speak in our words, not in the framework's."""

import re

import pytest
from django import forms
from django.core.validators import MaxValueValidator

from stewardship.common.form_words import FIELDS

STOCK = re.compile(
    r"This field is required|valid (choice|date|time|number)|Ensure (this|that)|Enter a valid"
)


class EveryField(forms.Form):
    words = forms.CharField(max_length=3)
    mail = forms.EmailField()
    whole = forms.IntegerField(min_value=1, max_value=3)
    number = forms.FloatField(validators=[MaxValueValidator(2)])
    decimal = forms.DecimalField()
    day = forms.DateField()
    clock = forms.TimeField()
    instant = forms.DateTimeField()
    one = forms.ChoiceField(choices=[("a", "A")])
    many = forms.MultipleChoiceField(choices=[("a", "A")])
    tick = forms.BooleanField()
    file = forms.FileField()


@pytest.mark.parametrize(
    "typed",
    [
        {},
        dict.fromkeys(EveryField.base_fields, "no such"),
        {"whole": "0", "number": "9", "words": "four", "mail": "a@b"},
        {"whole": "9", "many": ["x"]},
    ],
)
def test_no_sentence_of_the_framework_is_left(typed):
    form = EveryField(typed)
    assert not form.is_valid()
    said = [sentence for errors in form.errors.values() for sentence in errors]
    assert [sentence for sentence in said if STOCK.search(sentence)] == []


def test_what_is_said_names_the_limit():
    form = EveryField({"whole": "9", "words": "four"})
    assert form.errors["whole"] == ["At most 3."]
    assert form.errors["words"] == ["At most 3 characters; this has 4."]


def test_every_kind_of_field_keeps_its_own_dictionary():
    dictionaries = [vars(field)["default_error_messages"] for field in FIELDS]
    assert len({id(one) for one in dictionaries}) == len(FIELDS)
