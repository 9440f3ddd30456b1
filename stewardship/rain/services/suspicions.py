"""Look through gauges' records for what is odd, and keep what a person says of it."""

import logging
from collections.abc import Iterable
from dataclasses import dataclass

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from people.models import Program, User
from stewardship.common.errors import Refused
from stewardship.common.events import in_book_language
from stewardship.rain.choices import GaugeChange, SuspicionKind
from stewardship.rain.models import Gauge, ReadingBatch, Suspicion
from stewardship.rain.reckoning.daily import DayTable, day_table, neighbours_of, reading_hour
from stewardship.rain.reckoning.suspecting import Found, suspicions_in
from stewardship.rain.services.gauges import note_change
from stewardship.rain.times import DAY_S, local_day, seconds

logger = logging.getLogger(__name__)

#: [s] So much of the record before and after new readings is looked at with them: a whole year of each season, and a month.
AROUND_S = 400 * DAY_S
#: [s] A gauge that stays dry so long after it was found right is asked about again.
ASKS_AGAIN_S = 7 * DAY_S
#: Batches that are looked at together; what is left waits for the next round.
MOST_BATCHES = 5_000
WENT_ON = gettext_lazy("It went on after it was found right.")


@dataclass(frozen=True)
class _Round:
    """One look at the gauges: the batches that made it necessary and the span around them."""

    batches: list[tuple[int, int]]  # key, and that of the gauge
    start_s: int
    end_s: int


def check_gauges() -> int:
    """Look again at every gauge that got readings since the last look, and at its neighbours. Returns how many were looked at.

    The arithmetic runs outside transactions; readings that come in meanwhile wait for the next look. A gauge that fails is logged,
    waits, and does not keep the others back.
    """
    now = timezone.now()
    todo = _waiting(seconds(now))
    if todo is None:
        return 0
    program = Program.get()
    gauges = list(Gauge.objects.order_by("code").prefetch_related("places"))
    on = local_day(todo.end_s, program.tz)
    touched = {gauge_id for _pk, gauge_id in todo.batches}
    near = {
        gauge.pk: [other for other, _far in neighbours_of(gauge, gauges, on=on)] for gauge in gauges
    }
    looked_at = [
        gauge
        for gauge in gauges
        if gauge.pk in touched or touched & {other.pk for other in near[gauge.pk]}
    ]
    wanted = {one.pk for gauge in looked_at for one in [gauge, *near[gauge.pk]]}
    compared = [gauge for gauge in gauges if gauge.pk in wanted]
    tables: dict[int, DayTable] = {}
    failed = set()
    for gauge in looked_at:
        try:
            hour = reading_hour(gauge, near[gauge.pk])
            if hour not in tables:
                tables[hour] = day_table(
                    compared, start_s=todo.start_s, end_s=todo.end_s, program=program, hour=hour
                )
            span = todo.start_s, todo.end_s
            found = suspicions_in(gauge, gauges=compared, table=tables[hour], span_s=span, on=on)
            _keep(gauge, found, span)
        except Exception:
            logger.exception("Gauge %s could not be looked through.", gauge.code)
            failed.add(gauge.pk)
    done = [pk for pk, gauge_id in todo.batches if gauge_id not in failed]
    for first in range(0, len(done), 500):
        ReadingBatch.objects.filter(pk__in=done[first : first + 500]).update(checked_at=now)
    return len(looked_at) - len(failed)


def _waiting(now_s: int) -> _Round | None:
    rows = list(
        ReadingBatch.objects.filter(checked_at__isnull=True)
        .order_by("at", "pk")
        .values_list("pk", "gauge_id", "touched_start_s", "touched_end_s")[:MOST_BATCHES]
    )
    if not rows:
        return None
    starts = [start_s for _pk, _gauge, start_s, _end in rows if start_s is not None]
    ends = [end_s for _pk, _gauge, _start, end_s in rows if end_s is not None]
    return _Round(
        [(pk, gauge_id) for pk, gauge_id, _start, _end in rows],
        min(starts, default=now_s) - AROUND_S,
        min(max(ends, default=now_s) + AROUND_S, now_s),
    )


