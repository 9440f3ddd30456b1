"""Published frequencies of rain at a place, with which storms are compared."""

from functools import cached_property
from typing import Any, Self

from django.conf import settings
from django.db import models
from django.db.models import F, Q
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from stewardship.common.constraints import one_of
from stewardship.hydrology.unusual import Frequencies
from stewardship.rain.choices import RainSeries


class FrequencyTableQuerySet(models.QuerySet["FrequencyTable"]):
    def standing(self) -> Self:
        """Those that storms are compared with: not replaced, not withdrawn."""
        return self.filter(ended_at__isnull=True)


class FrequencyTable(models.Model):
    """How often how much rain falls at a place, as somebody published it. A newer one of the same place replaces it."""

    name = models.CharField(_("place"), max_length=120)
    lat = models.FloatField(_("latitude"))
    lon = models.FloatField(_("longitude"))
    source = models.CharField(_("source"), max_length=200)
    series = models.CharField(_("series"), max_length=8, choices=RainSeries)
    #: {"durations_s": […], "years": […], "depths_um": [[… or null] …]}, see `Frequencies`
    table = models.JSONField(_("depths"))
    text = models.TextField(_("the file as it came"))
    at = models.DateTimeField(_("entered"), default=timezone.now)
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    ended_at = models.DateTimeField(_("until"), null=True, blank=True)
    ended_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    #: the newer one of the same place; None once ended: withdrawn
    replaced_by = models.ForeignKey(
        "self", null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )

    objects = FrequencyTableQuerySet.as_manager()

    class Meta:
        ordering = ["name", "-at", "-pk"]
        constraints = [
            one_of("series", RainSeries.values, name="frequency_table_series_known"),
            models.CheckConstraint(
                condition=Q(lat__gte=-90, lat__lte=90, lon__gte=-180, lon__lte=180),
                name="frequency_table_on_earth",
            ),
            models.CheckConstraint(
                condition=~Q(name="") & ~Q(source=""), name="frequency_table_says_whose"
            ),
            models.UniqueConstraint(
                fields=["lat", "lon"],
                condition=Q(ended_at__isnull=True),
                name="frequency_table_once_a_place",
            ),
            models.CheckConstraint(
                condition=Q(ended_at__isnull=True, ended_by__isnull=True, replaced_by__isnull=True)
                | Q(ended_at__isnull=False, ended_at__gte=F("at")),
                name="frequency_table_ended_at_a_time",
            ),
        ]

    def __str__(self) -> str:
        return self.name

    @cached_property
    def frequencies(self) -> Frequencies:
        return Frequencies(
            durations_s=tuple(self.table["durations_s"]),
            years=tuple(self.table["years"]),
            depths_um=tuple(tuple(row) for row in self.table["depths_um"]),
            annual=self.series == RainSeries.ANNUAL,
        )

    @staticmethod
    def kept(frequencies: Frequencies) -> dict[str, Any]:
        """What goes into `series` and `table`."""
        return {
            "series": RainSeries.ANNUAL if frequencies.annual else RainSeries.PARTIAL,
            "table": {
                "durations_s": list(frequencies.durations_s),
                "years": list(frequencies.years),
                "depths_um": [list(row) for row in frequencies.depths_um],
            },
        }
