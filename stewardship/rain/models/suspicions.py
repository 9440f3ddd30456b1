"""Stretches of a gauge's record that look wrong, and what a person said about them."""

from typing import Self

from django.conf import settings
from django.db import models
from django.db.models import Exists, F, OuterRef, Q
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from stewardship.common.constraints import one_of
from stewardship.rain.choices import SuspicionKind
from stewardship.rain.models.gauges import Gauge, GaugeOutage
from stewardship.rain.times import Timed, instant


class SuspicionQuerySet(models.QuerySet["Suspicion"]):
    def with_outage(self) -> Self:
        """Adds `out`: whether an outage of the gauge is down for part of the stretch."""
        out = GaugeOutage.objects.filter(gauge=OuterRef("gauge"), start_s__lt=OuterRef("end_s"))
        return self.annotate(
            out=Exists(out.filter(Q(end_s__isnull=True) | Q(end_s__gt=OuterRef("start_s"))))
        )

    def waiting(self) -> Self:
        """Those nobody has said anything about: neither found right nor explained by an outage."""
        return self.filter(set_aside_at__isnull=True).with_outage().filter(out=False)


class Suspicion(Timed, models.Model):
    """A stretch of a gauge's record that looks wrong. Found again it is the same one, until a person finds it right."""

    gauge = models.ForeignKey(Gauge, on_delete=models.CASCADE, related_name="suspicions")
    kind = models.CharField(_("kind"), max_length=12, choices=SuspicionKind)
    start_s = models.BigIntegerField(_("from"))
    end_s = models.BigIntegerField(_("until"))
    #: the figures of its sentence, see `suspecting.py`
    facts = models.JSONField(_("figures"), default=dict)
    found_at = models.DateTimeField(_("found"), default=timezone.now)
    set_aside_at = models.DateTimeField(_("found right"), null=True, blank=True)
    set_aside_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    set_aside_note = models.CharField(_("why it is right"), max_length=300, blank=True)
    #: what was looked at: a stretch that goes on long after this asks again
    set_aside_end_s = models.BigIntegerField(null=True, blank=True, editable=False)

    objects = SuspicionQuerySet.as_manager()

    class Meta:
        ordering = ["-end_s", "kind"]
        constraints = [
            one_of("kind", SuspicionKind.values, name="suspicion_kind_known"),
            models.UniqueConstraint(fields=["gauge", "kind", "start_s"], name="suspicion_once"),
            models.CheckConstraint(
                condition=Q(end_s__gt=F("start_s")), name="suspicion_times_in_order"
            ),
            models.CheckConstraint(
                condition=Q(
                    set_aside_at__isnull=True,
                    set_aside_by__isnull=True,
                    set_aside_end_s__isnull=True,
                    set_aside_note="",
                )
                | (
                    Q(
                        set_aside_at__isnull=False,
                        set_aside_by__isnull=False,
                        set_aside_end_s__isnull=False,
                    )
                    & ~Q(set_aside_note="")
                ),
                name="suspicion_set_aside_by_somebody_with_a_note",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.gauge_id} {self.kind} {instant(self.start_s):%Y-%m-%d}"
