"""Agreements with their instrument, parties, documents and signatures; responsibility over time."""

from datetime import date
from typing import Self

from django.conf import settings
from django.core.exceptions import ValidationError
from django.db import models
from django.db.models import Q
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from people.choices import Language
from people.models import Agency, Person
from sites.models import Site
from stewardship.agreements.choices import (
    AgreementState,
    Capacity,
    DocumentKind,
    DutyGroup,
    InstrumentKind,
    ResponsibilityRole,
    SigningMethod,
)
from stewardship.agreements.texts import check_placeholders
from stewardship.common.constraints import in_order, one_of
from stewardship.common.errors import Refused
from stewardship.common.events import StateEvent


class Wording(models.Model):
    """One version of an instrument's text in one language. A version that was used is never edited."""

    instrument = models.CharField(_("instrument"), max_length=16, choices=InstrumentKind)
    language = models.CharField(_("language"), max_length=8, choices=Language)
    version = models.PositiveSmallIntegerField(_("version"))
    title = models.CharField(_("title"), max_length=160)
    summary = models.TextField(_("plain-language summary"), help_text=_("One point a line."))
    body = models.TextField(
        _("wording"), help_text=_("Paragraphs; {placeholders} are filled in. Have counsel review.")
    )
    made_at = models.DateTimeField(_("made"), default=timezone.now)

    class Meta:
        ordering = ["instrument", "language", "-version"]
        constraints = [
            models.UniqueConstraint(
                fields=["instrument", "language", "version"], name="wording_version_once"
            ),
            one_of("instrument", InstrumentKind.values, name="wording_instrument_known"),
        ]

    def __str__(self) -> str:
        return f"{self.get_instrument_display()} {self.language} v{self.version}"

    def clean(self) -> None:
        for field in ("title", "summary", "body"):
            try:
                check_placeholders(getattr(self, field))
            except Refused as refusal:
                raise ValidationError({field: str(refusal)}) from refusal


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
        """With what `signing.missing_signatures` reads, in a fixed number of queries."""
        return self.prefetch_related("parties__person", "parties__agency", "parties__signature")


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
    created_at = models.DateTimeField(_("entered"), default=timezone.now, editable=False)

    objects = AgreementQuerySet.as_manager()

    class Meta:
        ordering = ["-created_at", "-pk"]
        constraints = [
            one_of("state", AgreementState.values, name="agreement_state_known"),
            one_of("instrument", InstrumentKind.values, name="agreement_instrument_known"),
            in_order("begins_on", "ends_on", name="agreement_days_in_order"),
            models.CheckConstraint(
                condition=~Q(state=AgreementState.IN_FORCE) | Q(begins_on__isnull=False),
                name="agreement_in_force_has_begun",
            ),
            models.CheckConstraint(
                condition=~Q(state=AgreementState.ENDED) | Q(ends_on__isnull=False),
                name="agreement_ended_has_a_day",
            ),
        ]

    def __str__(self) -> str:
        return self.reference


class AgreementEvent(StateEvent):
    agreement = models.ForeignKey(Agreement, on_delete=models.CASCADE, related_name="events")


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


class Party(models.Model):
    """Somebody who signs, and in what capacity. An agency signs through a person in an office."""

    agreement = models.ForeignKey(Agreement, on_delete=models.CASCADE, related_name="parties")
    person = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="party_to")
    agency = models.ForeignKey(
        Agency, null=True, blank=True, on_delete=models.PROTECT, related_name="party_to"
    )
    capacity = models.CharField(_("capacity"), max_length=16, choices=Capacity)
    must_sign = models.BooleanField(_("must sign"), default=True)

    class Meta:
        verbose_name_plural = _("parties")
        ordering = ["pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["agreement", "person", "capacity"], name="party_once_per_capacity"
            ),
            one_of("capacity", Capacity.values, name="party_capacity_known"),
            models.CheckConstraint(
                condition=Q(capacity=Capacity.AGENCY_OFFICER, agency__isnull=False)
                | (~Q(capacity=Capacity.AGENCY_OFFICER) & Q(agency__isnull=True)),
                name="party_agency_iff_officer",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.person} ({self.get_capacity_display()})"


class Document(models.Model):
    """A generated or scanned file of an agreement, kept byte for byte."""

    agreement = models.ForeignKey(Agreement, on_delete=models.PROTECT, related_name="documents")
    kind = models.CharField(_("kind"), max_length=12, choices=DocumentKind)
    version = models.PositiveSmallIntegerField(_("version"))
    file_name = models.CharField(_("file"), max_length=160)
    content_type = models.CharField(max_length=60, default="application/pdf")
    content = models.BinaryField(editable=False)
    sha256 = models.CharField(max_length=64)
    pages = models.PositiveSmallIntegerField(_("pages"))
    dated = models.DateField(_("dated"), default=timezone.localdate)
    made_at = models.DateTimeField(_("made"), default=timezone.now)
    made_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        ordering = ["-version", "-pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["agreement", "kind", "version"], name="document_version_once"
            ),
            one_of("kind", DocumentKind.values, name="document_kind_known"),
        ]

    def __str__(self) -> str:
        return self.file_name


class Signature(models.Model):
    """That a party signed an exact document, how, when, and where the paper is."""

    party = models.OneToOneField(Party, on_delete=models.PROTECT, related_name="signature")
    document = models.ForeignKey(Document, on_delete=models.PROTECT, related_name="signatures")
    method = models.CharField(_("how"), max_length=8, choices=SigningMethod)
    signed_on = models.DateField(_("signed"))
    typed_name = models.CharField(_("name as signed"), max_length=160)
    original_kept_at = models.CharField(_("where the paper is"), max_length=200, blank=True)
    scan = models.ForeignKey(
        Document,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="scanned_signatures",
        verbose_name=_("scan"),
    )
    recorded_at = models.DateTimeField(_("recorded"), default=timezone.now)
    recorded_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        constraints = [
            one_of("method", SigningMethod.values, name="signature_method_known"),
            models.CheckConstraint(
                condition=~Q(method=SigningMethod.PAPER) | ~Q(original_kept_at=""),
                name="signature_paper_is_kept_somewhere",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.party}: {self.signed_on}"


class ResponsibilityQuerySet(models.QuerySet["Responsibility"]):
    def as_of(self, day: date) -> Self:
        """Responsibilities that hold on that day."""
        return self.filter(starts_on__lte=day).filter(Q(ends_on__isnull=True) | Q(ends_on__gt=day))

    def for_site(self, site: Site) -> Self:
        return (
            self.filter(site=site)
            .select_related("person", "agency", "agreement")
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
    agreement = models.ForeignKey(
        Agreement, on_delete=models.PROTECT, related_name="responsibilities"
    )
    starts_on = models.DateField(_("from"))
    ends_on = models.DateField(_("until"), null=True, blank=True)
    ended_why = models.CharField(_("why it ended"), max_length=200, blank=True)

    objects = ResponsibilityQuerySet.as_manager()

    class Meta:
        verbose_name_plural = _("responsibilities")
        ordering = ["starts_on", "pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(person__isnull=False, agency__isnull=True)
                | Q(person__isnull=True, agency__isnull=False),
                name="responsibility_person_or_agency",
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
        ]

    def __str__(self) -> str:
        return f"{self.holder} {self.get_role_display()}"

    @property
    def holder(self) -> Person | Agency:
        return self.person or self.agency
