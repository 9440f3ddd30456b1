"""Water that ran though no storm says so, as people report it; and how much of such news acts by itself."""

from datetime import date
from typing import Self

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from people.models import Person
from sites.models import Site
from stewardship.care import rules
from stewardship.care.choices import FlowKind, ReportState
from stewardship.care.models.duties import Duty
from stewardship.common.constraints import one_of


class FlowReportQuerySet(models.QuerySet["FlowReport"]):
    def waiting(self) -> Self:
        return self.filter(state=ReportState.WAITING)

    def about(self, site: Site, day: date) -> Self:
        """Reports of the same water: those of one site and day."""
        return self.filter(site=site, ran_on=day)


class FlowReport(models.Model):
    """Somebody says that water ran at a site: when, what it was, who says so; and what a coordinator made of it.

    `person` says so, or a neighbour whose name was given (`told_by`), or nobody but the log-in that wrote it down (`by`).
    """

    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="flow_reports")
    kind = models.CharField(_("what it was"), max_length=12, choices=FlowKind)
    ran_on = models.DateField(_("day it ran"))
    ran_at = models.TimeField(_("about what time"), null=True, blank=True)
    note = models.CharField(_("note"), max_length=300, blank=True)
    person = models.ForeignKey(
        Person, null=True, blank=True, on_delete=models.PROTECT, related_name="flow_reports"
    )
    told_by = models.CharField(_("who says so"), max_length=120, blank=True)
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    at = models.DateTimeField(_("told us"), default=timezone.now)
    state = models.CharField(
        _("state"), max_length=12, choices=ReportState, default=ReportState.WAITING
    )
    duty = models.ForeignKey(
        Duty, null=True, blank=True, on_delete=models.PROTECT, related_name="flow_reports"
    )
    decided_at = models.DateTimeField(_("decided"), null=True, blank=True)
    #: nobody: a setting let it act by itself
    decided_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    why = models.CharField(_("why"), max_length=300, blank=True)

    objects = FlowReportQuerySet.as_manager()

    class Meta:
        ordering = ["-ran_on", "-pk"]
        constraints = [
            one_of("kind", FlowKind.values, name="flow_report_kind_known"),
            one_of("state", ReportState.values, name="flow_report_state_known"),
            models.CheckConstraint(
                condition=Q(state=ReportState.WAITING, decided_at__isnull=True)
                | (~Q(state=ReportState.WAITING) & Q(decided_at__isnull=False)),
                name="flow_report_decided_iff_time",
            ),
            models.CheckConstraint(
                condition=Q(state=ReportState.ACTED, duty__isnull=False)
                | (~Q(state=ReportState.ACTED) & Q(duty__isnull=True)),
                name="flow_report_acted_iff_duty",
            ),
            models.CheckConstraint(
                condition=~Q(state=ReportState.SET_ASIDE) | ~Q(why=""),
                name="flow_report_set_aside_says_why",
            ),
            models.UniqueConstraint(
                fields=["site", "ran_on", "kind", "person"],
                condition=Q(person__isnull=False),
                name="flow_report_once_per_person",
            ),
            models.UniqueConstraint(
                fields=["site", "ran_on", "kind", "told_by"],
                condition=Q(person__isnull=True),
                name="flow_report_once_per_teller",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.site.code}: {self.get_kind_display()}, {self.ran_on}"

    @property
    def teller(self) -> str:
        """Who says so, in a few words."""
        return str(self.person or self.told_by or self.by or "")


class LateNewsRuleQuerySet(models.QuerySet["LateNewsRule"]):
    def in_force(self, *, on: date) -> "LateNewsRule":
        """The rule that holds on that day; before the first, an unsaved one with the usual figures."""
        rule = self.filter(starts_on__lte=on).order_by("-starts_on").first()
        return rule or LateNewsRule(starts_on=on)


class LateNewsRule(models.Model):
    """How much late news acts by itself. Dated: what was decided under an earlier rule stays as it is."""

    starts_on = models.DateField(_("from"), unique=True)
    acts_alone_days = models.PositiveSmallIntegerField(
        _("days after which rain asks for no look by itself"), default=rules.ACTS_ALONE_DAYS
    )
    reports_act = models.BooleanField(
        _("a resident’s word that water ran asks for a look by itself"), default=False
    )

    objects = LateNewsRuleQuerySet.as_manager()

    class Meta:
        ordering = ["starts_on"]
        constraints = [
            models.CheckConstraint(
                condition=Q(acts_alone_days__lte=rules.ASKS_DAYS),
                name="late_news_rule_within_asking",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.starts_on}: {self.acts_alone_days} d"
