"""Find what storms the readings make: when readings come, and again when somebody asks."""

import logging

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from people.models import Program, User
from stewardship.common.errors import Refused
from stewardship.common.events import book_language
from stewardship.rain.models import Gauge, ReadingBatch, StormSearch
from stewardship.rain.reckoning.finding import Span, find_in, piece_of, touched_by, widened
from stewardship.rain.reckoning.record import dry_gaps
from stewardship.rain.times import DAY_S, seconds

logger = logging.getLogger(__name__)

#: [s] As much is found again within a page; more would keep the person waiting and the database's one writer busy.
AT_ONCE_S = 62 * DAY_S
#: [s] The sweep finds so much again in one transaction. Six years of minutes at thirty sites would keep SQLite's writer for a minute.
PIECE_S = 92 * DAY_S


def find_waiting_storms() -> int:
    """Find the storms of all readings that have come in since, and what they were at each site.

    Batches that have to do with each other are taken together, a season of them in one transaction; one that fails is logged, waits,
    and does not keep the others back. Returns how many storms are new, changed or gone.
    """
    changed = 0
    tried: set[int] = set()
    while True:
        waiting = ReadingBatch.objects.filter(storms_found_at__isnull=True).exclude(pk__in=tried)
        first = waiting.order_by("at", "pk").values_list("pk", flat=True).first()
        if first is None:
            return changed
        tried.add(first)
        try:
            changed += _find_with(first)
        except Exception:
            logger.exception("Storms of reading batch %s could not be found.", first)


def _find_with(batch_id: int) -> int:
    """Find the storms that one batch and those that belong with it touch, piece by piece.

    Who is stopped on the way leaves the batches waiting; what was found already is found the same again.
    """
    span: Span | None = None
    reached_s = changed = 0
    while span is None or reached_s < span.end_s:
        with transaction.atomic():
            lock_gauges()
            batch = (
                ReadingBatch.objects.select_related("gauge")
                .filter(pk=batch_id, storms_found_at__isnull=True)
                .first()
            )
            if batch is None:  # another worker was quicker
                return changed
            program = Program.get()
            gaps = dry_gaps(program)
            if span is None:
                span = widened(*touched_by(batch), gaps)
                reached_s = span.start_s
            piece = piece_of(span, reached_s, PIECE_S, gaps)
            changed += find_in(piece, program=program, gaps=gaps, why=_why(span)).storms
            reached_s = piece.end_s
            if reached_s >= span.end_s:
                _close_batches(span)
    return changed


def _close_batches(span: Span) -> None:
    """Batches wait no more; one that was taken back meanwhile waits on, as what it said may have been found before."""
    for taken_back in (False, True):
        alike = [one.pk for one in span.batches if (one.undone_at is not None) == taken_back]
        ReadingBatch.objects.filter(pk__in=alike, undone_at__isnull=not taken_back).update(
            storms_found_at=timezone.now()
        )


def find_again(*, start_s: int, end_s: int, why: str, by: User) -> StormSearch:
    """Find the storms of a time again with the gauges' places and facts, the rules and the outages as they are now.

    Readings stay as they are. A short time is done at once; a longer one waits for the rain sweep, which takes it piece by piece.

    Raises
    ------
    Refused
        No reason is given, the time is empty, or it lies in the future.
    """
    now_s = seconds(timezone.now())
    if not why.strip():
        raise Refused(_("Say why."))
    if end_s <= start_s:
        raise Refused(_("The last day cannot be before the first."))
    if start_s >= now_s:
        raise Refused(_("That day is still to come."))
    asked = StormSearch.objects.create(
        start_s=start_s, end_s=end_s, reached_s=start_s, why=why.strip(), by=by
    )
    if end_s - start_s <= AT_ONCE_S:
        _carry_on(asked.pk)
        asked.refresh_from_db()
    return asked


def carry_on_searches() -> None:
    """Do what is left of every search that somebody asked for; one that fails is logged, waits, and does not keep the others back."""
    for pk in list(StormSearch.objects.waiting().order_by("at").values_list("pk", flat=True)):
        try:
            while not _carry_on(pk):
                pass
        except Exception:
            logger.exception("Storms could not be found again for search %s.", pk)


@transaction.atomic
def _carry_on(pk: int) -> bool:
    """Find the storms of the next piece of a search. True when nothing is left of it."""
    lock_gauges()
    asked = StormSearch.objects.select_for_update(of=("self",)).get(pk=pk)
    if asked.done_at is not None:  # another worker was quicker
        return True
    program = Program.get()
    gaps = dry_gaps(program)
    until_s = min(asked.reached_s + PIECE_S, asked.end_s)
    span = widened(asked.reached_s, until_s, gaps)
    changed = find_in(span, program=program, gaps=gaps, why=asked.why, by=asked.by)
    _close_batches(span)
    asked.storms += changed.storms
    asked.rains += changed.rains
    asked.reached_s = min(max(span.end_s, until_s), asked.end_s)
    if asked.reached_s >= asked.end_s:
        asked.done_at = timezone.now()
    asked.save()
    return asked.done_at is not None


def lock_gauges() -> None:
    """One at a time, and no import half-way: imports lock their gauge, this locks all, in one order."""
    list(Gauge.objects.select_for_update().order_by("pk").values_list("pk", flat=True))


def _why(span: Span) -> str:
    """What brought a revision about, in the book's words."""
    standing = [batch for batch in span.batches if batch.undone_at is None]
    came = sorted({batch.gauge.code for batch in standing if batch.added})
    corrected = sorted({batch.gauge.code for batch in standing if batch.corrected})
    undone = sorted({batch.gauge.code for batch in span.batches if batch.undone_at})
    said = []
    with book_language():
        if came:
            said.append(_("Readings came in: %s.") % ", ".join(came))
        if corrected:
            said.append(_("Readings were corrected: %s.") % ", ".join(corrected))
        if undone:
            said.append(_("Readings were taken back: %s.") % ", ".join(undone))
    return " ".join(said)
