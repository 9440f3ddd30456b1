"""The text of an instrument, version by version."""

from datetime import date
from typing import Self

from django.conf import settings
from django.core.exceptions import ValidationError
from django.db import models
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from people.choices import Language
from stewardship.agreements.choices import InstrumentKind
from stewardship.agreements.texts import STARTERS_SINCE, check_placeholders
from stewardship.common.constraints import one_of
from stewardship.common.errors import Refused


class WordingQuerySet(models.QuerySet["Wording"]):
    def in_use(self, *, on: date) -> Self:
        """Versions that may be offered on that day, newest first."""
        return self.filter(in_use_since__lte=on).order_by("-version")


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
    made_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    #: empty while it is being written
    in_use_since = models.DateField(
        _("in use since"), null=True, blank=True, default=timezone.localdate
    )
    reviewed_by = models.CharField(_("reviewed by counsel"), max_length=160, blank=True)
    reviewed_on = models.DateField(_("reviewed"), null=True, blank=True)

    objects = WordingQuerySet.as_manager()

    class Meta:
        ordering = ["instrument", "language", "-version"]
        constraints = [
            models.UniqueConstraint(
                fields=["instrument", "language", "version"], name="wording_version_once"
            ),
            one_of("instrument", InstrumentKind.values, name="wording_instrument_known"),
            models.UniqueConstraint(
                fields=["instrument", "language"],
                condition=models.Q(in_use_since__isnull=True),
                name="wording_one_being_written",
            ),
            models.CheckConstraint(
                condition=models.Q(reviewed_by="", reviewed_on__isnull=True)
                | (~models.Q(reviewed_by="") & models.Q(reviewed_on__isnull=False)),
                name="wording_reviewed_by_iff_day",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_instrument_display()} {self.language} v{self.version}"

    @property
    def is_starter(self) -> bool:
        """One of the texts that the book came with."""
        return self.in_use_since == STARTERS_SINCE

    def clean(self) -> None:
        for field in ("title", "summary", "body"):
            try:
                check_placeholders(getattr(self, field))
            except Refused as refusal:
                raise ValidationError({field: str(refusal)}) from refusal
