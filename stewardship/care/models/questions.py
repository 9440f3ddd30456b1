"""What a person has to find out or decide: contacts to verify, late and unknown rain."""

from typing import Self

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from people.models import Person
from sites.models import Site
from stewardship.care.choices import (
    CheckReason,
    RainAsk,
    RainDecision,
)
from stewardship.care.models.duties import Duty
from stewardship.common.constraints import one_of
from stewardship.rain.models import Storm


class ContactCheckQuerySet(models.QuerySet["ContactCheck"]):
    def open(self) -> Self:
        return self.filter(closed_at__isnull=True)


class ContactCheck(models.Model):
    """A job for the coordinator: find out who and where somebody is now."""

    person = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="contact_checks")
    site = models.ForeignKey(
        Site, null=True, blank=True, on_delete=models.PROTECT, related_name="contact_checks"
    )
    reason = models.CharField(_("reason"), max_length=12, choices=CheckReason)
    note = models.TextField(_("note"), blank=True)
    opened_at = models.DateTimeField(_("opened"), default=timezone.now)
    closed_at = models.DateTimeField(_("closed"), null=True, blank=True)
    closed_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    outcome = models.CharField(_("what was found out"), max_length=300, blank=True)
    objects = ContactCheckQuerySet.as_manager()

    class Meta:
        ordering = ["opened_at"]
        constraints = [
            one_of("reason", CheckReason.values, name="contact_check_reason_known"),
            models.UniqueConstraint(
                fields=["person", "site", "reason"],
                condition=Q(closed_at__isnull=True, site__isnull=False),
                name="contact_check_open_once_per_site",
            ),
            models.UniqueConstraint(
                fields=["person", "reason"],
                condition=Q(closed_at__isnull=True, site__isnull=True),
                name="contact_check_open_once",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.person}: {self.get_reason_display()}"


class RainQuestionQuerySet(models.QuerySet["RainQuestion"]):
    def open(self) -> Self:
        return self.filter(decided_at__isnull=True)


class RainQuestion(models.Model):
    """Late or unknown rain that no rule acts on by itself: a person decides, once.

    `duty`: of what was told needlessly, the duty that told them; otherwise the one that the decision opened or joined.
    """

    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="rain_questions")
    storm = models.ForeignKey(Storm, on_delete=models.PROTECT, related_name="rain_questions")
    duty = models.ForeignKey(
        Duty, null=True, blank=True, on_delete=models.PROTECT, related_name="rain_questions"
    )
    ask = models.CharField(_("question"), max_length=12, choices=RainAsk)
    storm_revision = models.PositiveIntegerField(_("of storm revision"))
    #: depth at the site when it was asked, and as care rules had seen it before; null: not known, or never seen
    depth_um = models.PositiveIntegerField(_("depth (µm)"), null=True, blank=True)
    before_um = models.PositiveIntegerField(_("depth before (µm)"), null=True, blank=True)
    least_um = models.PositiveIntegerField(_("depth of the rule (µm)"), null=True, blank=True)
    asked_at = models.DateTimeField(_("asked"), default=timezone.now)
    decided_at = models.DateTimeField(_("decided"), null=True, blank=True)
    decision = models.CharField(_("decision"), max_length=12, choices=RainDecision, blank=True)
    decided_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    note = models.CharField(_("note"), max_length=300, blank=True)

    objects = RainQuestionQuerySet.as_manager()

    class Meta:
        ordering = ["-storm__end_s", "site", "pk"]
        constraints = [
            one_of("ask", RainAsk.values, name="rain_question_known"),
            models.CheckConstraint(
                condition=Q(decided_at__isnull=True, decision="")
                | Q(decided_at__isnull=False, decision__in=RainDecision.values),
                name="rain_question_decided_iff_time",
            ),
            models.CheckConstraint(
                condition=~Q(ask=RainAsk.NEEDLESS) | Q(duty__isnull=False),
                name="rain_question_needless_names_duty",
            ),
            models.UniqueConstraint(
                fields=["site", "storm"],
                condition=Q(decided_at__isnull=True),
                name="rain_question_open_once",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.site.code}: {self.get_ask_display()}"
