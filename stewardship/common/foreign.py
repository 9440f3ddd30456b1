"""What other people's lists call a thing."""

from django.db import models
from django.utils.translation import gettext_lazy as _


class ForeignId(models.Model):
    """An identifier in somebody else's list. Concrete classes add the foreign key to the thing, related_name="external_ids"."""

    kept_by = models.CharField(
        _("whose list"), max_length=80, help_text=_("E.g. the assessor, or an agency’s inventory.")
    )
    value = models.CharField(_("identifier there"), max_length=80)

    class Meta:
        abstract = True
        ordering = ["kept_by", "value"]

    def __str__(self) -> str:
        return f"{self.kept_by}: {self.value}"
