"""Who × role × site × under which agreement, over time."""

from datetime import date
from typing import Self

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from people.models import Agency, Organisation, Person
from sites.models import Site
from stewardship.agreements.choices import ResponsibilityRole
from stewardship.agreements.models.agreement import Agreement
from stewardship.common.constraints import in_order, one_of


class ResponsibilityQuerySet(models.QuerySet["Responsibility"]):
    def as_of(self, day: date) -> Self:
        """Responsibilities that hold on that day."""
        return self.filter(starts_on__lte=day).filter(Q(ends_on__isnull=True) | Q(ends_on__gt=day))

    def for_site(self, site: Site) -> Self:
        return (
            self.filter(site=site)
            .select_related("person", "agency", "organisation", "agreement")
            .order_by("starts_on", "pk")
        )


class Responsibility(models.Model):
    """Who × role × site × under which agreement, from a day until before another."""

    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="responsibilities")
    role = models.CharField(_("role"), max_length=12, choices=ResponsibilityRole)
    person = models.ForeignKey(
        Person, null=True, blank=True, on_delete=models.PROTECT, related_name="responsibilities"
    )
    agency = models.ForeignKey(
        Agency, null=True, blank=True, on_delete=models.PROTECT, related_name="responsibilities"
    )
    organisation = models.ForeignKey(
        Organisation,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="responsibilities",
    )
    agreement = models.ForeignKey(
        Agreement, on_delete=models.PROTECT, related_name="responsibilities"
    )
    part = models.CharField(_("which part"), max_length=160, blank=True)
    starts_on = models.DateField(_("from"))
    ends_on = models.DateField(_("until"), null=True, blank=True)
    ended_why = models.CharField(_("why it ended"), max_length=200, blank=True)

    objects = ResponsibilityQuerySet.as_manager()

    class Meta:
        verbose_name_plural = _("responsibilities")
        ordering = ["starts_on", "pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(person__isnull=False, agency__isnull=True, organisation__isnull=True)
                | Q(person__isnull=True, agency__isnull=False, organisation__isnull=True)
                | Q(person__isnull=True, agency__isnull=True, organisation__isnull=False),
                name="responsibility_one_holder",
            ),
            one_of("role", ResponsibilityRole.values, name="responsibility_role_known"),
            in_order("starts_on", "ends_on", name="responsibility_days_in_order"),
            models.UniqueConstraint(
                fields=["site", "role", "person"],
                condition=Q(ends_on__isnull=True, person__isnull=False),
                name="responsibility_person_open_once",
            ),
            models.UniqueConstraint(
                fields=["site", "role", "agency"],
                condition=Q(ends_on__isnull=True, agency__isnull=False),
                name="responsibility_agency_open_once",
            ),
            models.UniqueConstraint(
                fields=["site", "role", "organisation"],
                condition=Q(ends_on__isnull=True, organisation__isnull=False),
                name="responsibility_organisation_open_once",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.holder} {self.get_role_display()}"

    @property
    def holder(self) -> Person | Agency | Organisation:
        return self.person or self.agency or self.organisation
