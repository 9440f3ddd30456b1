"""Gauges, their outages, and the dated settings of storm finding."""

from datetime import date, datetime
from typing import Self

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from people.models import Person
from stewardship.common.constraints import in_order, one_of
from stewardship.common.events import StateEvent
from stewardship.rain.choices import DepthUnit, GaugeChange, GaugeKind
from stewardship.rain.times import instant


class RainRuleQuerySet(models.QuerySet["RainRule"]):
    def standing(self) -> Self:
        return self.filter(withdrawn_at__isnull=True)

    def in_force(self, *, on: date) -> "RainRule":
        """The rule that holds on that day; before the first, an unsaved one with the usual figures."""
        rule = self.standing().filter(starts_on__lte=on).order_by("-starts_on").first()
        return rule or RainRule(starts_on=on)


class RainRule(models.Model):
    """Dated settings of storm finding. Past storms are not recomputed when a new rule starts."""

    starts_on = models.DateField(_("from"))
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
    at = models.DateTimeField(_("entered"), default=timezone.now)
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    withdrawn_at = models.DateTimeField(_("taken out"), null=True, blank=True)
    withdrawn_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )

    objects = RainRuleQuerySet.as_manager()

    class Meta:
        ordering = ["starts_on"]
        constraints = [
            models.CheckConstraint(condition=Q(dry_gap_s__gt=0), name="rain_rule_gap_positive"),
            models.UniqueConstraint(
                fields=["starts_on"],
                condition=Q(withdrawn_at__isnull=True),
                name="rain_rule_once_a_day",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.starts_on}: {self.dry_gap_s / 3600:g} h"


class GaugeQuerySet(models.QuerySet["Gauge"]):
    def active(self, *, on: date) -> Self:
        """Gauges that stood on that day, the last one included."""
        return self.filter(starts_by(on) & lasts_until(on))

    def read_by(self, person: Person | None) -> Self:
        """Gauges that this person reads; none for a log-in without a person."""
        return self.filter(readers=person) if person is not None else self.none()


def starts_by(day: date) -> Q:
    return Q(started_on__lte=day)


def lasts_until(day: date) -> Q:
    return Q(ended_on__isnull=True) | Q(ended_on__gte=day)


class Gauge(models.Model):
    """A rain gauge and how it reports."""

    code = models.SlugField(_("gauge code"), max_length=24, unique=True)
    name = models.CharField(_("name"), max_length=120)
    kind = models.CharField(_("kind"), max_length=12, choices=GaugeKind)
    reach_m = models.PositiveIntegerField(_("how far it speaks for (m)"), default=5_000)
    unit = models.CharField(
        _("unit it reports in"), max_length=4, choices=DepthUnit, default=DepthUnit.INCH
    )
    resolution_um = models.PositiveIntegerField(
        _("least amount it can show (µm)"),
        default=254,
        help_text=_("0.01 in is 254; of a tipping bucket, what one tip holds."),
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

    objects = GaugeQuerySet.as_manager()

    class Meta:
        ordering = ["code"]
        constraints = [
            one_of("kind", GaugeKind.values, name="gauge_kind_known"),
            one_of("unit", DepthUnit.values, name="gauge_unit_known"),
            models.CheckConstraint(
                condition=Q(resolution_um__gt=0), name="gauge_resolution_positive"
            ),
            models.CheckConstraint(
                condition=Q(
                    kind=GaugeKind.DAILY,
                    observation_hour__isnull=False,
                    observation_hour__gte=0,
                    observation_hour__lte=23,
                )
                | (~Q(kind=GaugeKind.DAILY) & Q(observation_hour__isnull=True)),
                name="gauge_hour_iff_daily",
            ),
            in_order("started_on", "ended_on", name="gauge_days_in_order"),
        ]

    def __str__(self) -> str:
        return f"{self.code} · {self.name}"

    def stands(self, *, on: date) -> bool:
        return self.started_on <= on and (self.ended_on is None or on <= self.ended_on)

    def place(self, *, on: date) -> "GaugePlace":
        """Where it stood on that day; before its first place, the first. Every gauge has one. Reads what is prefetched."""
        places = sorted(self.places.all(), key=lambda place: place.since)
        return next((place for place in reversed(places) if place.since <= on), places[0])

    def change_log(self) -> models.QuerySet["GaugeEvent"]:
        """What was changed about it, newest first."""
        return self.events.select_related("by").order_by("-at", "-pk")


class GaugePlace(models.Model):
    """Where a gauge stood from a day on, until its next place. A moved gauge keeps its history where it was."""

    gauge = models.ForeignKey(Gauge, on_delete=models.CASCADE, related_name="places")
    since = models.DateField(_("since"))
    lat = models.FloatField(_("latitude"))
    lon = models.FloatField(_("longitude"))
    note = models.CharField(_("note"), max_length=200, blank=True)

    class Meta:
        ordering = ["since"]
        constraints = [
            models.UniqueConstraint(fields=["gauge", "since"], name="gauge_place_once_a_day"),
            models.CheckConstraint(
                condition=Q(lat__gte=-90, lat__lte=90, lon__gte=-180, lon__lte=180),
                name="gauge_place_on_earth",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.gauge.code} {self.since}: {self.lat:.5f}, {self.lon:.5f}"


class LiveQuerySet(models.QuerySet):
    """Of what opens a door until it is withdrawn."""

    def live(self) -> Self:
        return self.filter(revoked_at__isnull=True)


class Door(models.Model):
    """A way in for one gauge's readings that can be withdrawn. Concrete classes add `digest`; what opens it is shown once, not kept."""

    made_at = models.DateTimeField(_("made"), default=timezone.now)
    made_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )
    last_used_at = models.DateTimeField(_("last used"), null=True, blank=True)
    revoked_at = models.DateTimeField(_("withdrawn"), null=True, blank=True)

    objects = LiveQuerySet.as_manager()

    class Meta:
        abstract = True
        ordering = ["made_at"]


class GaugeToken(Door):
    """What an automatic gauge shows to hand in readings. Only its digest is kept; the token itself is shown once."""

    gauge = models.ForeignKey(Gauge, on_delete=models.CASCADE, related_name="tokens")
    digest = models.CharField(_("SHA-256 of the token"), max_length=64, unique=True)
    label = models.CharField(_("for which machine"), max_length=80)

    class Meta(Door.Meta):
        constraints = [
            models.UniqueConstraint(
                fields=["gauge", "label"],
                condition=Q(revoked_at__isnull=True),
                name="gauge_token_label_once",
            )
        ]

    def __str__(self) -> str:
        return f"{self.gauge.code}: {self.label}"


class ReaderLink(Door):
    """A link with which one reader writes down one gauge's readings without a log-in. Only a digest of it is kept."""

    gauge = models.ForeignKey(Gauge, on_delete=models.CASCADE, related_name="reader_links")
    person = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    digest = models.CharField(_("SHA-256 of the link"), max_length=64, unique=True)

    class Meta(Door.Meta):
        constraints = [
            models.UniqueConstraint(
                fields=["gauge", "person"],
                condition=Q(revoked_at__isnull=True),
                name="reader_link_once",
            )
        ]

    def __str__(self) -> str:
        return f"{self.gauge.code}: {self.person}"

    def opens(self, *, on: date) -> bool:
        """Whether it still lets its reader write: not withdrawn, and that day it is theirs to read by hand."""
        return (
            self.revoked_at is None
            and self.gauge.kind == GaugeKind.DAILY
            and self.gauge.stands(on=on)
            and self.gauge.readers.filter(pk=self.person_id).exists()
        )


class GaugeEvent(StateEvent):
    """What was changed about a gauge, by whom: made, moved, ended, out, back, its readers, its tokens."""

    gauge = models.ForeignKey(Gauge, on_delete=models.CASCADE, related_name="events")

    @property
    def change_words(self) -> str:
        return str(dict(GaugeChange.choices).get(self.became, self.became))


class GaugeOutageQuerySet(models.QuerySet["GaugeOutage"]):
    def during(self, moment_s: int) -> Self:
        """Outages that a moment falls into."""
        return self.filter(start_s__lte=moment_s).filter(
            Q(end_s__isnull=True) | Q(end_s__gt=moment_s)
        )


class GaugeOutage(models.Model):
    """A time in which a gauge did not measure, whatever it reported. No end yet: it is still out."""

    gauge = models.ForeignKey(Gauge, on_delete=models.CASCADE, related_name="outages")
    start_s = models.BigIntegerField(_("from"))
    end_s = models.BigIntegerField(_("until"), null=True, blank=True)
    why = models.CharField(_("why"), max_length=200)

    objects = GaugeOutageQuerySet.as_manager()

    class Meta:
        ordering = ["start_s"]
        constraints = [in_order("start_s", "end_s", name="outage_times_in_order")]

    def __str__(self) -> str:
        return f"{self.gauge.code}: {self.why}"

    @property
    def start_at(self) -> datetime:
        return instant(self.start_s)

    @property
    def end_at(self) -> datetime | None:
        return None if self.end_s is None else instant(self.end_s)
