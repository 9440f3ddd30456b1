"""Issued reports, frozen with their figures and bytes."""

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from people.models import Agency
from stewardship.common.constraints import one_of
from stewardship.reports.choices import ReportState


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
    language = models.CharField(_("language"), max_length=8, default="en")
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

    class Meta:
        ordering = ["-requested_at", "-pk"]
        constraints = [
            one_of("state", ReportState.values, name="report_state_known"),
            models.CheckConstraint(
                condition=Q(ends_on__gte=models.F("starts_on")), name="report_days_in_order"
            ),
            models.CheckConstraint(
                condition=~Q(state=ReportState.ISSUED)
                | Q(issued_at__isnull=False, content__isnull=False, figures__isnull=False),
                name="report_issued_is_complete",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.starts_on} – {self.ends_on}"