@transaction.atomic
def _keep(gauge: Gauge, found: Iterable[Found], span_s: tuple[int, int]) -> None:
    """Bring what is kept of a span up to date: found again is the same, gone is gone unless a person said something about it."""
    Gauge.objects.select_for_update().get(pk=gauge.pk)
    stored = list(
        gauge.suspicions.filter(start_s__lt=span_s[1], end_s__gt=span_s[0]).order_by("start_s")
    )
    new: list[Found] = []
    kept: list[tuple[Suspicion, Found]] = []
    for one in sorted(found, key=lambda one: one.start_s):
        same = next(
            (
                old
                for old in stored
                if old.kind == one.kind and old.start_s < one.end_s and old.end_s > one.start_s
            ),
            None,
        )
        if same is None:
            new.append(one)
        else:
            stored.remove(same)
            kept.append((same, one))
    gone = [old.pk for old in stored if old.set_aside_at is None and old.start_s >= span_s[0]]
    Suspicion.objects.filter(pk__in=gone).delete()
    for old, one in kept:
        # A stretch that begins before what was looked at keeps its beginning.
        start_s = min(old.start_s, one.start_s) if old.start_s < span_s[0] else one.start_s
        if (old.start_s, old.end_s, old.facts) != (start_s, one.end_s, one.facts):
            old.start_s, old.end_s, old.facts = start_s, one.end_s, one.facts
            old.save(update_fields=["start_s", "end_s", "facts"])
        if (
            old.kind == SuspicionKind.STUCK
            and old.set_aside_end_s is not None
            and old.end_s > old.set_aside_end_s + ASKS_AGAIN_S
        ):
            _ask(old, why=in_book_language(WENT_ON), by=None)
    Suspicion.objects.bulk_create(
        Suspicion(gauge=gauge, kind=one.kind, start_s=one.start_s, end_s=one.end_s, facts=one.facts)
        for one in new
    )


@transaction.atomic
def set_aside(*, suspicion: Suspicion, note: str, by: User) -> Suspicion:
    """A person looked: the readings are right. They are not asked about again.

    Raises
    ------
    Refused
        No reason is given, or somebody else was quicker.
    """
    if not note.strip():
        raise Refused(_("Say how you know, for whoever reads it next."))
    kept = Suspicion.objects.select_for_update(of=("self",)).get(pk=suspicion.pk)
    if kept.set_aside_at is not None:
        raise Refused(_("Somebody has found it right already."))
    kept.set_aside_at, kept.set_aside_by = timezone.now(), by
    kept.set_aside_note, kept.set_aside_end_s = note.strip(), kept.end_s
    kept.save()
    note_change(kept.gauge, GaugeChange.SET_ASIDE, _named(kept, kept.set_aside_note), by=by)
    return kept


@transaction.atomic
def ask_again(*, suspicion: Suspicion, by: User) -> Suspicion:
    """Take back that readings were found right; without effect where they are asked about already."""
    kept = Suspicion.objects.select_for_update(of=("self",)).get(pk=suspicion.pk)
    if kept.set_aside_at is not None:
        _ask(kept, why=kept.set_aside_note, by=by)
    return kept


def _ask(kept: Suspicion, *, why: str, by: User | None) -> None:
    kept.set_aside_at = kept.set_aside_by = kept.set_aside_end_s = None
    kept.set_aside_note = ""
    kept.save()
    note_change(kept.gauge, GaugeChange.ASKED_AGAIN, _named(kept, why), by=by)


def _named(kept: Suspicion, words: str) -> str:
    kind = in_book_language(SuspicionKind(kept.kind).label)
    return f"{kind}, {local_day(kept.start_s, Program.get().tz)}: {words}"
