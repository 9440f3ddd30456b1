"""No column that can hold something of a person is forgotten when somebody's data are erased."""

from django.apps import apps
from django.db import models

from people.models import Household, Person, User
from tests.people.erasure_inventory import INVENTORY


def personal_columns() -> dict[str, set[str]]:
    """Every foreign key to a person, household or log-in, and every free text, by model."""
    told = (
        models.CharField,
        models.TextField,
        models.JSONField,
        models.BinaryField,
        models.FileField,
    )
    found: dict[str, set[str]] = {}
    for model in apps.get_models(include_auto_created=True):
        names = {
            field.name
            for field in model._meta.get_fields()
            if (not field.auto_created or field.concrete)
            and (
                field.related_model in (Person, Household, User)
                if field.is_relation
                else isinstance(field, told) and not field.choices
            )
        }
        if names:
            found[model._meta.label] = names
    return found


def test_every_column_that_can_hold_something_of_a_person_is_wiped_or_kept_for_a_reason():
    assert personal_columns() == {model: set(rows) for model, rows in INVENTORY.items()}
