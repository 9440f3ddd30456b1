"""Gauges, readings, the storms found in them, and what each storm was at each site.

Readings and storms keep time as whole seconds since 1970-01-01 UTC (`start_s`, `end_s`): a reading is the interval
(start, end]. Depths are whole micrometres (`_um`): 0.01 in is exactly 254 µm, so sums of readings are exact.
"""

from datetime import UTC, datetime
from typing import Self

from django.conf import settings
from django.db import models
from django.db.models import F, Q
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from people.models import Person
from sites.models import Basin, Site
from stewardship.common.constraints import in_order, not_negative, one_of
from stewardship.rain.choices import BatchSource, DepthUnit, GaugeKind, ReadingKind, Sureness


def instant(seconds: int) -> datetime:
    """The aware instant of a count of seconds since 1970-01-01 UTC."""
    return datetime.fromtimestamp(seconds, tz=UTC)


class RainRule(models.Model):
    """Dated settings of storm finding. Past storms are not recomputed when a new rule starts."""

    starts_on = models.DateField(_("from"), unique=True)
    dry_gap_s = models.PositiveIntegerField(
        _("dry time that ends a storm (s)"),
        default=21_600,
        help_text=_("6 hours is the commonest choice."),
    )
    least_depth_um = models.PositiveIntegerField(
        _("least depth of a storm that is listed (µm)"),
        default=2_540,
        help_text=_("0.10 in by default."),
    )
    source = models.CharField(_("where this comes from"), max_length=200, blank=True)

    class Meta:
        ordering = ["starts_on"]
        constraints = [
            models.CheckConstraint(condition=Q(dry_gap_s__gt=0), name="rain_rule_gap_positive")
        ]

    def __str__(self) -> str:
        return f"{self.starts_on}: {self.dry_gap_s / 3600:g} h"


class Gauge(models.Model):
    """A rain gauge and how it reports."""

    code = models.SlugField(_("gauge code"), max_length=24, unique=True)
    name = models.CharField(_("name"), max_length=120)
    kind = models.CharField(_("kind"), max_length=12, choices=GaugeKind)
    lat = models.FloatField(_("latitude"))
    lon = models.FloatField(_("longitude"))
    reach_m = models.PositiveIntegerField(_("how far it speaks for (m)"), default=5_000)
    unit = models.CharField(
        _("unit it reports in"), max_length=4, choices=DepthUnit, default=DepthUnit.INCH
    )
    observation_hour = models.PositiveSmallIntegerField(
        _("hour of the daily reading"),
        null=True,
        blank=True,
        help_text=_("Local clock time, all year; 7 is usual."),
    )
    lists_dry = models.BooleanField(
        _("reports dry times too"),
        default=True,
        help_text=_(
            "If so, a time without a reading is missing. If not, silence between readings is dry."
        ),
    )
    readers = models.ManyToManyField(
        Person, blank=True, related_name="gauges", verbose_name=_("who reads it")
    )
    started_on = models.DateField(_("since"))
    ended_on = models.DateField(_("until"), null=True, blank=True)

    class Meta:
        ordering = ["code"]
        constraints = [
            one_of("kind", GaugeKind.values, name="gauge_kind_known"),
            models.CheckConstraint(
                condition=Q(lat__gte=-90, lat__lte=90, lon__gte=-180, lon__lte=180),
                name="gauge_place_on_earth",
            ),
            models.CheckConstraint(
                condition=(
                    Q(kind=GaugeKind.DAILY) & Q(observation_hour__gte=0, observation_hour__lte=23)
                )
                | (~Q(kind=GaugeKind.DAILY) & Q(observation_hour__isnull=True)),
                name="gauge_hour_iff_daily",
            ),
            in_order("started_on", "ended_on", name="gauge_days_in_order"),
        ]

    def __str__(self) -> str:
        return f"{self.code} · {self.name}"


