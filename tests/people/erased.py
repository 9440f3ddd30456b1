"""What tests of erasing have in common."""

from collections.abc import Iterator
from datetime import date, datetime

from django.apps import apps

from people import erasing
from people.models import Person


def erase(person: Person, **changes) -> Person:
    facts = {"asked_by": "themselves", "asked_on": date(2026, 7, 10), "by": None}
    return erasing.erase(person=person, **(facts | changes))


def every_text() -> Iterator[tuple[str, str, str]]:
    """(model, field, text) of everything that is written in the whole book."""
    for model in apps.get_models(include_auto_created=True):
        for row in model._base_manager.all():
            for field in model._meta.concrete_fields:
                value = getattr(row, field.attname)
                if isinstance(value, memoryview):
                    value = bytes(value)
                if isinstance(value, bytes):
                    yield model._meta.label, field.name, value.decode("latin-1")
                elif value is not None and not isinstance(value, int | float | datetime | date):
                    yield model._meta.label, field.name, str(value)
