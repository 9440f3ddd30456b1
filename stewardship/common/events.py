"""What every event row records: from, to, why, when, by whom."""

from typing import Any

from django.conf import settings
from django.db import models
from django.utils import timezone, translation
from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _


def book_language() -> translation.override:
    """The language in which what is kept for the coordinator is written, whatever that of the page that makes it."""
    return translation.override(settings.LANGUAGE_CODE)


def in_book_language(why: str | Promise, words: dict[str, Any] | None = None) -> str:
    """A text in the book's language. `words` fill in a lazy text."""
    with book_language():
        return str(why) % words if words else str(why)


class StateEvent(models.Model):
    """One change of state. Concrete classes add the foreign key to what changed, with related_name="events"."""

    was = models.CharField(_("from"), max_length=24, blank=True)
    became = models.CharField(_("to"), max_length=24)
    why = models.CharField(_("why"), max_length=400, blank=True)
    at = models.DateTimeField(_("when"), default=timezone.now)
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        verbose_name=_("by whom"),
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="+",
    )

    class Meta:
        abstract = True
        ordering = ["at", "pk"]

    def __str__(self) -> str:
        return f"{self.was or '∅'} → {self.became}"
