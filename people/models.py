"""Who: the program itself, agencies, households, persons, their contact points, volunteers, accounts and roles."""

from datetime import date
from typing import Self
from zoneinfo import ZoneInfo, available_timezones

from django.contrib.auth.base_user import BaseUserManager
from django.contrib.auth.models import AbstractBaseUser, PermissionsMixin
from django.core.exceptions import ValidationError
from django.db import models
from django.db.models import Q
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from people.choices import AgencyKind, Channel, ContactKind, Language, Role, Units
from stewardship.common.constraints import in_order, one_of


def known_zone(name: str) -> None:
    """Refuse a time zone that the IANA database does not hold."""
    if name not in available_timezones():
        raise ValidationError(
            _("“%(name)s” is not a time zone, e.g. America/Denver.") % {"name": name}
        )


class Program(models.Model):
    """The one program that this installation keeps the book of; its name, place and habits."""

    name = models.CharField(_("name"), max_length=120)
    town = models.CharField(_("town"), max_length=80)
    zone = models.CharField(
        _("time zone"), max_length=64, default="America/Denver", validators=[known_zone]
    )
    units = models.CharField(_("units"), max_length=8, choices=Units, default=Units.US)
    phone = models.CharField(_("phone"), max_length=40, blank=True)
    email = models.EmailField(_("e-mail"), blank=True)
    postal_address = models.TextField(_("postal address"), blank=True)
    quiet_until_hour = models.PositiveSmallIntegerField(
        _("first hour for reminders"),
        default=9,
        help_text=_("Reminders go out from this hour, local time."),
    )
    quiet_from_hour = models.PositiveSmallIntegerField(
        _("last hour for reminders"),
        default=19,
        help_text=_("No reminder leaves at or after this hour."),
    )

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(pk=1), name="program_only_one"),
            one_of("units", Units.values, name="program_units_known"),
            models.CheckConstraint(
                condition=Q(
                    quiet_until_hour__lt=models.F("quiet_from_hour"), quiet_from_hour__lte=24
                ),
                name="program_reminder_hours_in_order",
            ),
        ]

    def __str__(self) -> str:
        return self.name

    @classmethod
    def get(cls) -> "Program":
        """The program; before anybody has described it, an unsaved one with plain defaults."""
        return cls.objects.filter(pk=1).first() or cls(pk=1, name="Rillbook")

    @property
    def tz(self) -> ZoneInfo:
        return ZoneInfo(self.zone)

    def today(self) -> date:
        """Today in the program's zone."""
        return timezone.now().astimezone(self.tz).date()


class Agency(models.Model):
    """A public body that owns frontages or reviews compliance."""

    code = models.SlugField(_("short name"), max_length=24, unique=True)
    name = models.CharField(_("name"), max_length=120)
    kind = models.CharField(_("kind"), max_length=16, choices=AgencyKind)

    class Meta:
        verbose_name_plural = _("agencies")
        ordering = ["name"]
        constraints = [one_of("kind", AgencyKind.values, name="agency_kind_known")]

    def __str__(self) -> str:
        return self.name


class Household(models.Model):
    """People who live at one address and can be told things together."""

    name = models.CharField(
        _("name"), max_length=120, help_text=_("As you would say it: “Quist and Amaro”.")
    )
    address = models.CharField(_("address"), max_length=200)

    class Meta:
        ordering = ["name"]
        constraints = [
            models.UniqueConstraint(fields=["name", "address"], name="household_once_per_address")
        ]

    def __str__(self) -> str:
        return f"{self.name}, {self.address}"


class Person(models.Model):
    """Somebody we deal with. One name is enough; contact points and log-ins are kept apart from the person."""

    given_name = models.CharField(_("given name"), max_length=80)
    family_name = models.CharField(_("family name"), max_length=80, blank=True)
    household = models.ForeignKey(
        Household,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="people",
        verbose_name=_("household"),
    )
    agency = models.ForeignKey(
        Agency,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="people",
        verbose_name=_("agency"),
    )
    agency_office = models.CharField(_("office"), max_length=120, blank=True)
    language = models.CharField(
        _("language for letters"), max_length=8, choices=Language, default=Language.EN
    )
    channel = models.CharField(
        _("how they want to hear from us"), max_length=8, choices=Channel, default=Channel.EMAIL
    )
    note = models.TextField(_("note"), blank=True)
    created_at = models.DateTimeField(_("entered"), default=timezone.now, editable=False)

    class Meta:
        verbose_name_plural = _("people")
        ordering = ["family_name", "given_name", "pk"]
        constraints = [
            one_of("language", Language.values, name="person_language_known"),
            one_of("channel", Channel.values, name="person_channel_known"),
            models.CheckConstraint(condition=~Q(given_name=""), name="person_has_a_name"),
        ]

    def __str__(self) -> str:
        return self.full_name

    @property
    def full_name(self) -> str:
        return f"{self.given_name} {self.family_name}".strip()


class ContactPoint(models.Model):
    """An address that messages can go to. Shared ones belong to several people."""

    kind = models.CharField(_("kind"), max_length=8, choices=ContactKind)
    value = models.CharField(_("address"), max_length=300, help_text=_("As typed."))
    normal = models.CharField(max_length=300, editable=False)
    people = models.ManyToManyField(
        Person, related_name="contact_points", blank=True, verbose_name=_("people")
    )
    dead_since = models.DateField(_("does not reach them since"), null=True, blank=True)
    dead_why = models.CharField(_("why"), max_length=200, blank=True)

    class Meta:
        constraints = [
            one_of("kind", ContactKind.values, name="contact_kind_known"),
            models.UniqueConstraint(fields=["kind", "normal"], name="contact_point_once"),
        ]

    def __str__(self) -> str:
        return self.value

    def save(self, *args, **kwargs) -> None:
        self.normal = self.normalise(self.kind, self.value)
        super().save(*args, **kwargs)

    @staticmethod
    def normalise(kind: str, value: str) -> str:
        """The form in which two spellings of one address are equal."""
        squeezed = " ".join(value.split())
        if kind == ContactKind.PHONE:
            return "".join(ch for ch in squeezed if ch.isdigit() or ch == "+")
        return squeezed.casefold()


class Volunteer(models.Model):
    """Somebody who helps at basins that are not theirs."""

    person = models.OneToOneField(Person, on_delete=models.PROTECT, related_name="volunteer")
    joined_on = models.DateField(_("joined"))
    left_on = models.DateField(_("left"), null=True, blank=True)
    waiver_until = models.DateField(_("waiver valid until"), null=True, blank=True)
    adult = models.BooleanField(_("18 or older"), default=True)
    near = models.CharField(_("lives or works near"), max_length=120, blank=True)

    class Meta:
        constraints = [in_order("joined_on", "left_on", name="volunteer_dates_in_order")]

    def __str__(self) -> str:
        return str(self.person)


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
