"""The program's first care rules and hand-on steps: defaults to edit, each with where its number was seen."""

from datetime import date

from django.db import migrations

SINCE = date(2000, 1, 1)

# (phase, least rain in µm, source). 0.25 in = 6 350 µm, 0.5 in = 12 700 µm, 1.0 in = 25 400 µm.
AFTER_RAIN = [
    (
        "settling_in",
        6_350,
        "Program default. 0.25 in: rain that calls for a look on building sites, US EPA Construction General Permit 2022, Part 4.2",
    ),
    (
        "establishing",
        12_700,
        "Program default. 0.5 in within 24 h: the same trigger in several state and city construction rules",
    ),
    (
        "settled",
        25_400,
        "Program default. 1.0 in: a North Carolina city's upkeep forms of 2022; programs elsewhere wait for 2 in",
    ),
]
# (phase, every how many days): a taper set by this program; published cadences run from monthly to yearly.
CALENDAR = [("settling_in", 30), ("establishing", 60), ("settled", 90)]
CALENDAR_SOURCE = "Program default: monthly, then every two months, then quarterly"
AFTER_RAIN_DUE_DAYS = 5
CALENDAR_DUE_DAYS = 10
# (step, days after the duty opened): program defaults, no source
HAND_ON = [("second_reminder", 4), ("agency", 6), ("coordinator", 8)]


def add_defaults(apps, schema_editor):
    CareRule = apps.get_model("care", "CareRule")
    HandOnStep = apps.get_model("care", "HandOnStep")
    for phase, least_depth_um, source in AFTER_RAIN:
        CareRule.objects.create(
            trigger="after_rain",
            phase=phase,
            least_depth_um=least_depth_um,
            due_within_days=AFTER_RAIN_DUE_DAYS,
            starts_on=SINCE,
            source=source,
        )
    for phase, every_days in CALENDAR:
        CareRule.objects.create(
            trigger="calendar",
            phase=phase,
            every_days=every_days,
            due_within_days=CALENDAR_DUE_DAYS,
            starts_on=SINCE,
            source=CALENDAR_SOURCE,
        )
    for action, after_days in HAND_ON:
        HandOnStep.objects.create(action=action, after_days=after_days, starts_on=SINCE)


class Migration(migrations.Migration):
    dependencies = [("care", "0001_initial")]

    operations = [migrations.RunPython(add_defaults, migrations.RunPython.noop)]
