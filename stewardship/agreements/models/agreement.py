"""A written promise, what it still needs, and its history."""

from datetime import date
from typing import Self

from django.db import models
from django.db.models import Q
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from people.choices import Language
from sites.models import Site
from stewardship.agreements.choices import (
    AgreementState,
    DutyGroup,
    InstrumentKind,
    NoticeWay,
    RequirementKind,
    Sharing,
)
from stewardship.agreements.models.wording import Wording
from stewardship.common.constraints import in_order, one_of
from stewardship.common.events import StateEvent
from stewardship.common.foreign import ForeignId


class AgreementQuerySet(models.QuerySet["Agreement"]):
    def in_force(self, *, on: date) -> Self:
        """Agreements that bind somebody on that day, ended since or not."""
        return self.filter(
            state__in=[AgreementState.IN_FORCE, AgreementState.ENDED], begins_on__lte=on
        ).filter(Q(ends_on__isnull=True) | Q(ends_on__gt=on))

    def unfinished(self) -> Self:
        """Agreements that are still being talked over, newest first."""
        return self.filter(state=AgreementState.DRAFT)

    def with_signing(self) -> Self:
        """With what says how complete they are (lacks.py), in a fixed number of queries."""
        return self.prefetch_related(
            "parties__person",
            "parties__agency",
            "parties__organisation",
            "parties__signature",
            "requirements",
        )


class Agreement(models.Model):
    """A written promise to care for one or more sites."""

    reference = models.SlugField(_("reference"), max_length=24, unique=True)
    instrument = models.CharField(_("instrument"), max_length=16, choices=InstrumentKind)
    state = models.CharField(
        _("state"), max_length=12, choices=AgreementState, default=AgreementState.DRAFT
    )
    sites = models.ManyToManyField(Site, related_name="agreements", verbose_name=_("sites"))
    wording = models.ForeignKey(Wording, on_delete=models.PROTECT, related_name="agreements")
    language = models.CharField(_("language"), max_length=8, choices=Language, default=Language.EN)
    begins_on = models.DateField(_("from"), null=True, blank=True)
    ends_on = models.DateField(
        _("until"),
        null=True,
        blank=True,
        help_text=_("The first day on which it binds nobody any more. Empty: until ended."),
    )
    ended_why = models.CharField(_("why it ended"), max_length=200, blank=True)
    offer_until = models.DateField(
        _("offer stands until"),
        null=True,
        blank=True,
        help_text=_("The last day on which it can be signed. Empty: no limit."),
    )
    cure_days = models.PositiveSmallIntegerField(
        _("days to put a fault right"),
        null=True,
        blank=True,
        help_text=_("Empty: as usual for the instrument."),
    )
    notices_by = models.CharField(
        _("how notices are given"),
        max_length=12,
        choices=NoticeWay,
        blank=True,
        help_text=_("Empty: as usual for the instrument."),
    )
    sharing = models.CharField(
        _("where several people promise"),
        max_length=8,
        choices=Sharing,
        default=Sharing.TOGETHER,
    )
    seller_owes_until_proof = models.BooleanField(
        _("the seller owes until the transfer is proven"), default=False
    )
    supersedes = models.ForeignKey(
        "self",
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="superseded_by",
        verbose_name=_("takes the place of"),
    )
    created_at = models.DateTimeField(_("entered"), default=timezone.now, editable=False)

    objects = AgreementQuerySet.as_manager()

    class Meta:
        ordering = ["-created_at", "-pk"]
        constraints = [
            one_of("state", AgreementState.values, name="agreement_state_known"),
            one_of("instrument", InstrumentKind.values, name="agreement_instrument_known"),
            one_of("sharing", Sharing.values, name="agreement_sharing_known"),
            one_of("notices_by", ["", *NoticeWay.values], name="agreement_notices_by_known"),
            in_order("begins_on", "ends_on", name="agreement_days_in_order"),
            models.CheckConstraint(
                condition=~Q(state=AgreementState.IN_FORCE) | Q(begins_on__isnull=False),
                name="agreement_in_force_has_begun",
            ),
            models.CheckConstraint(
                condition=~Q(state=AgreementState.ENDED) | Q(ends_on__isnull=False),
                name="agreement_ended_has_a_day",
            ),
            models.CheckConstraint(
                condition=Q(supersedes__isnull=True) | ~Q(supersedes=models.F("pk")),
                name="agreement_supersedes_another",
            ),
        ]

    def __str__(self) -> str:
        return self.reference


class AgreementEvent(StateEvent):
    agreement = models.ForeignKey(Agreement, on_delete=models.CASCADE, related_name="events")


class AgreementExternalId(ForeignId):
    """What somebody else's list calls this agreement."""

    agreement = models.ForeignKey(Agreement, on_delete=models.CASCADE, related_name="external_ids")

    class Meta(ForeignId.Meta):
        constraints = [
            models.UniqueConstraint(
                fields=["kept_by", "value"], name="agreement_external_id_means_one"
            ),
        ]


class DutyShown(models.Model):
    """That one group of duties was walked through with the household before it signed."""

    agreement = models.ForeignKey(Agreement, on_delete=models.CASCADE, related_name="duties_shown")
    group = models.CharField(_("duty"), max_length=16, choices=DutyGroup)
    at = models.DateTimeField(_("when"), default=timezone.now)

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.UniqueConstraint(fields=["agreement", "group"], name="duty_shown_once"),
            one_of("group", DutyGroup.values, name="duty_shown_group_known"),
        ]

    def __str__(self) -> str:
        return self.get_group_display()


class RequirementQuerySet(models.QuerySet["Requirement"]):
    def open(self, *, on: date) -> Self:
        """Not met yet, or met by something that has run out by that day."""
        return self.filter(Q(met_on__isnull=True) | Q(valid_until__lt=on))


class Requirement(models.Model):
    """Something besides signatures that an agreement needs: a consent, a certificate, the recorder's number."""

    agreement = models.ForeignKey(Agreement, on_delete=models.CASCADE, related_name="requirements")
    kind = models.CharField(_("what is needed"), max_length=12, choices=RequirementKind)
    words = models.CharField(_("in words"), max_length=200, blank=True)
    due_on = models.DateField(_("needed by"), null=True, blank=True)
    met_on = models.DateField(_("there since"), null=True, blank=True)
    valid_until = models.DateField(
        _("valid until"), null=True, blank=True, help_text=_("The last day.")
    )
    number = models.CharField(_("number"), max_length=80, blank=True)
    document = models.ForeignKey(
        "Document",
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="requirements",
        verbose_name=_("paper"),
    )

    objects = RequirementQuerySet.as_manager()

    class Meta:
        ordering = ["due_on", "pk"]
        constraints = [
            one_of("kind", RequirementKind.values, name="requirement_kind_known"),
            in_order("met_on", "valid_until", name="requirement_days_in_order"),
            models.CheckConstraint(
                condition=~Q(kind=RequirementKind.OTHER) | ~Q(words=""),
                name="requirement_other_says_what",
            ),
        ]

    def __str__(self) -> str:
        return self.words or self.get_kind_display()
