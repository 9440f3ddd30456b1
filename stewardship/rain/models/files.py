"""Files of readings that somebody uploaded, on their way from a first look into the book or out again."""

from typing import Self

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from stewardship.common.constraints import one_of
from stewardship.common.events import StateEvent
from stewardship.rain.choices import FileState
from stewardship.rain.models.gauges import Gauge

FINISHED = (FileState.TAKEN, FileState.REFUSED, FileState.UNDONE)


class ReadingFileQuerySet(models.QuerySet["ReadingFile"]):
    def waiting(self) -> Self:
        """Files that wait for a worker: to be looked through, or confirmed and to be taken in."""
        return self.filter(
            Q(state=FileState.LOOKED, found__isnull=True) | Q(state=FileState.CONFIRMED)
        )

    def for_a_person(self) -> Self:
        """Files about which somebody has to decide: looked at and not confirmed, or refused and still here to be changed."""
        kept = models.Exists(ReadingFilePart.objects.filter(file=models.OuterRef("pk")))
        return self.filter(Q(state=FileState.LOOKED) | Q(kept, state=FileState.REFUSED))


class ReadingFile(models.Model):
    """A file that somebody uploaded: looked at first, then taken in whole or not at all.

    One file may hold several gauges; each gauge's readings of it are a batch of their own.
    """

    name = models.CharField(_("name"), max_length=200)
    size = models.PositiveBigIntegerField(_("size (bytes)"))
    sha256 = models.CharField(max_length=64)
    #: None: the file says which gauge each column or row is of
    gauge = models.ForeignKey(
        Gauge, null=True, blank=True, on_delete=models.PROTECT, related_name="files"
    )
    #: what the person says about the layout: the fields of `intake.layout.Wishes`
    wishes = models.JSONField(_("layout"), default=dict)
    state = models.CharField(_("state"), max_length=12, choices=FileState, default=FileState.LOOKED)
    #: what would become of its rows: the fields of `intake.rehearsal.Found`; None until the whole file was looked through
    found = models.JSONField(_("what would become of it"), null=True, blank=True, editable=False)
    looked_at = models.DateTimeField(_("looked through"), null=True, blank=True, editable=False)
    #: since when a worker has it in hand
    claimed_at = models.DateTimeField(null=True, blank=True, editable=False)
    rows_read = models.PositiveIntegerField(_("rows read"), default=0)
    refusal = models.TextField(_("why it was not taken in"), blank=True)
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    at = models.DateTimeField(_("uploaded"), default=timezone.now)
    confirmed_at = models.DateTimeField(_("confirmed"), null=True, blank=True)
    finished_at = models.DateTimeField(_("finished"), null=True, blank=True)

    objects = ReadingFileQuerySet.as_manager()

    class Meta:
        ordering = ["-at", "-pk"]
        indexes = [
            # what the sweep asks, and the list of what needs somebody
            models.Index(
                fields=["at"],
                condition=Q(state__in=[FileState.LOOKED, FileState.CONFIRMED, FileState.REFUSED]),
                name="reading_file_open",
            ),
        ]
        constraints = [
            one_of("state", FileState.values, name="reading_file_state_known"),
            models.CheckConstraint(
                condition=Q(state=FileState.LOOKED) | Q(confirmed_at__isnull=False),
                name="reading_file_confirmed_has_time",
            ),
            models.CheckConstraint(
                condition=Q(state__in=FINISHED, finished_at__isnull=False)
                | (~Q(state__in=FINISHED) & Q(finished_at__isnull=True)),
                name="reading_file_time_iff_finished",
            ),
            models.CheckConstraint(
                condition=(Q(state=FileState.REFUSED) & ~Q(refusal=""))
                | (~Q(state=FileState.REFUSED) & Q(refusal="")),
                name="reading_file_why_iff_refused",
            ),
            models.CheckConstraint(
                condition=Q(found__isnull=True, looked_at__isnull=True)
                | Q(found__isnull=False, looked_at__isnull=False),
                name="reading_file_found_has_time",
            ),
        ]

    def __str__(self) -> str:
        return self.name


class ReadingFilePart(models.Model):
    """A stretch of an uploaded file's bytes: any worker can read it, whichever machine took it. Gone once the file is taken in."""

    file = models.ForeignKey(ReadingFile, on_delete=models.CASCADE, related_name="parts")
    number = models.PositiveIntegerField()
    content = models.BinaryField(editable=False)

    class Meta:
        ordering = ["number"]
        constraints = [
            models.UniqueConstraint(fields=["file", "number"], name="reading_file_part_once")
        ]

    def __str__(self) -> str:
        return f"{self.file_id}.{self.number}"


class ReadingFileEvent(StateEvent):
    """What became of an uploaded file, and by whom."""

    file = models.ForeignKey(ReadingFile, on_delete=models.CASCADE, related_name="events")