class GaugeOutage(models.Model):
    """A time in which a gauge did not measure. No end yet: it is still out."""

    gauge = models.ForeignKey(Gauge, on_delete=models.CASCADE, related_name="outages")
    start_s = models.BigIntegerField(_("from"))
    end_s = models.BigIntegerField(_("until"), null=True, blank=True)
    why = models.CharField(_("why"), max_length=200)

    class Meta:
        constraints = [in_order("start_s", "end_s", name="outage_times_in_order")]

    def __str__(self) -> str:
        return f"{self.gauge.code}: {self.why}"


class ReadingBatch(models.Model):
    """Readings that came in together, and what became of their rows. Unread until storms have been found again."""

    gauge = models.ForeignKey(Gauge, on_delete=models.PROTECT, related_name="batches")
    source = models.CharField(_("source"), max_length=12, choices=BatchSource)
    file_name = models.CharField(_("file"), max_length=200, blank=True)
    sha256 = models.CharField(max_length=64, blank=True)
    added = models.PositiveIntegerField(_("new readings"), default=0)
    same = models.PositiveIntegerField(_("already known"), default=0)
    corrected = models.PositiveIntegerField(_("corrections"), default=0)
    rejected = models.PositiveIntegerField(_("not understood"), default=0)
    touched_start_s = models.BigIntegerField(null=True, editable=False)
    touched_end_s = models.BigIntegerField(null=True, editable=False)
    at = models.DateTimeField(_("when"), default=timezone.now)
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    storms_found_at = models.DateTimeField(_("storms found"), null=True, blank=True)

    class Meta:
        verbose_name_plural = _("reading batches")
        ordering = ["-at", "-pk"]
        indexes = [
            # what the rain sweep asks: batches whose storms have not been found yet
            models.Index(
                fields=["at"], condition=Q(storms_found_at__isnull=True), name="batch_waiting"
            ),
        ]
        constraints = [
            one_of("source", BatchSource.values, name="batch_source_known"),
            models.UniqueConstraint(
                fields=["gauge", "sha256"],
                condition=~Q(sha256=""),
                name="batch_file_once_per_gauge",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.gauge.code}: {self.file_name or self.get_source_display()}"


class RejectedRow(models.Model):
    """A row that was not taken in, with the line it stands on and why."""

    batch = models.ForeignKey(ReadingBatch, on_delete=models.CASCADE, related_name="rejected_rows")
    line = models.PositiveIntegerField(_("line"))
    text = models.CharField(_("what it says"), max_length=300)
    why = models.CharField(_("why"), max_length=300)

    class Meta:
        ordering = ["line"]

    def __str__(self) -> str:
        return f"{self.line}: {self.why}"


class ReadingQuerySet(models.QuerySet["Reading"]):
    def between(self, start_s: int, end_s: int) -> Self:
        """Readings that overlap the span."""
        return self.filter(start_s__lt=end_s, end_s__gt=start_s)


class Reading(models.Model):
    """What a gauge showed for (start, end]. The same gauge and interval again is the same reading."""

    gauge = models.ForeignKey(Gauge, on_delete=models.PROTECT, related_name="readings")
    start_s = models.BigIntegerField(_("from"))
    end_s = models.BigIntegerField(_("until"))
    kind = models.CharField(_("kind"), max_length=12, choices=ReadingKind)
    depth_um = models.IntegerField(_("depth (µm)"), null=True, blank=True)
    typed = models.CharField(
        _("as given"), max_length=16, blank=True, help_text=_("Number and unit as they came.")
    )
    batch = models.ForeignKey(ReadingBatch, on_delete=models.PROTECT, related_name="readings")

    objects = ReadingQuerySet.as_manager()

    class Meta:
        ordering = ["gauge", "start_s"]
        constraints = [
            models.UniqueConstraint(fields=["gauge", "start_s", "end_s"], name="reading_once"),
            models.CheckConstraint(
                condition=Q(end_s__gt=F("start_s")), name="reading_interval_forward"
            ),
            models.CheckConstraint(
                condition=Q(kind__in=[ReadingKind.MEASURED, ReadingKind.MULTI_DAY], depth_um__gte=0)
                | Q(kind__in=[ReadingKind.ZERO, ReadingKind.TRACE], depth_um=0)
                | Q(kind=ReadingKind.MISSING, depth_um__isnull=True),
                name="reading_depth_fits_kind",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.gauge_id} {instant(self.start_s):%Y-%m-%d %H:%M} {self.kind}"


class ReadingCorrection(models.Model):
    """What a reading said before a different depth came in for the same interval."""

    reading = models.ForeignKey(Reading, on_delete=models.CASCADE, related_name="corrections")
    was_kind = models.CharField(_("kind before"), max_length=12, choices=ReadingKind)
    was_depth_um = models.IntegerField(_("depth before (µm)"), null=True)
    was_typed = models.CharField(_("as given before"), max_length=16, blank=True)
    batch = models.ForeignKey(ReadingBatch, on_delete=models.PROTECT, related_name="corrections")
    at = models.DateTimeField(_("corrected"), default=timezone.now)

    class Meta:
        ordering = ["at", "pk"]

    def __str__(self) -> str:
        return f"{self.reading_id}: {self.was_kind}"


class StormQuerySet(models.QuerySet["Storm"]):
    def standing(self) -> Self:
        """Storms that the present readings bear out: not withdrawn, not merged into another."""
        return self.filter(withdrawn_at__isnull=True)

    def overlapping(self, start_s: int, end_s: int) -> Self:
        return self.filter(start_s__lt=end_s, end_s__gt=start_s)


class Storm(models.Model):
    """Rain over the program, separated by dry gaps. Found again with other readings, it is the same storm, revised."""

    start_s = models.BigIntegerField(_("from"))
    end_s = models.BigIntegerField(_("until"))
    greatest_um = models.PositiveIntegerField(_("greatest depth at a gauge (µm)"))
    coarse = models.BooleanField(_("times are coarse"), default=False)
    revision = models.PositiveIntegerField(_("revision"), default=1)
    merged_into = models.ForeignKey(
        "self", null=True, blank=True, on_delete=models.PROTECT, related_name="merged_from"
    )
    split_from = models.ForeignKey(
        "self", null=True, blank=True, on_delete=models.PROTECT, related_name="split_into"
    )
    withdrawn_at = models.DateTimeField(_("withdrawn"), null=True, blank=True)

    objects = StormQuerySet.as_manager()

    class Meta:
        ordering = ["-start_s"]
        indexes = [models.Index(fields=["start_s", "end_s"], name="storm_span")]
        constraints = [
            models.CheckConstraint(condition=Q(end_s__gt=F("start_s")), name="storm_span_forward"),
            models.CheckConstraint(
                condition=Q(merged_into__isnull=True) | Q(withdrawn_at__isnull=False),
                name="storm_merged_is_withdrawn",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.start_at:%Y-%m-%d %H:%M} UTC"

    @property
    def start_at(self) -> datetime:
        return instant(self.start_s)

    @property
    def end_at(self) -> datetime:
        return instant(self.end_s)


class StormRevision(models.Model):
    """What a storm was taken to be before and after each change of its readings."""

    storm = models.ForeignKey(Storm, on_delete=models.CASCADE, related_name="revisions")
    number = models.PositiveIntegerField(_("revision"))
    start_s = models.BigIntegerField(_("from"))
    end_s = models.BigIntegerField(_("until"))
    greatest_um = models.PositiveIntegerField(_("greatest depth at a gauge (µm)"))
    why = models.CharField(_("why"), max_length=200)
    made_at = models.DateTimeField(_("when"), default=timezone.now)

    class Meta:
        ordering = ["number"]
        constraints = [
            models.UniqueConstraint(fields=["storm", "number"], name="storm_revision_once")
        ]

    def __str__(self) -> str:
        return f"{self.storm_id} r{self.number}"


class GaugeStorm(models.Model):
    """One gauge's part of a storm, with its greatest depths in sliding windows (null: not available at its step)."""

    gauge = models.ForeignKey(Gauge, on_delete=models.PROTECT, related_name="storms")
    storm = models.ForeignKey(Storm, on_delete=models.PROTECT, related_name="gauge_storms")
    start_s = models.BigIntegerField(_("from"))
    end_s = models.BigIntegerField(_("until"))
    depth_um = models.PositiveIntegerField(_("depth (µm)"))
    peak_5min_um = models.FloatField(null=True)
    peak_15min_um = models.FloatField(null=True)
    peak_30min_um = models.FloatField(null=True)
    peak_60min_um = models.FloatField(null=True)
    peak_24h_um = models.FloatField(null=True)
    dry_before_s = models.BigIntegerField(_("dry before (s)"), null=True)
    coarse = models.BooleanField(_("times are coarse"), default=False)

    class Meta:
        ordering = ["start_s"]
        constraints = [
            models.UniqueConstraint(fields=["gauge", "start_s"], name="gauge_storm_once"),
            models.CheckConstraint(
                condition=Q(end_s__gt=F("start_s")), name="gauge_storm_span_forward"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.gauge.code} {instant(self.start_s):%Y-%m-%d %H:%M}"


class SiteRain(models.Model):
    """What a storm was at a site: depth, where that comes from, how sure. `weighed_at`: care rules looked at it."""

    storm = models.ForeignKey(Storm, on_delete=models.PROTECT, related_name="site_rains")
    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="rains")
    sureness = models.CharField(_("how sure"), max_length=12, choices=Sureness)
    depth_um = models.PositiveIntegerField(_("depth (µm)"), null=True)
    peak_15min_um = models.FloatField(null=True)
    peak_60min_um = models.FloatField(null=True)
    #: [{"gauge": code, "weight": share, "distance_m": metres, "depth_um": depth}], heaviest first
    sources = models.JSONField(_("gauges and weights"), default=list)
    #: gauges within reach that were left out: [{"gauge": code, "why": words}]
    left_out = models.JSONField(_("gauges left out"), default=list)
    storm_revision = models.PositiveIntegerField(_("of storm revision"))
    weighed_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["site"]
        indexes = [
            # what the duty sweep asks: site rain that no care rule has looked at
            models.Index(
                fields=["storm"], condition=Q(weighed_at__isnull=True), name="site_rain_waiting"
            ),
        ]
        constraints = [
            models.UniqueConstraint(fields=["storm", "site"], name="site_rain_once"),
            models.CheckConstraint(
                condition=Q(sureness=Sureness.UNKNOWN, depth_um__isnull=True)
                | (~Q(sureness=Sureness.UNKNOWN) & Q(depth_um__isnull=False)),
                name="site_rain_unknown_iff_no_depth",
            ),
            not_negative("depth_um", name="site_rain_depth_not_negative"),
        ]

    def __str__(self) -> str:
        return f"{self.site.code} · {self.storm}"


class BasinWater(models.Model):
    """Where a storm's water went in one basin. Volumes in m³, depth in m."""

    site_rain = models.ForeignKey(SiteRain, on_delete=models.CASCADE, related_name="waters")
    basin = models.ForeignKey(Basin, on_delete=models.PROTECT, related_name="waters")
    inflow_m3 = models.FloatField(_("came in"))
    passed_by_m3 = models.FloatField(_("passed by"))
    soaked_m3 = models.FloatField(_("soaked in"))
    spilled_m3 = models.FloatField(_("spilled"))
    greatest_depth_m = models.FloatField(_("greatest depth"))
    hours_to_drain = models.FloatField(_("hours to drain"), null=True)
    coarse = models.BooleanField(_("from totals only"), default=False)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["site_rain", "basin"], name="basin_water_once")
        ]

    def __str__(self) -> str:
        return f"{self.basin}"
