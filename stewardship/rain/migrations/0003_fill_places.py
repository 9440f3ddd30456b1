"""Each gauge's place so far becomes its first dated place."""

from django.db import migrations


def fill(apps, schema_editor):
    gauges = apps.get_model("rain", "Gauge").objects.all()
    place = apps.get_model("rain", "GaugePlace")
    place.objects.bulk_create(
        place(gauge=gauge, since=gauge.started_on, lat=gauge.lat, lon=gauge.lon) for gauge in gauges
    )


class Migration(migrations.Migration):
    dependencies = [("rain", "0002_places_files_tokens_declared")]
    operations = [migrations.RunPython(fill, migrations.RunPython.noop)]
