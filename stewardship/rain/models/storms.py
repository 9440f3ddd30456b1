"""Storms over the program, their revisions, each gauge's part, and what they were at each site."""

from collections.abc import Iterable
from datetime import datetime
from typing import Self

from django.conf import settings
from django.db import models
from django.db.models import Case, Count, F, OuterRef, Q, Subquery, Value, When
from django.db.models.functions import Coalesce
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from sites.models import Basin, Site
from stewardship.common.constraints import not_negative, one_of
from stewardship.hydrology.storms import REPRESENTATIVE_DRY_S, REPRESENTATIVE_OVER_UM
from stewardship.rain.choices import Sureness
from stewardship.rain.models.gauges import Gauge
from stewardship.rain.times import Timed, instant


def _number_of(rows: models.QuerySet, field: str) -> Coalesce:
    """How many different values of a field a storm's rows have; a subquery, so that two counts do not multiply."""
    counted = rows.order_by().values("storm").annotate(n=Count(field, distinct=True))
    return Coalesce(Subquery(counted.values("n")), 0, output_field=models.IntegerField())


class StormQuerySet(models.QuerySet["Storm"]):
    def standing(self) -> Self:
        """Storms that the present readings bear out: not withdrawn, not merged into another."""
        return self.filter(withdrawn_at__isnull=True)

    def overlapping(self, start_s: int, end_s: int) -> Self:
        return self.filter(start_s__lt=end_s, end_s__gt=start_s)

    def with_counts(self, *, least_um: int) -> Self:
        """Adds `length_s`, `gauge_count` (gauges it wetted) and `site_count` (sites that got at least `least_um` of it)."""
        of_storm = OuterRef("pk")
        gauges = GaugeStorm.objects.filter(storm=of_storm)
        sites = SiteRain.objects.filter(storm=of_storm, depth_um__gte=least_um)
        return self.annotate(
            length_s=F("end_s") - F("start_s"),
            gauge_count=_number_of(gauges, "gauge"),
            site_count=_number_of(sites, "site"),
        )


class Storm(Timed, models.Model):
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


class StormRevision(models.Model):
    """What a storm was taken to be before and after each change of its readings."""

    storm = models.ForeignKey(Storm, on_delete=models.CASCADE, related_name="revisions")
    number = models.PositiveIntegerField(_("revision"))
    start_s = models.BigIntegerField(_("from"))
    end_s = models.BigIntegerField(_("until"))
    greatest_um = models.PositiveIntegerField(_("greatest depth at a gauge (µm)"))
    why = models.CharField(_("why"), max_length=200)
    made_at = models.DateTimeField(_("when"), default=timezone.now)
    #: who asked for the storms to be found again; None: readings or an outage brought it about
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        ordering = ["number"]
        constraints = [
            models.UniqueConstraint(fields=["storm", "number"], name="storm_revision_once")
        ]

    def __str__(self) -> str:
        return f"{self.storm_id} r{self.number}"


class StormSearchQuerySet(models.QuerySet["StormSearch"]):
    def waiting(self) -> Self:
        return self.filter(done_at__isnull=True)


class StormSearch(models.Model):
    """Storms of a time to be found again because somebody asked: why, who, and how far it has come."""

    start_s = models.BigIntegerField(_("from"))
    end_s = models.BigIntegerField(_("until"))
    why = models.CharField(_("why"), max_length=160)
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    at = models.DateTimeField(_("asked"), default=timezone.now)
    reached_s = models.BigIntegerField(_("done until"))
    storms = models.PositiveIntegerField(_("storms changed"), default=0)
    rains = models.PositiveIntegerField(_("site rains changed"), default=0)
    done_at = models.DateTimeField(_("done"), null=True, blank=True)

    objects = StormSearchQuerySet.as_manager()

    class Meta:
        verbose_name_plural = _("storm searches")
        ordering = ["-at", "-pk"]
        indexes = [
            # what the rain sweep asks
            models.Index(
                fields=["at"], condition=Q(done_at__isnull=True), name="storm_search_waiting"
            ),
        ]
        constraints = [
            models.CheckConstraint(
                condition=Q(end_s__gt=F("start_s")), name="storm_search_span_forward"
            ),
            models.CheckConstraint(
                condition=Q(reached_s__gte=F("start_s")), name="storm_search_reached_forward"
            ),
            models.CheckConstraint(condition=~Q(why=""), name="storm_search_has_reason"),
        ]

    def __str__(self) -> str:
        return f"{instant(self.start_s):%Y-%m-%d} – {instant(self.end_s):%Y-%m-%d}"

    @property
    def start_at(self) -> datetime:
        return instant(self.start_s)

    @property
    def last_at(self) -> datetime:
        """The last moment that it covers."""
        return instant(self.end_s - 1)

    @property
    def reached_at(self) -> datetime:
        return instant(self.reached_s)


