from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("rain", "0003_fill_places")]
    operations = [
        migrations.RemoveConstraint(
            model_name='gauge',
            name='gauge_place_on_earth',
        ),
        migrations.RemoveField(
            model_name='gauge',
            name='lat',
        ),
        migrations.RemoveField(
            model_name='gauge',
            name='lon',
        ),
        migrations.AddConstraint(
            model_name='gaugeplace',
            constraint=models.CheckConstraint(condition=models.Q(('lat__gte', -90), ('lat__lte', 90), ('lon__gte', -180), ('lon__lte', 180)), name='gauge_place_on_earth'),
        ),
    ]
