"""Issued reports, frozen with their figures and bytes."""

from datetime import datetime
from typing import Self

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from people.choices import Language
from people.models import Agency, User
from stewardship.common.constraints import one_of
from stewardship.common.events import StateEvent
from stewardship.reports.choices import UNDER_WAY, ReportState


class ReportQuerySet(models.QuerySet["Report"]):
    def waiting(self) -> Self:
        """Requested and taken by nobody, oldest first."""
        return self.filter(state=ReportState.REQUESTED).order_by("requested_at", "pk")

    def stuck(self, *, since: datetime) -> Self:
        """Taken before `since` by a builder that never said how it went."""
        return self.filter(state=ReportState.BUILDING, taken_at__lt=since)

    def readable_by(self, user: User) -> Self:
        """All for a coordinator; for a reviewer the issued ones about the reviewer's own agencies."""
        if user.is_coordinator:
            return self
        return self.filter(state=ReportState.ISSUED, agency__in=user.agencies())


class Report(models.Model):
    """A yearly report, for the whole program or one agency's sites. Issued ones are never rewritten."""

    starts_on = models.DateField(_("from"))
    ends_on = models.DateField(_("to"))
    agency = models.ForeignKey(
        Agency,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="reports",
        verbose_name=_("agency"),
    )
    language = models.CharField(_("language"), max_length=8, choices=Language, default=Language.EN)
    state = models.CharField(
        _("state"), max_length=12, choices=ReportState, default=ReportState.REQUESTED
    )
    figures = models.JSONField(_("figures"), null=True)
    content = models.BinaryField(null=True, editable=False)
    sha256 = models.CharField(max_length=64, blank=True)
    pages = models.PositiveSmallIntegerField(_("pages"), null=True)
    requested_at = models.DateTimeField(_("requested"), default=timezone.now)
    requested_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    taken_at = models.DateTimeField(null=True, blank=True)
    issued_at = models.DateTimeField(_("issued"), null=True, blank=True)
    error = models.CharField(_("what went wrong"), max_length=300, blank=True)

    objects = ReportQuerySet.as_manager()

    class Meta:
        ordering = ["-requested_at", "-pk"]
        constraints = [
            one_of("state", ReportState.values, name="report_state_known"),
            models.CheckConstraint(
                condition=Q(ends_on__gte=models.F("starts_on")), name="report_days_in_order"
            ),
            models.UniqueConstraint(
                fields=["starts_on", "ends_on", "language"],
                condition=Q(agency__isnull=True, state__in=UNDER_WAY),
                name="report_program_under_way_once",
            ),
            models.UniqueConstraint(
                fields=["starts_on", "ends_on", "language", "agency"],
                condition=Q(agency__isnull=False, state__in=UNDER_WAY),
                name="report_agency_under_way_once",
            ),
            models.CheckConstraint(
                condition=~Q(state=ReportState.ISSUED)
                | Q(issued_at__isnull=False, content__isnull=False, figures__isnull=False),
                name="report_issued_is_complete",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.starts_on} – {self.ends_on}"


class ReportEvent(StateEvent):
    report = models.ForeignKey(Report, on_delete=models.CASCADE, related_name="events")
