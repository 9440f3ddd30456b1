"""Who speaks for whom, what offices became, and which entries are one and the same."""

from datetime import date
from typing import Self

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from people.choices import AgentScope, ContactRole, MergeKind, OrganisationKind
from people.models.persons import Agency, Person
from stewardship.common.constraints import in_order, one_of
from stewardship.common.foreign import ForeignId


class Organisation(models.Model):
    """A body that holds ground or promises care: a condominium, a company, a trust, an estate."""

    name = models.CharField(_("name"), max_length=160, unique=True)
    kind = models.CharField(_("kind"), max_length=12, choices=OrganisationKind)
    postal_address = models.TextField(_("postal address"), blank=True)

    class Meta:
        ordering = ["name"]
        constraints = [
            one_of("kind", OrganisationKind.values, name="organisation_kind_known"),
            models.CheckConstraint(condition=~Q(name=""), name="organisation_has_a_name"),
        ]

    def __str__(self) -> str:
        return self.name


class DatedQuerySet(models.QuerySet):
    def on(self, day: date) -> Self:
        """Those that hold on that day."""
        return self.filter(starts_on__lte=day).filter(Q(ends_on__isnull=True) | Q(ends_on__gt=day))


class OrganisationContact(models.Model):
    """Who answers for an organisation, and for what. `ends_on`: the first day after it."""

    organisation = models.ForeignKey(
        Organisation, on_delete=models.PROTECT, related_name="contacts"
    )
    person = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="speaks_for")
    role = models.CharField(_("for what"), max_length=12, choices=ContactRole)
    starts_on = models.DateField(_("from"))
    ends_on = models.DateField(_("until"), null=True, blank=True)

    objects = DatedQuerySet.as_manager()

    class Meta:
        ordering = ["starts_on", "pk"]
        constraints = [
            one_of("role", ContactRole.values, name="organisation_contact_role_known"),
            in_order("starts_on", "ends_on", name="organisation_contact_days_in_order"),
            models.UniqueConstraint(
                fields=["organisation", "person", "role"],
                condition=Q(ends_on__isnull=True),
                name="organisation_contact_open_once",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.person} ({self.organisation})"


class Agent(models.Model):
    """Somebody who handles things for another person: their mail, or their signature too. `ends_on`: the first day after it."""

    principal = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="agents")
    agent = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="acts_for")
    scope = models.CharField(_("what for"), max_length=8, choices=AgentScope)
    authority = models.CharField(
        _("by what right"),
        max_length=200,
        blank=True,
        help_text=_("E.g. a power of attorney and its day; needed to sign."),
    )
    starts_on = models.DateField(_("from"))
    ends_on = models.DateField(_("until"), null=True, blank=True)

    objects = DatedQuerySet.as_manager()

    class Meta:
        ordering = ["starts_on", "pk"]
        constraints = [
            one_of("scope", AgentScope.values, name="agent_scope_known"),
            in_order("starts_on", "ends_on", name="agent_days_in_order"),
            models.CheckConstraint(
                condition=~Q(agent=models.F("principal")), name="agent_is_somebody_else"
            ),
            models.CheckConstraint(
                condition=Q(scope=AgentScope.LETTERS) | ~Q(authority=""),
                name="agent_who_signs_has_authority",
            ),
            models.UniqueConstraint(
                fields=["principal", "agent", "scope"],
                condition=Q(ends_on__isnull=True),
                name="agent_open_once",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.agent} → {self.principal}"


class OfficeChange(models.Model):
    """An agency's office ended that day; another, perhaps of another agency, took its place."""

    agency = models.ForeignKey(Agency, on_delete=models.PROTECT, related_name="offices_ended")
    office = models.CharField(_("office"), max_length=120)
    on = models.DateField(_("on"))
    new_agency = models.ForeignKey(
        Agency, on_delete=models.PROTECT, related_name="offices_taken_over"
    )
    new_office = models.CharField(_("new office"), max_length=120)
    why = models.CharField(_("why"), max_length=200, blank=True)
    moved = models.ManyToManyField(
        Person, blank=True, related_name="offices_moved", verbose_name=_("who went along")
    )
    left = models.ManyToManyField(
        Person, blank=True, related_name="offices_left", verbose_name=_("who did not")
    )
    entered_at = models.DateTimeField(_("entered"), default=timezone.now)
    entered_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        ordering = ["on", "pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["agency", "office", "on"], name="office_change_once_a_day"
            ),
            models.CheckConstraint(
                condition=~Q(office="") & ~Q(new_office=""), name="office_change_names_both"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.office} → {self.new_office}"


class Merge(models.Model):
    """Two entries were found to be one. What was moved is written down, so that it can be taken back."""

    kind = models.CharField(max_length=12, choices=MergeKind)
    kept = models.PositiveBigIntegerField()
    gone = models.PositiveBigIntegerField()
    #: both names as they stood
    words = models.CharField(_("what was put together"), max_length=400)
    #: [{"model": "app.model", "field": "person", "pks": [...]}] and facts that were filled in
    moved = models.JSONField(default=list)
    at = models.DateTimeField(_("when"), default=timezone.now)
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    undone_at = models.DateTimeField(_("taken back"), null=True, blank=True)
    undone_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        ordering = ["-at", "-pk"]
        constraints = [
            one_of("kind", MergeKind.values, name="merge_kind_known"),
            in_order("at", "undone_at", name="merge_times_in_order"),
            models.CheckConstraint(
                condition=~Q(kept=models.F("gone")), name="merge_of_two_entries"
            ),
            models.UniqueConstraint(
                fields=["kind", "gone"],
                condition=Q(undone_at__isnull=True),
                name="merge_gone_once",
            ),
        ]

    def __str__(self) -> str:
        return self.words


class PersonExternalId(ForeignId):
    """What somebody else's list calls this person."""

    person = models.ForeignKey(Person, on_delete=models.CASCADE, related_name="external_ids")

    class Meta(ForeignId.Meta):
        constraints = [
            models.UniqueConstraint(
                fields=["kept_by", "value"], name="person_external_id_means_one"
            ),
        ]
