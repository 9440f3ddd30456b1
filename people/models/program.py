"""The program itself: its name, place and habits."""

from datetime import date
from zoneinfo import ZoneInfo, available_timezones

from django.core.exceptions import ValidationError
from django.db import models
from django.db.models import Q
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from people.choices import Units
from stewardship.common.constraints import one_of


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
