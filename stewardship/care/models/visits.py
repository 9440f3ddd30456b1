"""What really happened at a site: visits, findings, silt taken out."""

from datetime import date
from typing import Self

from django.conf import settings
from django.db import models
from django.db.models import Exists, OuterRef, Q
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from people.models import Agency, Person
from sites.models import Basin, SedimentTrap, Site
from stewardship.care.choices import (
    Evidence,
    Item,
    Judgement,
    Outcome,
)
from stewardship.care.models.duties import Duty
from stewardship.common.constraints import not_negative, one_of


class VisitQuerySet(models.QuerySet["Visit"]):
    def looks(self, *, until: date) -> Self:
        """Visits up to that day on which somebody really saw the site: not one where every finding says "not seen"."""
        seen = Finding.objects.filter(visit=OuterRef("pk"))
        return self.filter(outcome=Outcome.DONE, happened_on__lte=until).filter(
            ~Exists(seen) | Exists(seen.exclude(judgement=Judgement.NOT_SEEN))
        )


class Visit(models.Model):
    """What happened at a site: who did it, when it happened, when it was written down. Done by is not owed by."""

    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="visits")
    duty = models.ForeignKey(
        Duty, null=True, blank=True, on_delete=models.PROTECT, related_name="visits"
    )
    done_by = models.ForeignKey(
        Person, null=True, blank=True, on_delete=models.PROTECT, related_name="visits"
    )
    done_by_agency = models.ForeignKey(
        Agency, null=True, blank=True, on_delete=models.PROTECT, related_name="visits"
    )
    happened_on = models.DateField(_("happened"))
    entered_at = models.DateTimeField(_("entered"), default=timezone.now)
    entered_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    outcome = models.CharField(_("outcome"), max_length=12, choices=Outcome, default=Outcome.DONE)
    evidence = models.CharField(
        _("evidence"), max_length=12, choices=Evidence, default=Evidence.REPORTED
    )
    minutes = models.PositiveSmallIntegerField(_("minutes"), null=True, blank=True)
    note = models.TextField(_("note"), blank=True)
    #: made with the form; the same form sent twice is one visit
    entry_key = models.UUIDField(null=True, blank=True, unique=True, editable=False)

    objects = VisitQuerySet.as_manager()

    class Meta:
        ordering = ["-happened_on", "-pk"]
        constraints = [
            one_of("outcome", Outcome.values, name="visit_outcome_known"),
            one_of("evidence", Evidence.values, name="visit_evidence_known"),
            models.CheckConstraint(
                condition=Q(done_by__isnull=True) | Q(done_by_agency__isnull=True),
                name="visit_person_or_agency",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.site.code}: {self.happened_on}"


class Finding(models.Model):
    """One observation on a visit, judged."""

    visit = models.ForeignKey(Visit, on_delete=models.CASCADE, related_name="findings")
    basin = models.ForeignKey(
        Basin, null=True, blank=True, on_delete=models.PROTECT, related_name="findings"
    )
    item = models.CharField(_("item"), max_length=12, choices=Item)
    judgement = models.CharField(_("judgement"), max_length=12, choices=Judgement)
    measured_m = models.FloatField(
        _("measured (m)"),
        null=True,
        blank=True,
        help_text=_("Of a trap: from the inlet bottom down to the silt."),
    )
    note = models.CharField(_("note"), max_length=300, blank=True)

    class Meta:
        ordering = ["pk"]
        constraints = [
            not_negative("measured_m", name="finding_measure_not_negative"),
            one_of("item", Item.values, name="finding_item_known"),
            one_of("judgement", Judgement.values, name="finding_judgement_known"),
            models.UniqueConstraint(
                fields=["visit", "basin", "item"], name="finding_once_per_basin_item"
            ),
            models.UniqueConstraint(
                fields=["visit", "item"],
                condition=Q(basin__isnull=True),
                name="finding_once_per_site_item",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_item_display()}: {self.get_judgement_display()}"


class CleanOut(models.Model):
    """Silt taken out of a sediment trap on a visit."""

    visit = models.ForeignKey(Visit, on_delete=models.CASCADE, related_name="clean_outs")
    trap = models.ForeignKey(SedimentTrap, on_delete=models.PROTECT, related_name="clean_outs")
    litres = models.FloatField(_("litres taken out"))
    drop_before_m = models.FloatField(
        _("inlet bottom down to the silt, before (m)"), null=True, blank=True
    )

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["visit", "trap"], name="clean_out_once_per_visit"),
            models.CheckConstraint(condition=Q(litres__gt=0), name="clean_out_took_something"),
            not_negative("drop_before_m", name="clean_out_drop_not_negative"),
        ]

    def __str__(self) -> str:
        return f"{self.litres:g} L"

    @property
    def m3(self) -> float:
        return self.litres / 1000
