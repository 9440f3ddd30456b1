"""Take a batch of readings back: its new readings go, what it corrected says again what it said before."""

from collections.abc import Iterable
from dataclasses import dataclass

from django.db import transaction
from django.db.models import Exists, OuterRef, QuerySet
from django.utils import timezone
from django.utils.translation import gettext as _

from people.models import Program, User
from stewardship.common.errors import Refused
from stewardship.common.written import moment_text
from stewardship.rain.choices import FileState
from stewardship.rain.intake.writing import say_otherwise
from stewardship.rain.models import (
    Gauge,
    Reading,
    ReadingBatch,
    ReadingCorrection,
    ReadingFile,
    ReadingFileEvent,
)

_PIECE = 500  # readings put back at a time


@dataclass(frozen=True)
class UndoPlan:
    """What taking a batch back would do, in readings."""

    removed: int
    restored: int
    stay: int  # because later corrections stand on them
    #: later batches, not taken back, in which readings were "already known"; they may have been this batch's
    leaning: list[ReadingBatch]


def undo_plan(batch: ReadingBatch) -> UndoPlan:
    own = Reading.objects.filter(batch=batch)
    corrected = own.filter(Exists(_corrections()))
    restored = own.filter(Exists(_corrections().filter(was_batch__undone_at__isnull=True))).count()
    stay = (
        ReadingCorrection.objects.filter(was_batch=batch)
        .exclude(reading__batch=batch)
        .values("reading")
        .distinct()
        .count()
    )
    plain = own.exclude(Exists(_corrections())).count()
    leaning = ReadingBatch.objects.filter(
        gauge=batch.gauge_id, at__gte=batch.at, same__gt=0, undone_at__isnull=True
    ).exclude(pk=batch.pk)
    return UndoPlan(
        removed=plain + corrected.count() - restored,
        restored=restored,
        stay=stay,
        leaning=list(leaning.order_by("at")) if plain else [],
    )


@transaction.atomic
def undo_batch(*, batch: ReadingBatch, by: User | None, why: str) -> UndoPlan:
    """Take a batch back, in one transaction. Returns what was done.

    Readings that the batch brought are removed; those that it corrected say again what they said before, or are removed too if
    what they said came in a batch that was taken back; those that a later batch corrected stay as that one says. The storms of the
    time are found again by the next sweep. The same file may come again.

    Raises
    ------
    Refused : no reason is given, or it was taken back already.
    """
    if not why.strip():
        raise Refused(_("Say why it is taken back."))
    Gauge.objects.select_for_update().get(pk=batch.gauge_id)
    batch = ReadingBatch.objects.select_for_update(of=("self",)).get(pk=batch.pk)
    if batch.undone_at is not None:
        with timezone.override(Program.get().tz):
            when = moment_text(batch.undone_at)
        raise Refused(_("It was taken back already, on %s; nothing was changed.") % when)
    plan = undo_plan(batch)
    own = Reading.objects.filter(batch=batch)
    corrected = list(own.filter(Exists(_corrections())).values_list("pk", flat=True))
    # Past the collector: a million model instances would be fetched first. Nothing else points at them.
    plain = own.exclude(Exists(_corrections()))
    plain._raw_delete(plain.db)
    for first in range(0, len(corrected), _PIECE):
        _put_back(corrected[first : first + _PIECE])
    batch.undone_at, batch.undone_by, batch.undone_why = timezone.now(), by, why.strip()[:400]
    if batch.touched_start_s is not None:
        batch.storms_found_at = batch.checked_at = None
    batch.save()
    _close_file(batch.file, by, batch.undone_why)
    return plan


def _corrections() -> QuerySet[ReadingCorrection]:
    return ReadingCorrection.objects.filter(reading=OuterRef("pk"))


def _put_back(pks: Iterable[int]) -> None:
    """Undo the last correction of these readings, and those below whose own source was taken back before."""
    chains: dict[int, list[tuple]] = {}
    said = ("was_kind", "was_depth_um", "was_typed", "was_batch")
    for reading, *correction in (
        ReadingCorrection.objects.filter(reading__in=pks)
        .order_by("-pk")
        .values_list("reading", "pk", "was_batch__undone_at", *said)
    ):
        chains.setdefault(reading, []).append(correction)
    restored: list[tuple] = []
    gone: list[int] = []
    undone: list[int] = []
    for reading, chain in chains.items():
        for pk, source_undone_at, *was in chain:
            undone.append(pk)
            if source_undone_at is None:
                restored.append((*was, reading))
                break
        else:
            gone.append(reading)
    ReadingCorrection.objects.filter(pk__in=undone).delete()
    say_otherwise(restored)
    Reading.objects.filter(pk__in=gone).delete()


def _close_file(file: ReadingFile | None, by: User | None, why: str) -> None:
    """A file all of whose batches were taken back is taken back itself."""
    if file is None or file.batches.filter(undone_at__isnull=True).exists():
        return
    was, file.state = file.state, FileState.UNDONE
    file.save(update_fields=["state"])
    ReadingFileEvent.objects.create(file=file, was=was, became=file.state, why=why, by=by)
