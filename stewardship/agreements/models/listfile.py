"""Lists that were brought in, or given out."""

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from stewardship.agreements.choices import ListState
from stewardship.common.constraints import one_of


class ListFile(models.Model):
    """A file of people, sites and agreements: looked through, then taken in or left; or written out, by whom and when."""

    name = models.CharField(_("file"), max_length=160)
    state = models.CharField(_("state"), max_length=8, choices=ListState, default=ListState.LOOKED)
    #: whose list it is: under this name its identifiers are kept
    kept_by = models.CharField(_("whose list"), max_length=80, blank=True)
    #: how days with slashes are written in it
    day_order = models.CharField(max_length=12, default="month_first")
    content = models.BinaryField(editable=False, default=bytes)
    sha256 = models.CharField(max_length=64, blank=True)
    #: what the look found or taking in did: {"counts": {sheet: {what: n}}, "faults": [...], "unused": {sheet: [...]}}
    found = models.JSONField(default=dict)
    at = models.DateTimeField(_("when"), default=timezone.now)
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    settled_at = models.DateTimeField(_("taken in or left"), null=True, blank=True)

    class Meta:
        ordering = ["-at", "-pk"]
        constraints = [
            one_of("state", ListState.values, name="list_file_state_known"),
            models.CheckConstraint(
                condition=Q(state__in=[ListState.TAKEN, ListState.LEFT], settled_at__isnull=False)
                | Q(state__in=[ListState.LOOKED, ListState.GIVEN], settled_at__isnull=True),
                name="list_file_settled_iff_time",
            ),
        ]

    def __str__(self) -> str:
        return self.name
