"""Log-ins and what each may do."""

from typing import Self

from django.contrib.auth.base_user import BaseUserManager
from django.contrib.auth.models import AbstractBaseUser, PermissionsMixin
from django.db import models
from django.db.models import Q
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from people.choices import Role
from people.models.persons import Agency, Person
from stewardship.common.constraints import one_of


class UserManager(BaseUserManager["User"]):
    def create_user(self, email: str, password: str | None = None, **extra) -> "User":
        user = self.model(email=self.normalize_email(email).casefold(), **extra)
        user.set_password(password)
        user.save(using=self._db)
        return user

    def create_superuser(self, email: str, password: str | None = None, **extra) -> "User":
        return self.create_user(email, password, is_staff=True, is_superuser=True, **extra)


class User(AbstractBaseUser, PermissionsMixin):
    """A log-in. What it may do hangs on its memberships."""

    email = models.EmailField(_("e-mail"), unique=True)
    name = models.CharField(_("name"), max_length=120, blank=True)
    person = models.OneToOneField(
        Person, null=True, blank=True, on_delete=models.PROTECT, related_name="user"
    )
    is_active = models.BooleanField(_("may sign in"), default=True)
    is_staff = models.BooleanField(_("may use the repair pages"), default=False)
    date_joined = models.DateTimeField(_("since"), default=timezone.now, editable=False)

    objects = UserManager()

    USERNAME_FIELD = "email"
    EMAIL_FIELD = "email"

    def __str__(self) -> str:
        return self.name or self.email

    def roles(self) -> set[str]:
        """The roles of this log-in, read once per instance."""
        if not hasattr(self, "_roles"):
            self._roles = set(self.memberships.values_list("role", flat=True))
        return self._roles

    @property
    def is_coordinator(self) -> bool:
        return Role.COORDINATOR in self.roles()

    @property
    def is_reviewer(self) -> bool:
        return Role.REVIEWER in self.roles()

    @property
    def is_volunteer(self) -> bool:
        return Role.VOLUNTEER in self.roles()

    @property
    def is_reader(self) -> bool:
        return Role.READER in self.roles()

    def agencies(self) -> models.QuerySet[Agency]:
        """The agencies whose sites this log-in may review."""
        return Agency.objects.filter(memberships__user=self, memberships__role=Role.REVIEWER)


class MembershipQuerySet(models.QuerySet["Membership"]):
    def coordinators(self) -> Self:
        return self.filter(role=Role.COORDINATOR, user__is_active=True).select_related("user")


class Membership(models.Model):
    """One role of one log-in; a reviewer's names the agency."""

    user = models.ForeignKey(User, on_delete=models.CASCADE, related_name="memberships")
    role = models.CharField(_("role"), max_length=16, choices=Role)
    agency = models.ForeignKey(
        Agency, null=True, blank=True, on_delete=models.PROTECT, related_name="memberships"
    )

    objects = MembershipQuerySet.as_manager()

    class Meta:
        constraints = [
            one_of("role", Role.values, name="membership_role_known"),
            models.CheckConstraint(
                condition=Q(role=Role.REVIEWER, agency__isnull=False)
                | (~Q(role=Role.REVIEWER) & Q(agency__isnull=True)),
                name="membership_agency_iff_reviewer",
            ),
            models.UniqueConstraint(
                fields=["user", "role"],
                condition=Q(agency__isnull=True),
                name="membership_role_once",
            ),
            models.UniqueConstraint(
                fields=["user", "agency"],
                condition=Q(agency__isnull=False),
                name="membership_agency_once",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.user}: {self.get_role_display()}"