class GaugeStormQuerySet(models.QuerySet["GaugeStorm"]):
    def with_representative(self) -> Self:
        """Adds `representative`: over 0.1 in, at least 72 h after the gauge's last one over 0.1 in (40 CFR 122.21(g)(7)(ii)).

        False for the first such part that a gauge has: what came before it is not known.
        """
        bigger = (
            GaugeStorm.objects.filter(gauge=OuterRef("gauge"), start_s__lt=OuterRef("start_s"))
            .filter(depth_um__gt=REPRESENTATIVE_OVER_UM)
            .order_by("-start_s")
        )
        return self.annotate(big_before_s=Subquery(bigger.values("end_s")[:1])).annotate(
            representative=Case(
                When(
                    depth_um__gt=REPRESENTATIVE_OVER_UM,
                    start_s__gte=F("big_before_s") + REPRESENTATIVE_DRY_S,
                    then=Value(True),
                ),
                default=Value(False),
            )
        )


class GaugeStorm(models.Model):
    """One gauge's part of a storm, with its greatest depths in sliding windows (null: not available at its step).

    A coarse part is made of totals over more than an hour, such as daily readings; it may begin before the storm and end after it.
    `dry_before_s` is the time since the gauge's part before it, null for the first that the gauge has.
    """

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

    objects = GaugeStormQuerySet.as_manager()

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


class SiteRainQuerySet(models.QuerySet["SiteRain"]):
    def standing(self) -> Self:
        """Of storms that the present readings bear out."""
        return self.filter(storm__withdrawn_at__isnull=True)

    def waiting(self) -> Self:
        """Of standing storms, and not yet looked at by any care rule with these figures."""
        return self.standing().filter(weighed_at__isnull=True)


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
    #: the depth that care rules saw when they last looked
    weighed_um = models.PositiveIntegerField(null=True, blank=True, editable=False)

    objects = SiteRainQuerySet.as_manager()

    class Meta:
        ordering = ["site"]
        indexes = [
            # what the duty sweep asks: site rain that no care rule has looked at
            models.Index(
                fields=["storm"], condition=Q(weighed_at__isnull=True), name="site_rain_waiting"
            ),
        ]
        constraints = [
            one_of("sureness", Sureness.values, name="site_rain_sureness_known"),
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


class DeclaredRainQuerySet(models.QuerySet["DeclaredRain"]):
    def standing(self) -> Self:
        return self.filter(withdrawn_at__isnull=True)

    def of_storms(self, storms: Iterable[Storm]) -> "dict[tuple[int, int], DeclaredRain]":
        """What stands declared, by (storm, site). What was said of a storm that is part of another now speaks for that one,
        unless something is said of that one itself; of several the greatest depth."""
        pks = {storm.pk for storm in storms}
        own: dict[tuple[int, int], DeclaredRain] = {}
        joined: dict[tuple[int, int], DeclaredRain] = {}
        rows = self.standing().filter(Q(storm__in=pks) | Q(storm__merged_into__in=pks))
        for said in rows.select_related("storm", "by").order_by("depth_um", "-pk"):
            if said.storm_id in pks:
                own[said.storm_id, said.site_id] = said
            else:
                joined[said.storm.merged_into_id, said.site_id] = said
        return joined | own

    def speaking_for(self, storm: Storm, site: Site) -> "DeclaredRain | None":
        """The declaration that a site's rain of a storm stands on."""
        return self.filter(site=site).of_storms([storm]).get((storm.pk, site.pk))


class DeclaredRain(models.Model):
    """What a coordinator says a storm was at a site, over what the gauges say: who, why, and how much.

    The site's rain of that storm then has this depth and is marked as declared, in every later revision too, until it is withdrawn.
    """

    storm = models.ForeignKey(Storm, on_delete=models.PROTECT, related_name="declared")
    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="declared_rains")
    depth_um = models.PositiveIntegerField(_("depth (µm)"))
    typed = models.CharField(_("as given"), max_length=16)
    reason = models.CharField(_("how you know"), max_length=300)
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )
    at = models.DateTimeField(_("when"), default=timezone.now)
    withdrawn_at = models.DateTimeField(_("withdrawn"), null=True, blank=True)
    withdrawn_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )

    objects = DeclaredRainQuerySet.as_manager()

    class Meta:
        ordering = ["-at"]
        constraints = [
            models.UniqueConstraint(
                fields=["storm", "site"],
                condition=Q(withdrawn_at__isnull=True),
                name="declared_rain_once",
            ),
            models.CheckConstraint(condition=~Q(reason=""), name="declared_rain_has_reason"),
        ]

    def __str__(self) -> str:
        return f"{self.site.code} · {self.storm}: {self.typed}"


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
            models.UniqueConstraint(fields=["site_rain", "basin"], name="basin_water_once"),
            models.CheckConstraint(
                condition=Q(
                    inflow_m3__gte=0,
                    passed_by_m3__gte=0,
                    soaked_m3__gte=0,
                    spilled_m3__gte=0,
                    greatest_depth_m__gte=0,
                ),
                name="basin_water_not_negative",
            ),
            not_negative("hours_to_drain", name="basin_water_drain_time_not_negative"),
        ]

    def __str__(self) -> str:
        return f"{self.basin}"
