"""Agencies, households, persons, where they can be reached, volunteers."""

from typing import Self

from django.db import models
from django.db.models import Q
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from people.choices import AgencyKind, Channel, ContactKind, Language, Silence
from stewardship.common.constraints import in_order, one_of
from stewardship.common.events import StateEvent


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


class KnownQuerySet(models.QuerySet):
    """Of what can be found to be in the book twice."""

    def known(self) -> Self:
        """All but those found to be somebody else's second entry."""
        return self.filter(merged_into__isnull=True)


class Household(models.Model):
    """People who live at one address and can be told things together."""

    name = models.CharField(
        _("name"), max_length=120, help_text=_("As you would say it: “Quist and Amaro”.")
    )
    address = models.CharField(_("address"), max_length=200)
    one_letter = models.BooleanField(
        _("one letter for all of them"),
        default=False,
        help_text=_("Whoever has the same address is written to together."),
    )
    merged_into = models.ForeignKey(
        "self",
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="merged_from",
        verbose_name=_("the same household as"),
    )

    objects = KnownQuerySet.as_manager()

    class Meta:
        ordering = ["name"]
        constraints = [
            models.UniqueConstraint(fields=["name", "address"], name="household_once_per_address"),
            models.CheckConstraint(
                condition=Q(merged_into__isnull=True) | ~Q(merged_into=models.F("pk")),
                name="household_merged_into_another",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.name}, {self.address}"


class PersonQuerySet(KnownQuerySet):
    def known(self) -> Self:
        """Everybody in the book: no second entries, nobody whose data were erased."""
        return super().known().filter(erased_on__isnull=True)

    def not_second(self) -> Self:
        """All but second entries."""
        return super().known()


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
    died_on = models.DateField(_("died"), null=True, blank=True)
    silent_since = models.DateField(_("not written to since"), null=True, blank=True)
    silent_why = models.CharField(_("why"), max_length=12, choices=Silence, blank=True)
    erased_on = models.DateField(_("personal data erased"), null=True, blank=True)
    merged_into = models.ForeignKey(
        "self",
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="merged_from",
        verbose_name=_("the same person as"),
    )
    created_at = models.DateTimeField(_("entered"), default=timezone.now, editable=False)

    objects = PersonQuerySet.as_manager()

    class Meta:
        verbose_name_plural = _("people")
        ordering = ["family_name", "given_name", "pk"]
        constraints = [
            one_of("language", Language.values, name="person_language_known"),
            one_of("channel", Channel.values, name="person_channel_known"),
            models.CheckConstraint(condition=~Q(given_name=""), name="person_has_a_name"),
            models.CheckConstraint(
                condition=Q(silent_since__isnull=True, silent_why="")
                | Q(silent_since__isnull=False, silent_why__in=Silence.values),
                name="person_silent_since_iff_why",
            ),
            models.CheckConstraint(
                condition=Q(died_on__isnull=True) | Q(silent_since__isnull=False),
                name="person_who_died_is_not_written_to",
            ),
            models.CheckConstraint(
                condition=Q(merged_into__isnull=True) | ~Q(merged_into=models.F("pk")),
                name="person_merged_into_another",
            ),
        ]

    def __str__(self) -> str:
        return self.full_name

    @property
    def full_name(self) -> str:
        return f"{self.given_name} {self.family_name}".strip()

    @property
    def standing(self) -> "Person":
        """The entry that stands for them: this one, or the one that it was found to be."""
        return self.merged_into or self

    @property
    def in_use(self) -> bool:
        """Neither a second entry nor erased: new things may be written down about them. The same rule as `objects.known`."""
        return self.merged_into_id is None and self.erased_on is None

    @property
    def is_silent(self) -> bool:
        """Nobody writes to them; who handles their letters, if anybody does, is written to."""
        return self.silent_since is not None


class PersonEvent(StateEvent):
    """That we write to a person no more, or again, and why. The states are those of `choices.Silence`; "" is written to."""

    person = models.ForeignKey(Person, on_delete=models.CASCADE, related_name="events")

    @property
    def became_words(self) -> str:
        return str(Silence(self.became).label) if self.became else str(_("written to again"))


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
    near = models.CharField(_("lives or works near"), max_length=120, blank=True)

    class Meta:
        constraints = [in_order("joined_on", "left_on", name="volunteer_dates_in_order")]

    def __str__(self) -> str:
        return str(self.person)
