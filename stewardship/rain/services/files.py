"""Uploaded files of readings: looked through, changed, confirmed, taken in whole or not at all, thrown away."""

import logging
from collections.abc import Callable
from dataclasses import asdict
from datetime import datetime, timedelta
from typing import BinaryIO

from django.core.cache import cache
from django.db import OperationalError, transaction
from django.db.models import Q
from django.db.models.functions import Coalesce
from django.utils import timezone
from django.utils.translation import gettext as _

from people.models import Program, User
from stewardship.common.errors import Refused
from stewardship.common.events import book_language
from stewardship.rain.choices import FileState
from stewardship.rain.intake.csvfile import NoTable, encoding_and_digest, opened
from stewardship.rain.intake.filestore import keep_bytes, stored
from stewardship.rain.intake.ingest import import_several, look
from stewardship.rain.intake.layout import Wishes
from stewardship.rain.intake.rehearsal import rehearse
from stewardship.rain.models import Gauge, ReadingFile, ReadingFileEvent, ReadingFilePart

logger = logging.getLogger(__name__)

#: [bytes] Some 50,000 rows: looked through and taken in within the page, in a second or two. What is longer waits for the worker.
AT_ONCE_BYTES = 2_000_000
#: What nobody confirmed is thrown away after two weeks: longer than most people who work alone are away. Our default, no source.
KEPT = timedelta(days=14)
#: A worker that had a file in hand so long is dead: the largest file takes a tenth of it, and tasks are stopped before.
LEASE = timedelta(minutes=10)
_PROGRESS_KEPT_S = 3_600


def upload_file(*, gauge: Gauge | None, file_name: str, content: BinaryIO, by: User) -> ReadingFile:
    """Keep a file for a first look; a small one is looked through at once.

    Raises
    ------
    Refused : it is no table of text at all. Then nothing is kept.
    """
    program = Program.get()
    with timezone.override(program.tz), opened(content) as raw:
        encoding, digest = encoding_and_digest(raw)
        try:
            look(raw, encoding, gauge, Wishes(), program)
        except NoTable:
            raise
        except Refused:
            pass  # said on the file's page, where the layout can be named
        size = raw.seek(0, 2)
        with transaction.atomic():
            file = ReadingFile.objects.create(
                name=file_name[:200],
                size=size,
                sha256=digest.hexdigest(),
                gauge=gauge,
                wishes=asdict(Wishes()),
                by=by,
            )
            keep_bytes(file, raw)
            _note(file, "", by=by)
    _at_once(file, look_through)
    return file


@transaction.atomic
def _set_wishes(file: ReadingFile, gauge: Gauge | None, wishes: Wishes, by: User) -> ReadingFile:
    file = ReadingFile.objects.select_for_update(of=("self",)).get(pk=file.pk)
    if file.state not in (FileState.LOOKED, FileState.REFUSED):
        raise Refused(_("The file is being taken in or done with; its layout is settled."))
    if not file.parts.exists():
        raise Refused(_("The file’s bytes are gone. Upload it again."))
    was = file.state
    file.gauge, file.wishes = gauge, asdict(wishes)
    file.state, file.refusal, file.finished_at = FileState.LOOKED, "", None
    file.found = file.looked_at = file.claimed_at = None
    file.rows_read = 0
    file.save()
    if was != file.state:
        _note(file, was, by=by)
    return file


def say_layout(*, file: ReadingFile, gauge: Gauge | None, wishes: Wishes, by: User) -> ReadingFile:
    """Keep what a person says about a file's layout, and look through it again; a large one waits for the worker.

    Raises
    ------
    Refused : the file is confirmed already, or gone.
    """
    file = _set_wishes(file, gauge, wishes, by)
    _at_once(file, look_through)
    return file


def confirm_file(*, file: ReadingFile, seen: str, by: User) -> ReadingFile:
    """Let a file be taken in as it was shown; a small one is taken in at once.

    Parameters
    ----------
    seen : `looked_at` of what the person saw, as ISO text.

    Raises
    ------
    Refused : it was looked through again since, or nothing of it could be taken in.
    """
    with transaction.atomic():
        file = ReadingFile.objects.select_for_update(of=("self",)).get(pk=file.pk)
        if file.state != FileState.LOOKED or file.looked_at is None:
            raise Refused(_("The file does not wait for your yes."))
        if file.looked_at.isoformat() != seen:
            raise Refused(_("The file was looked through again since. Look at what it says now."))
        if file.found["refusal"]:
            raise Refused(file.found["refusal"])
        file.state, file.confirmed_at, file.claimed_at = FileState.CONFIRMED, timezone.now(), None
        file.save()
        _note(file, FileState.LOOKED, by=by)
    _at_once(file, take_in)
    file.refresh_from_db()
    return file


@transaction.atomic
def drop_file(*, file: ReadingFile) -> None:
    """Throw away a file that was looked at and not taken in. Of a refused one the reason stays."""
    file = ReadingFile.objects.select_for_update(of=("self",)).get(pk=file.pk)
    if file.state == FileState.LOOKED:
        file.delete()
    elif file.state == FileState.REFUSED:
        file.parts.all().delete()
    else:
        raise Refused(_("The file is being taken in or done with."))


