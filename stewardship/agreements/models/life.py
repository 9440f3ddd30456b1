"""What happens to a promise later: pauses, disputes, claims for putting the works back."""

from datetime import date
from typing import Self

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from people.models import Person
from sites.models import Site
from stewardship.agreements.choices import PauseEffect, PauseKind
from stewardship.common.constraints import in_order, one_of


class PauseQuerySet(models.QuerySet["Pause"]):
    def on(self, day: date) -> Self:
        """Pauses that hold on that day."""
        return self.filter(starts_on__lte=day).filter(Q(ends_on__isnull=True) | Q(ends_on__gt=day))


class Pause(models.Model):
    """A time in which somebody cannot care for a site, or in which the site itself rests. `ends_on`: first day after it.

    Why somebody cannot is private: coordinators read it, nobody else.
    """

    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="pauses")
    kind = models.CharField(_("what rests"), max_length=8, choices=PauseKind)
    person = models.ForeignKey(
        Person,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="pauses",
        verbose_name=_("who cannot"),
    )
    starts_on = models.DateField(_("from"))
    ends_on = models.DateField(_("until before"), null=True, blank=True)
    why = models.CharField(_("why"), max_length=200, blank=True)
    cover = models.ForeignKey(
        Person,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="covers",
        verbose_name=_("who covers"),
    )
    effect = models.CharField(_("the duty meanwhile"), max_length=8, choices=PauseEffect)
    entered_at = models.DateTimeField(_("entered"), default=timezone.now)
    entered_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )

    objects = PauseQuerySet.as_manager()

    class Meta:
        ordering = ["-starts_on", "-pk"]
        constraints = [
            one_of("kind", PauseKind.values, name="pause_kind_known"),
            one_of("effect", PauseEffect.values, name="pause_effect_known"),
            in_order("starts_on", "ends_on", name="pause_days_in_order"),
            models.CheckConstraint(
                condition=Q(kind=PauseKind.PERSON, person__isnull=False)
                | Q(kind=PauseKind.WORKS, person__isnull=True, cover__isnull=True),
                name="pause_names_who_cannot",
            ),
            models.CheckConstraint(
                condition=Q(cover__isnull=True) | ~Q(cover=models.F("person")),
                name="pause_covered_by_another",
            ),
            models.UniqueConstraint(
                fields=["site", "person"],
                condition=Q(ends_on__isnull=True, kind=PauseKind.PERSON),
                name="pause_of_person_open_once",
            ),
            models.UniqueConstraint(
                fields=["site"],
                condition=Q(ends_on__isnull=True, kind=PauseKind.WORKS),
                name="pause_of_works_open_once",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.site.code}: {self.get_kind_display()}"


class DisputeQuerySet(models.QuerySet["Dispute"]):
    def open(self, *, on: date) -> Self:
        """Disputes that stand on that day: the clocks of their sites stand still."""
        return self.filter(opened_on__lte=on).filter(
            Q(closed_on__isnull=True) | Q(closed_on__gt=on)
        )


class Dispute(models.Model):
    """Somebody says that a site or a finding is not theirs. Both sides are kept; clocks stand still until it is settled."""

    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="disputes")
    person = models.ForeignKey(
        Person,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="disputes",
        verbose_name=_("who says so"),
    )
    opened_on = models.DateField(_("since"))
    claim = models.TextField(_("what they say"))
    answer = models.TextField(_("what we say"), blank=True)
    closed_on = models.DateField(_("settled"), null=True, blank=True)
    outcome = models.CharField(_("how it was settled"), max_length=400, blank=True)
    entered_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )

    objects = DisputeQuerySet.as_manager()

    class Meta:
        ordering = ["-opened_on", "-pk"]
        constraints = [
            in_order("opened_on", "closed_on", name="dispute_days_in_order"),
            models.CheckConstraint(condition=~Q(claim=""), name="dispute_says_what"),
            models.CheckConstraint(
                condition=Q(closed_on__isnull=True, outcome="")
                | (Q(closed_on__isnull=False) & ~Q(outcome="")),
                name="dispute_settled_says_how",
            ),
            models.UniqueConstraint(
                fields=["site"], condition=Q(closed_on__isnull=True), name="dispute_open_once"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.site.code}: {self.opened_on}"


class RestorationClaim(models.Model):
    """Somebody dug up or moved the works and is asked to put them back."""

    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="restoration_claims")
    against = models.CharField(_("asked of"), max_length=160)
    what = models.TextField(_("what has to be put back"))
    made_on = models.DateField(_("asked on"))
    settled_on = models.DateField(_("settled"), null=True, blank=True)
    outcome = models.CharField(_("how it was settled"), max_length=400, blank=True)

    class Meta:
        ordering = ["-made_on", "-pk"]
        constraints = [
            in_order("made_on", "settled_on", name="restoration_claim_days_in_order"),
            models.CheckConstraint(
                condition=~Q(against="") & ~Q(what=""), name="restoration_claim_says_what"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.site.code}: {self.against}"
