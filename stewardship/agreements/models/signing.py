"""Who signs, what they sign, and that they did."""

from datetime import datetime
from typing import Self

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from people.models import Agency, Organisation, Person
from stewardship.agreements.choices import Capacity, DocumentKind, SigningMethod
from stewardship.agreements.models.agreement import Agreement
from stewardship.common.constraints import in_order, one_of

_STAYS = "A signature stays; the agreement is ended instead."


class Party(models.Model):
    """Somebody who signs, and in what capacity. An agency or organisation signs through a person."""

    agreement = models.ForeignKey(Agreement, on_delete=models.CASCADE, related_name="parties")
    person = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="party_to")
    agency = models.ForeignKey(
        Agency, null=True, blank=True, on_delete=models.PROTECT, related_name="party_to"
    )
    organisation = models.ForeignKey(
        Organisation,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="party_to",
        verbose_name=_("organisation they sign for"),
    )
    capacity = models.CharField(_("capacity"), max_length=16, choices=Capacity)
    must_sign = models.BooleanField(_("must sign"), default=True)
    part = models.CharField(
        _("their part"), max_length=160, blank=True, help_text=_("Where each cares for a part.")
    )
    signs_by = models.ForeignKey(
        Person,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="signs_for",
        verbose_name=_("who signs for them"),
    )
    declined_on = models.DateField(_("declined"), null=True, blank=True)
    declined_why = models.CharField(_("why they declined"), max_length=200, blank=True)

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
            models.CheckConstraint(
                condition=Q(organisation__isnull=True)
                | Q(capacity__in=[Capacity.OWNER, Capacity.TENANT, Capacity.LANDLORD]),
                name="party_organisation_holds_ground",
            ),
            models.CheckConstraint(
                condition=Q(declined_why="") | Q(declined_on__isnull=False),
                name="party_declined_why_has_a_day",
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
    #: of a document to sign: what stands on it, as plain values (documents.Sheet), to be read on a page
    sheet = models.JSONField(default=dict, editable=False)
    #: of a document to sign: what will be built under it, in one number (works.py)
    works_sha256 = models.CharField(max_length=64, blank=True, editable=False)
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


class SignatureQuerySet(models.QuerySet["Signature"]):
    def delete(self):
        """Never: an agreement that somebody signed is ended, not unsigned."""
        raise models.ProtectedError(_STAYS, set(self[:1]))


class Signature(models.Model):
    """That a party signed an exact document, how, when, and where the paper is."""

    party = models.OneToOneField(Party, on_delete=models.PROTECT, related_name="signature")
    document = models.ForeignKey(Document, on_delete=models.PROTECT, related_name="signatures")
    method = models.CharField(_("how"), max_length=8, choices=SigningMethod)
    signed_on = models.DateField(_("signed"))
    typed_name = models.CharField(_("name as signed"), max_length=160)
    #: the instant of a signature on a screen, the zone it was read in, and the words agreed to besides the document
    at = models.DateTimeField(_("at"), null=True, blank=True)
    zone = models.CharField(_("time zone"), max_length=64, blank=True)
    consent = models.TextField(_("consent to sign electronically"), blank=True)
    agent = models.ForeignKey(
        Person,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="signed_for",
        verbose_name=_("who signed for them"),
    )
    authority = models.CharField(_("by what right"), max_length=200, blank=True)
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

    objects = SignatureQuerySet.as_manager()

    class Meta:
        constraints = [
            one_of("method", SigningMethod.values, name="signature_method_known"),
            models.CheckConstraint(
                condition=~Q(method=SigningMethod.PAPER) | ~Q(original_kept_at=""),
                name="signature_paper_is_kept_somewhere",
            ),
            models.CheckConstraint(
                condition=Q(method=SigningMethod.PAPER, at__isnull=True)
                | (Q(method=SigningMethod.SCREEN, at__isnull=False) & ~Q(zone="") & ~Q(consent="")),
                name="signature_on_screen_has_instant_and_consent",
            ),
            models.CheckConstraint(
                condition=Q(agent__isnull=True, authority="")
                | (Q(agent__isnull=False) & ~Q(authority="")),
                name="signature_of_agent_says_by_what_right",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.party}: {self.signed_on}"

    def delete(self, *args, **kwargs):
        raise models.ProtectedError(_STAYS, {self})


class SigningLinkQuerySet(models.QuerySet["SigningLink"]):
    def open(self, *, at: datetime) -> Self:
        return self.filter(used_at__isnull=True, withdrawn_at__isnull=True, expires_at__gt=at)


class SigningLink(models.Model):
    """A way in for one party to read and sign one document without a log-in. Of the token only a digest is kept."""

    party = models.ForeignKey(Party, on_delete=models.CASCADE, related_name="links")
    document = models.ForeignKey(Document, on_delete=models.PROTECT, related_name="links")
    digest = models.CharField(max_length=64, unique=True)
    made_at = models.DateTimeField(_("made"), default=timezone.now)
    made_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    expires_at = models.DateTimeField(_("good until"))
    used_at = models.DateTimeField(_("signed with it"), null=True, blank=True)
    withdrawn_at = models.DateTimeField(_("withdrawn"), null=True, blank=True)

    objects = SigningLinkQuerySet.as_manager()

    class Meta:
        ordering = ["-made_at", "-pk"]
        constraints = [
            in_order("made_at", "expires_at", name="signing_link_times_in_order"),
            models.CheckConstraint(
                condition=Q(used_at__isnull=True) | Q(withdrawn_at__isnull=True),
                name="signing_link_used_or_withdrawn",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.party}: {self.document}"


class Acknowledgement(models.Model):
    """That a party has seen a later document of a signed agreement, e.g. the works as they were really built."""

    party = models.ForeignKey(Party, on_delete=models.PROTECT, related_name="acknowledgements")
    document = models.ForeignKey(
        Document, on_delete=models.PROTECT, related_name="acknowledgements"
    )
    on = models.DateField(_("on"))
    how = models.CharField(_("how"), max_length=200)
    recorded_at = models.DateTimeField(_("recorded"), default=timezone.now)
    recorded_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        ordering = ["on", "pk"]
        constraints = [
            models.UniqueConstraint(fields=["party", "document"], name="acknowledged_once"),
        ]

    def __str__(self) -> str:
        return f"{self.party}: {self.document}"
