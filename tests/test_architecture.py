"""The house's layers where imports do not show them: string foreign keys, apps without a layer, pure files."""

import subprocess
import sys

import pytest
from django.apps import apps
from django.conf import settings
from django.db.models import Field

#: Lower may not point at upper; apps in one row do not know each other. The same order as in .importlinter.
FLOORS = [
    {"common"},
    {"outbox"},
    {"people"},
    {"sites"},
    {"agreements", "rain"},
    {"care"},
    {"reports"},
    {"front", "api"},
]
FLOOR = {label: n for n, floor in enumerate(FLOORS) for label in floor}

#: Rules that are functions of dataclasses: they know no framework, no clock, no database.
PURE = [
    "stewardship.care.rules",
    "stewardship.care.checklist",
    "stewardship.care.load",
    "stewardship.agreements.instruments",
    "stewardship.rain.quality.amounts",
    "stewardship.rain.quality.days",
    "stewardship.rain.quality.double_mass",
    "stewardship.rain.quality.stuck",
]


def own_apps() -> list:
    return [
        config
        for config in apps.get_app_configs()
        if config.name in ("people", "sites") or config.name.startswith("stewardship.")
    ]


def test_every_app_of_ours_has_a_floor():
    labels = {config.label for config in own_apps()} - {"stewardship"}
    assert labels == set(FLOOR)


def _points(field: Field) -> bool:
    # who did something is a log-in of whatever model AUTH_USER_MODEL names: a setting, not a layer
    return field.related_model is not None and field.related_model._meta.label != (
        settings.AUTH_USER_MODEL
    )


def test_no_foreign_key_points_upwards_or_sideways():
    wrong = [
        f"{model._meta.label}.{field.name} → {field.related_model._meta.label}"
        for config in own_apps()
        for model in config.get_models()
        for field in [*model._meta.fields, *model._meta.many_to_many]
        if _points(field)
        and field.related_model._meta.app_label != config.label
        and FLOOR.get(field.related_model._meta.app_label, -1) >= FLOOR[config.label]
    ]
    assert not wrong


@pytest.mark.parametrize("module", PURE)
def test_rules_load_without_django(module):
    script = f"import sys, {module}; print(*sorted({{n.partition('.')[0] for n in sys.modules}}))"
    loaded = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, check=True
    ).stdout.split()
    assert "stewardship" in loaded
    assert not {"django", "celery", "people"} & set(loaded)
