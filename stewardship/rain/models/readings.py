"""Readings, the batches they came in, rows that were not understood, and what readings said before."""

from datetime import datetime
from typing import Self

from django.conf import settings
from django.db import models
from django.db.models import F, Q
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from people.models import Person
from stewardship.common.constraints import one_of
from stewardship.common.written import depth_text
from stewardship.rain.choices import BatchSource, ReadingKind
from stewardship.rain.models.files import ReadingFile
from stewardship.rain.models.gauges import Gauge, GaugeToken
from stewardship.rain.times import LONGEST_READING_S, Timed, instant


class ReadingBatch(models.Model):
    """Readings that came in together, and what became of their rows. Unread until storms have been found again."""

    gauge = models.ForeignKey(Gauge, on_delete=models.PROTECT, related_name="batches")
    source = models.CharField(_("source"), max_length=12, choices=BatchSource)
    file = models.ForeignKey(
        ReadingFile, null=True, blank=True, on_delete=models.PROTECT, related_name="batches"
    )
    file_name = models.CharField(_("file"), max_length=200, blank=True)
    #: of the file's bytes and of how it was read, so that a file read with another unit is not the same again
    sha256 = models.CharField(max_length=64, blank=True)
    understood = models.CharField(_("how the file was read"), max_length=400, blank=True)
    added = models.PositiveIntegerField(_("new readings"), default=0)
    same = models.PositiveIntegerField(_("already known"), default=0)
    corrected = models.PositiveIntegerField(_("corrections"), default=0)
    rejected = models.PositiveIntegerField(_("not understood"), default=0)
    skipped = models.PositiveIntegerField(_("of other gauges"), default=0)
    touched_start_s = models.BigIntegerField(null=True, editable=False)
    touched_end_s = models.BigIntegerField(null=True, editable=False)
    at = models.DateTimeField(_("when"), default=timezone.now)
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    #: who wrote it down by a link of theirs, without a log-in
    by_person = models.ForeignKey(
        Person, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    #: with which token a machine sent it
    token = models.ForeignKey(
        GaugeToken,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="batches",
        db_index=False,  # batch_of_token starts with it
    )
    storms_found_at = models.DateTimeField(_("storms found"), null=True, blank=True)
    checked_at = models.DateTimeField(
        _("looked through for what is odd"), null=True, blank=True, editable=False
    )
    undone_at = models.DateTimeField(_("taken back"), null=True, blank=True)
    undone_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    undone_why = models.CharField(_("why it was taken back"), max_length=400, blank=True)

    class Meta:
        verbose_name_plural = _("reading batches")
        ordering = ["-at", "-pk"]
        indexes = [
            # what the rain sweep asks: batches whose storms have not been found yet
            models.Index(
                fields=["at"], condition=Q(storms_found_at__isnull=True), name="batch_waiting"
            ),
            # what the check of gauges asks
            models.Index(
                fields=["at"], condition=Q(checked_at__isnull=True), name="batch_unchecked"
            ),
            # what each push asks: how often its token was used just now, and how many bad rows it sent today
            models.Index(fields=["token", "at"], name="batch_of_token"),
        ]
        constraints = [
            one_of("source", BatchSource.values, name="batch_source_known"),
            models.UniqueConstraint(
                fields=["gauge", "sha256"],
                # a file that was taken back may come again
                condition=~Q(sha256="") & Q(undone_at__isnull=True),
                name="batch_file_once_per_gauge",
            ),
            models.CheckConstraint(
                condition=Q(by_person__isnull=True) | Q(source=BatchSource.TYPED, by__isnull=True),
                name="batch_by_link_is_typed",
            ),
            models.CheckConstraint(
                condition=Q(token__isnull=True) | Q(source=BatchSource.PUSHED),
                name="batch_by_token_is_pushed",
            ),
            models.CheckConstraint(
                condition=Q(undone_at__isnull=True, undone_by__isnull=True, undone_why="")
                | (Q(undone_at__isnull=False) & ~Q(undone_why="")),
                name="batch_undone_says_why",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.gauge.code}: {self.file_name or self.get_source_display()}"

    @property
    def brought_by(self) -> str:
        """Who or which machine it came from, "" where nobody knows."""
        by = self.by or self.by_person
        return str(by) if by else self.token.label if self.token else ""

    @property
    def touched_start_at(self) -> datetime | None:
        return None if self.touched_start_s is None else instant(self.touched_start_s)

    @property
    def touched_end_at(self) -> datetime | None:
        return None if self.touched_end_s is None else instant(self.touched_end_s)


class RejectedRow(models.Model):
    """A row that was not taken in, with the line it stands on and why. Of a machine that sends very many, the first of a day."""

    batch = models.ForeignKey(ReadingBatch, on_delete=models.CASCADE, related_name="rejected_rows")
    line = models.PositiveIntegerField(_("line"))
    text = models.CharField(_("what it says"), max_length=300)
    why = models.CharField(_("why"), max_length=300)

    class Meta:
        ordering = ["line", "pk"]

    def __str__(self) -> str:
        return f"{self.line}: {self.why}"


class ReadingQuerySet(models.QuerySet["Reading"]):
    def between(self, start_s: int, end_s: int) -> Self:
        """Readings that overlap the span."""
        return self.filter(
            # The second bound follows from the third; it lets the index skip the years before.
            start_s__lt=end_s,
            start_s__gt=start_s - LONGEST_READING_S,
            end_s__gt=start_s,
        )

    def latest_end(self, *, of) -> models.Subquery:
        """Until when a gauge's record speaks, for the gauge that an outer query names. [s]"""
        known = self.known().filter(gauge=of).order_by("-start_s")
        return models.Subquery(known.values("end_s")[:1])

    def known(self) -> Self:
        """Readings that say something; a missing one says that nobody knows."""
        return self.exclude(kind=ReadingKind.MISSING)


class Reading(Timed, models.Model):
    """What a gauge showed for (start, end]. The same gauge and interval again is the same reading."""

    gauge = models.ForeignKey(
        Gauge,
        on_delete=models.PROTECT,
        related_name="readings",
        db_index=False,  # the unique constraint's index starts with it
    )
    start_s = models.BigIntegerField(_("from"))
    end_s = models.BigIntegerField(_("until"))
    kind = models.CharField(_("kind"), max_length=12, choices=ReadingKind)
    depth_um = models.IntegerField(_("depth (µm)"), null=True, blank=True)
    typed = models.CharField(
        _("as given"), max_length=16, blank=True, help_text=_("Number and unit as they came.")
    )
    batch = models.ForeignKey(ReadingBatch, on_delete=models.PROTECT, related_name="readings")

    objects = ReadingQuerySet.as_manager()

    class Meta:
        ordering = ["gauge", "start_s"]
        indexes = [
            # what storm finding asks: wet readings of all gauges in a span
            models.Index(fields=["start_s"], condition=Q(depth_um__gt=0), name="reading_wet"),
        ]
        constraints = [
            models.UniqueConstraint(fields=["gauge", "start_s", "end_s"], name="reading_once"),
            models.CheckConstraint(
                condition=Q(end_s__gt=F("start_s"), end_s__lte=F("start_s") + LONGEST_READING_S),
                name="reading_interval_forward",
            ),
            models.CheckConstraint(
                # A comparison with null is neither true nor false, and would pass.
                condition=Q(
                    kind__in=[ReadingKind.MEASURED, ReadingKind.MULTI_DAY],
                    depth_um__isnull=False,
                    depth_um__gte=0,
                )
                | Q(
                    kind__in=[ReadingKind.ZERO, ReadingKind.TRACE],
                    depth_um__isnull=False,
                    depth_um=0,
                )
                | Q(kind=ReadingKind.MISSING, depth_um__isnull=True),
                name="reading_depth_fits_kind",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.gauge_id} {instant(self.start_s):%Y-%m-%d %H:%M} {self.kind}"

    def in_words(self, units: str) -> str:
        """The depth with its unit, or the word for a trace, a dry or a missing reading."""
        return amount_words(self.kind, self.depth_um, units)


def amount_words(kind: str, depth_um: int | None, units: str) -> str:
    if kind in (ReadingKind.MEASURED, ReadingKind.MULTI_DAY):
        return depth_text(depth_um, units) or ""
    return str(ReadingKind(kind).label)


class ReadingCorrection(models.Model):
    """What a reading said before a different depth came in for the same interval."""

    reading = models.ForeignKey(Reading, on_delete=models.CASCADE, related_name="corrections")
    was_kind = models.CharField(_("kind before"), max_length=12, choices=ReadingKind)
    was_depth_um = models.IntegerField(_("depth before (µm)"), null=True)
    was_typed = models.CharField(_("as given before"), max_length=16, blank=True)
    was_batch = models.ForeignKey(
        ReadingBatch, on_delete=models.PROTECT, related_name="+", verbose_name=_("came before in")
    )
    batch = models.ForeignKey(ReadingBatch, on_delete=models.PROTECT, related_name="corrections")
    at = models.DateTimeField(_("corrected"), default=timezone.now)

    class Meta:
        ordering = ["at", "pk"]

    def __str__(self) -> str:
        return f"{self.reading_id}: {self.was_kind}"

    def put_back(self, reading: Reading) -> None:
        """Let the reading say what it said before; not saved."""
        reading.kind, reading.depth_um = self.was_kind, self.was_depth_um
        reading.typed, reading.batch_id = self.was_typed, self.was_batch_id