def look_through(pk: int) -> bool:
    """Find out what would become of a file. False if it is not to be done or somebody has it in hand."""
    claimed = _claim(ReadingFile.objects.filter(state=FileState.LOOKED, found__isnull=True), pk)
    if claimed is None:
        return False
    file = ReadingFile.objects.select_related("gauge").get(pk=pk)
    found = rehearse(
        content=stored(file),
        gauge=file.gauge,
        wishes=Wishes(**file.wishes),
        progress=_progress(pk),
    )
    # Nothing is written if the person said something else meanwhile.
    ReadingFile.objects.filter(pk=pk, state=FileState.LOOKED, claimed_at=claimed).update(
        found=found.as_json(), looked_at=timezone.now(), claimed_at=None, rows_read=found.rows
    )
    return True


def take_in(pk: int) -> bool:
    """Take a confirmed file in, in one transaction. False if it is not to be done or somebody has it in hand.

    A worker that dies on the way leaves the file as it was, to be done again.
    """
    claimed = _claim(ReadingFile.objects.filter(state=FileState.CONFIRMED), pk)
    if claimed is None:
        return False
    with book_language():
        try:
            _take_in(pk)
        except Refused as refusal:
            _refuse(pk, str(refusal))
        except OperationalError:  # somebody else writes; try again soon
            ReadingFile.objects.filter(pk=pk, claimed_at=claimed).update(claimed_at=None)
            raise
    return True


@transaction.atomic
def _take_in(pk: int) -> None:
    file = (
        ReadingFile.objects.select_for_update(of=("self",))
        .filter(pk=pk, state=FileState.CONFIRMED)
        .first()
    )
    if file is None:  # another worker was quicker
        return
    read = 0

    def progress(rows: int) -> None:
        nonlocal read
        read = rows
        tell(rows)

    tell = _progress(pk)
    import_several(
        gauge=file.gauge,
        file_name=file.name,
        content=stored(file),
        wishes=Wishes(**file.wishes),
        by=file.by,
        file=file,
        progress=progress,
    )
    file.parts.all().delete()
    file.state, file.finished_at, file.claimed_at = FileState.TAKEN, timezone.now(), None
    file.rows_read = read
    file.save()
    _note(file, FileState.CONFIRMED)


@transaction.atomic
def _refuse(pk: int, why: str) -> None:
    file = ReadingFile.objects.select_for_update(of=("self",)).get(pk=pk)
    if file.state != FileState.CONFIRMED:
        return
    file.state, file.refusal, file.finished_at = FileState.REFUSED, why, timezone.now()
    file.claimed_at = None
    file.save()
    _note(file, FileState.CONFIRMED, why=why)


def carry_on_files() -> int:
    """Look through, take in and throw away what is due; one that fails is logged and does not keep the others back."""
    done = 0
    waiting = ReadingFile.objects.waiting().order_by("at", "pk").values_list("pk", "state")
    for pk, state in list(waiting):
        try:
            done += (take_in if state == FileState.CONFIRMED else look_through)(pk)
        except Exception:
            logger.exception("The uploaded file %s could not be worked on.", pk)
    _throw_away(before=timezone.now() - KEPT)
    return done


def _throw_away(*, before: datetime) -> None:
    """What nobody confirmed goes; of refused files the bytes."""
    ReadingFile.objects.filter(state=FileState.LOOKED).alias(
        last=Coalesce("looked_at", "at")
    ).filter(last__lt=before).delete()
    ReadingFilePart.objects.filter(
        file__state=FileState.REFUSED, file__finished_at__lt=before
    ).delete()


def thrown_away_at(file: ReadingFile) -> datetime:
    """When a file that waits for somebody will be thrown away."""
    return (file.finished_at or file.looked_at or file.at) + KEPT


def rows_so_far(file: ReadingFile) -> int | None:
    """Rows that a worker has read so far, as far as this machine knows."""
    return cache.get(_progress_key(file.pk))


def _at_once(file: ReadingFile, work: Callable[[int], bool]) -> None:
    if file.size <= AT_ONCE_BYTES:
        work(file.pk)


def _claim(files, pk: int) -> datetime | None:
    """Take a file in hand unless somebody has it; the time of the claim, None if not."""
    now = timezone.now()
    free = Q(claimed_at__isnull=True) | Q(claimed_at__lt=now - LEASE)
    return now if files.filter(free, pk=pk).update(claimed_at=now) else None


def _progress(pk: int) -> Callable[[int], None]:
    """Tells how many rows were read. In the cache: while a file is taken in, SQLite's one writer is busy with its rows."""
    return lambda rows: cache.set(_progress_key(pk), rows, _PROGRESS_KEPT_S)


def _progress_key(pk: int) -> str:
    return f"rain-file-{pk}"


def _note(file: ReadingFile, was: str, *, why: str = "", by: User | None = None) -> None:
    ReadingFileEvent.objects.create(file=file, was=was, became=file.state, why=why[:400], by=by)
