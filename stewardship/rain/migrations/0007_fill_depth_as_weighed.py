from django.db import migrations
from django.db.models import F


def fill(apps, schema_editor) -> None:
    """What care rules looked at before, they saw as it is."""
    rains = apps.get_model("rain", "SiteRain").objects.using(schema_editor.connection.alias)
    rains.filter(weighed_at__isnull=False, weighed_um=None).update(weighed_um=F("depth_um"))


class Migration(migrations.Migration):
    dependencies = [
        ("rain", "0006_rules_by_whom_and_storms_asked_again"),
    ]

    operations = [migrations.RunPython(fill, migrations.RunPython.noop)]
