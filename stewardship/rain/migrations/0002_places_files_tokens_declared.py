import django.db.models.deletion
import django.utils.timezone
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('people', '0002_household_once_per_address'),
        ('rain', '0001_initial'),
        ('sites', '0002_checks_that_null_does_not_pass'),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.CreateModel(
            name='DeclaredRain',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('depth_um', models.PositiveIntegerField(verbose_name='depth (µm)')),
                ('typed', models.CharField(max_length=16, verbose_name='as given')),
                ('reason', models.CharField(max_length=300, verbose_name='how you know')),
                ('at', models.DateTimeField(default=django.utils.timezone.now, verbose_name='when')),
                ('withdrawn_at', models.DateTimeField(blank=True, null=True, verbose_name='withdrawn')),
            ],
            options={
                'ordering': ['-at'],
            },
        ),
        migrations.CreateModel(
            name='GaugeEvent',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('was', models.CharField(blank=True, max_length=24, verbose_name='from')),
                ('became', models.CharField(max_length=24, verbose_name='to')),
                ('why', models.CharField(blank=True, max_length=400, verbose_name='why')),
                ('at', models.DateTimeField(default=django.utils.timezone.now, verbose_name='when')),
            ],
            options={
                'ordering': ['at', 'pk'],
                'abstract': False,
            },
        ),
        migrations.CreateModel(
            name='GaugePlace',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('since', models.DateField(verbose_name='since')),
                ('lat', models.FloatField(verbose_name='latitude')),
                ('lon', models.FloatField(verbose_name='longitude')),
                ('note', models.CharField(blank=True, max_length=200, verbose_name='note')),
            ],
            options={
                'ordering': ['since'],
            },
        ),
        migrations.CreateModel(
            name='GaugeToken',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('digest', models.CharField(max_length=64, unique=True, verbose_name='SHA-256 of the token')),
                ('label', models.CharField(max_length=80, verbose_name='for which machine')),
                ('made_at', models.DateTimeField(default=django.utils.timezone.now, verbose_name='made')),
                ('last_used_at', models.DateTimeField(blank=True, null=True, verbose_name='last used')),
                ('revoked_at', models.DateTimeField(blank=True, null=True, verbose_name='withdrawn')),
            ],
            options={
                'ordering': ['made_at'],
            },
        ),
        migrations.CreateModel(
            name='ReadingFile',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('name', models.CharField(max_length=200, verbose_name='name')),
                ('size', models.PositiveBigIntegerField(verbose_name='size (bytes)')),
                ('sha256', models.CharField(max_length=64)),
                ('wishes', models.JSONField(default=dict, verbose_name='layout')),
                ('state', models.CharField(choices=[('looked', 'Looked at, waiting for your yes'), ('confirmed', 'Being taken in'), ('taken', 'Taken in'), ('refused', 'Not taken in'), ('undone', 'Taken back')], default='looked', max_length=12, verbose_name='state')),
                ('rows_read', models.PositiveIntegerField(default=0, verbose_name='rows read so far')),
                ('refusal', models.TextField(blank=True, verbose_name='why it was not taken in')),
                ('at', models.DateTimeField(default=django.utils.timezone.now, verbose_name='uploaded')),
                ('confirmed_at', models.DateTimeField(blank=True, null=True, verbose_name='confirmed')),
                ('finished_at', models.DateTimeField(blank=True, null=True, verbose_name='finished')),
            ],
            options={
                'ordering': ['-at', '-pk'],
            },
        ),
        migrations.CreateModel(
            name='ReadingFilePart',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('number', models.PositiveIntegerField()),
                ('content', models.BinaryField()),
            ],
            options={
                'ordering': ['number'],
            },
        ),
        migrations.RemoveConstraint(
            model_name='readingbatch',
            name='batch_source_known',
        ),
        migrations.RemoveConstraint(
            model_name='readingbatch',
            name='batch_file_once_per_gauge',
        ),
        migrations.RemoveConstraint(
            model_name='siterain',
            name='site_rain_sureness_known',
        ),
        migrations.AddField(
            model_name='gauge',
            name='resolution_um',
            field=models.PositiveIntegerField(default=254, help_text='0.01 in is 254; of a tipping bucket, what one tip holds.', verbose_name='least amount it can show (µm)'),
        ),
        migrations.AddField(
            model_name='readingbatch',
            name='undone_at',
            field=models.DateTimeField(blank=True, null=True, verbose_name='taken back'),
        ),
        migrations.AddField(
            model_name='readingbatch',
            name='undone_by',
            field=models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL),
        ),
        migrations.AlterField(
            model_name='readingbatch',
            name='source',
            field=models.CharField(choices=[('file', 'File'), ('typed', 'Typed in'), ('pushed', 'Sent by the gauge'), ('demo', 'Invented demo rain')], max_length=12, verbose_name='source'),
        ),
        migrations.AlterField(
            model_name='siterain',
            name='sureness',
            field=models.CharField(choices=[('declared', 'Declared by a person'), ('measured', 'Measured'), ('estimated', 'Estimated'), ('possible', 'Possible'), ('unknown', 'Unknown')], max_length=12, verbose_name='how sure'),
        ),
        migrations.AddConstraint(
            model_name='gauge',
            constraint=models.CheckConstraint(condition=models.Q(('resolution_um__gt', 0)), name='gauge_resolution_positive'),
        ),
        migrations.AddConstraint(
            model_name='siterain',
            constraint=models.CheckConstraint(condition=models.Q(('sureness__in', ['declared', 'measured', 'estimated', 'possible', 'unknown'])), name='site_rain_sureness_known'),
        ),
        migrations.AddField(
            model_name='declaredrain',
            name='by',
            field=models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL),
        ),
        migrations.AddField(
            model_name='declaredrain',
            name='site',
            field=models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='declared_rains', to='sites.site'),
        ),
        migrations.AddField(
            model_name='declaredrain',
            name='storm',
            field=models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='declared', to='rain.storm'),
        ),
        migrations.AddField(
            model_name='declaredrain',
            name='withdrawn_by',
            field=models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL),
        ),
        migrations.AddField(
            model_name='gaugeevent',
            name='by',
            field=models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL, verbose_name='by whom'),
        ),
        migrations.AddField(
            model_name='gaugeevent',
            name='gauge',
            field=models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='events', to='rain.gauge'),
        ),
        migrations.AddField(
            model_name='gaugeplace',
            name='gauge',
            field=models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='places', to='rain.gauge'),
        ),
        migrations.AddField(
            model_name='gaugetoken',
            name='gauge',
            field=models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='tokens', to='rain.gauge'),
        ),
        migrations.AddField(
            model_name='gaugetoken',
            name='made_by',
            field=models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL),
        ),
        migrations.AddField(
            model_name='readingfile',
            name='by',
            field=models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL),
        ),
        migrations.AddField(
            model_name='readingfile',
            name='gauge',
            field=models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='files', to='rain.gauge'),
        ),
        migrations.AddField(
            model_name='readingbatch',
            name='file',
            field=models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='batches', to='rain.readingfile'),
        ),
        migrations.AddConstraint(
            model_name='readingbatch',
            constraint=models.CheckConstraint(condition=models.Q(('source__in', ['file', 'typed', 'pushed', 'demo'])), name='batch_source_known'),
        ),
        migrations.AddConstraint(
            model_name='readingbatch',
            constraint=models.UniqueConstraint(condition=models.Q(models.Q(('sha256', ''), _negated=True), ('undone_at__isnull', True)), fields=('gauge', 'sha256'), name='batch_file_once_per_gauge'),
        ),
        migrations.AddField(
            model_name='readingfilepart',
            name='file',
            field=models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='parts', to='rain.readingfile'),
        ),
        migrations.AddConstraint(
            model_name='declaredrain',
            constraint=models.UniqueConstraint(condition=models.Q(('withdrawn_at__isnull', True)), fields=('storm', 'site'), name='declared_rain_once'),
        ),
        migrations.AddConstraint(
            model_name='declaredrain',
            constraint=models.CheckConstraint(condition=models.Q(('reason', ''), _negated=True), name='declared_rain_has_reason'),
        ),
        migrations.AddConstraint(
            model_name='gaugeplace',
            constraint=models.UniqueConstraint(fields=('gauge', 'since'), name='gauge_place_once_a_day'),
        ),
        migrations.AddConstraint(
            model_name='readingfile',
            constraint=models.CheckConstraint(condition=models.Q(('state__in', ['looked', 'confirmed', 'taken', 'refused', 'undone'])), name='reading_file_state_known'),
        ),
        migrations.AddConstraint(
            model_name='readingfile',
            constraint=models.CheckConstraint(condition=models.Q(('state', 'looked'), ('confirmed_at__isnull', False), _connector='OR'), name='reading_file_confirmed_has_time'),
        ),
        migrations.AddConstraint(
            model_name='readingfilepart',
            constraint=models.UniqueConstraint(fields=('file', 'number'), name='reading_file_part_once'),
        ),
    ]
