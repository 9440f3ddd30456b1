"""Storms found again over the span that new readings touch: which stored storm each one is, what changed, and what follows from it.

Run inside the caller's transaction, with the gauges locked. The result depends on the readings alone, not on the order or the
batches in which they came: the span is widened until nothing outside it can have anything to do with what is inside.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from django.db.models import F, Max, Min
from django.utils import timezone
from django.utils.translation import gettext as _

from people.models import Program, User
from stewardship.common.events import book_language
from stewardship.common.planner import MANY_ROWS, many_came_in
from stewardship.hydrology.storms import COARSE_READING_S
from stewardship.rain.models import (
    BasinWater,
    Gauge,
    GaugeStorm,
    Reading,
    ReadingBatch,
    SiteRain,
    Storm,
    StormRevision,
)
from stewardship.rain.reckoning.grouping import DryGaps, Storms, group_storms
from stewardship.rain.reckoning.record import outages_by_gauge, wet_readings
from stewardship.rain.reckoning.settling import settle_rain

PEAK_FIELDS = ("peak_5min_um", "peak_15min_um", "peak_30min_um", "peak_60min_um", "peak_24h_um")


@dataclass
class Span:
    """A stretch of time to look at again, and the batches that wait for it."""

    start_s: int
    end_s: int
    batches: list[ReadingBatch]

    def include(self, start_s: int | None, end_s: int | None) -> None:
        if start_s is not None and end_s is not None:
            self.start_s, self.end_s = min(self.start_s, start_s), max(self.end_s, end_s)


def touched_by(batch: ReadingBatch) -> tuple[int, int]:
    """The span in which a batch may have changed something. [s]

    Where a gauge is silent in dry times, a reading also says that it was dry back to the reading before and on to the next.
    """
    start_s, end_s = batch.touched_start_s, batch.touched_end_s
    assert start_s is not None and end_s is not None
    if not batch.gauge.lists_dry:
        readings = Reading.objects.filter(gauge=batch.gauge).known()
        before = readings.filter(start_s__lt=start_s).order_by("-start_s").first()
        after = readings.filter(end_s__gt=end_s, start_s__gte=start_s).order_by("start_s").first()
        start_s = start_s if before is None else min(start_s, before.end_s)
        end_s = end_s if after is None else max(end_s, after.start_s)
    return start_s, end_s


def widened(start_s: int, end_s: int, gaps: DryGaps) -> Span:
    """A span with every storm, total and waiting batch that has to do with it."""
    span = Span(start_s, end_s, [])
    waiting = {
        batch.pk: (batch, touched_by(batch))
        for batch in ReadingBatch.objects.filter(storms_found_at__isnull=True)
        .select_related("gauge")
        .order_by("at", "pk")
    }
    before = None
    while before != (span.start_s, span.end_s):
        before = (span.start_s, span.end_s)
        near = (span.start_s - gaps.longest_s, span.end_s + gaps.longest_s)
        storms = Storm.objects.standing().overlapping(*near)
        span.include(*storms.aggregate(a=Min("start_s"), b=Max("end_s")).values())
        totals = Reading.objects.between(span.start_s, span.end_s).filter(
            depth_um__gt=0, end_s__gt=F("start_s") + COARSE_READING_S
        )
        span.include(*totals.aggregate(a=Min("start_s"), b=Max("end_s")).values())
        for pk, (batch, touched) in list(waiting.items()):
            if touched[0] < near[1] and touched[1] > near[0]:
                span.include(*touched)
                span.batches.append(batch)
                del waiting[pk]
    return span


def piece_of(span: Span, start_s: int, length_s: int, gaps: DryGaps) -> Span:
    """So much of a span from one of its moments on, and more until nothing before the piece's end has to do with anything after it.

    `start_s` is the span's start or the end of the piece before. A wet reading or a stored storm within the longest dry gap after the
    end moves it on.
    """
    end_s, before = start_s + length_s, None
    while end_s < span.end_s and end_s != before:
        before = end_s
        storms = Storm.objects.standing().overlapping(start_s, end_s + gaps.longest_s)
        end_s = max(end_s, storms.aggregate(last=Max("end_s"))["last"] or end_s)
        wet = Reading.objects.between(end_s, span.end_s).filter(depth_um__gt=0)
        for wet_start_s, wet_end_s in (
            wet.order_by("start_s").values_list("start_s", "end_s").iterator()
        ):
            if wet_start_s >= end_s + gaps.longest_s:
                break
            end_s = max(end_s, wet_end_s)
    return Span(start_s, min(end_s, span.end_s), span.batches)


class Changed(NamedTuple):
    """How many storms, and how many rains at sites, are new, changed or gone."""

    storms: int
    rains: int


def find_in(
    span: Span, *, program: Program, gaps: DryGaps, why: str, by: User | None = None
) -> Changed:
    """Find the storms of a span again and settle everything that follows.

    `why` stands beside each revision; `by`: who asked, where neither readings nor an outage brought it about.
    """
    with book_language():  # why a storm changed and which gauges were left out is kept in words
        return _find_in(span, program, gaps, why, by)


def _find_in(span: Span, program: Program, gaps: DryGaps, why: str, by: User | None) -> Changed:
    gauges = list(Gauge.objects.order_by("code"))
    outages = outages_by_gauge()
    found = group_storms(wet_readings(gauges, outages, span.start_s, span.end_s), gaps)
    stored = list(
        Storm.objects.standing().overlapping(span.start_s, span.end_s).order_by("start_s", "pk")
    )
    parts = _parts_of(found, gauges, span)
    matched = match(stored, found)
    changed = _write_storms(matched, found, parts, why, by)
    _follow_on(gauges, span)
    rains = settle_rain(
        storms=found,
        stored=[one.storm for one in matched.standing],
        gauges=gauges,
        outages=outages,
        span=(span.start_s, span.end_s),
        zone=program.tz,
    )
    if rains >= MANY_ROWS:
        many_came_in(Storm, StormRevision, GaugeStorm, SiteRain, BasinWater)
    return Changed(changed, rains)


@dataclass
class Identity:
    """Which stored storm a found one is; a new one may be what was split from a stored one."""

    storm: Storm | None
    split_from: Storm | None = None


@dataclass
class Matched:
    standing: list[Identity]  # one per found storm
    gone: list[
        tuple[Storm, int | None]
    ]  # stored storms that are no more, and the found storm they became part of


def match(stored: Sequence[Storm], found: Storms) -> Matched:
    """Give each found storm the identity of a stored one that it overlaps.

    In order of time each found storm takes the earliest stored one that is still free. A stored storm that no found one takes has
    become part of the first that it overlaps, or is gone. A found storm that overlaps only taken ones was split from the first.
    """
    free = {storm.pk for storm in stored}
    standing: list[Identity] = []
    starts = np.array([storm.start_s for storm in stored], dtype=np.int64)
    ends = np.array([storm.end_s for storm in stored], dtype=np.int64)
    for start_s, end_s in zip(found.start_s.tolist(), found.end_s.tolist(), strict=True):
        over = [stored[n] for n in np.flatnonzero((starts < end_s) & (ends > start_s))]
        own = next((storm for storm in over if storm.pk in free), None)
        if own is not None:
            free.discard(own.pk)
        split = over[0] if over and own is None else None
        standing.append(Identity(own, split))
    gone = []
    for storm in stored:
        if storm.pk in free:
            over = np.flatnonzero((found.start_s < storm.end_s) & (found.end_s > storm.start_s))
            gone.append((storm, int(over[0]) if over.size else None))
    return Matched(standing, gone)


def _parts_of(found: Storms, gauges: Sequence[Gauge], span: Span) -> list[list[GaugeStorm]]:
    """Each storm's parts, with the dry time before each; not saved."""
    p = found.parts
    order = np.lexsort((p.start_s, p.gauge))
    ended_s: dict[int, int | None] = {}
    parts: list[list[GaugeStorm]] = [[] for _storm in range(len(found))]
    for n in order.tolist():
        gauge = gauges[p.gauge[n]]
        if gauge.pk not in ended_s:
            before = (
                GaugeStorm.objects.filter(gauge=gauge, end_s__lte=span.start_s)
                .order_by("-start_s")
                .first()
            )
            ended_s[gauge.pk] = None if before is None else before.end_s
        last_s = ended_s[gauge.pk]
        start_s, end_s, length_s = int(p.start_s[n]), int(p.end_s[n]), int(p.longest_s[n])
        parts[p.storm[n]].append(
            GaugeStorm(
                gauge=gauge,
                start_s=start_s,
                end_s=end_s,
                depth_um=int(p.depth_um[n]),
                dry_before_s=None if last_s is None else start_s - last_s,
                coarse=length_s > COARSE_READING_S,
                **{
                    name: None if np.isnan(peak) else round(float(peak), 1)
                    for name, peak in zip(PEAK_FIELDS, p.peak_um[n], strict=True)
                },
            )
        )
        ended_s[gauge.pk] = end_s
    return parts


def _figures(part: GaugeStorm) -> tuple:
    return (
        part.gauge_id,
        part.start_s,
        part.end_s,
        part.depth_um,
        part.coarse,
        *(getattr(part, name) for name in PEAK_FIELDS),
    )


def _write_storms(
    matched: Matched,
    found: Storms,
    parts: list[list[GaugeStorm]],
    why: str,
    by: User | None,
) -> int:
    """Bring storms, their revisions and parts up to date. Returns how many are new, changed or gone."""
    stored_parts: dict[int, list[GaugeStorm]] = {}
    known = [one.storm for one in matched.standing if one.storm] + [s for s, _n in matched.gone]
    for part in GaugeStorm.objects.filter(storm__in=known):
        stored_parts.setdefault(part.storm_id, []).append(part)

    revisions: list[StormRevision] = []
    renewed: list[Storm] = []
    stale: list[int] = []
    fresh: list[GaugeStorm] = []
    redated: list[GaugeStorm] = []
    new: list[Storm] = []
    for number, one in enumerate(matched.standing):
        total_um: dict[int, int] = {}
        for part in parts[number]:
            total_um[part.gauge_id] = total_um.get(part.gauge_id, 0) + part.depth_um
        figures = {
            "start_s": int(found.start_s[number]),
            "end_s": int(found.end_s[number]),
            "greatest_um": max(total_um.values()),
            "coarse": bool(found.coarse[number]),
        }
        storm = one.storm
        if storm is None:
            storm = one.storm = Storm(**figures, split_from=one.split_from)
            new.append(storm)
            fresh += parts[number]
            continue
        before = {_figures(part): part for part in stored_parts.get(storm.pk, [])}
        same = all(getattr(storm, name) == value for name, value in figures.items())
        if same and set(before) == {_figures(part) for part in parts[number]}:
            for part in parts[number]:
                kept = before[_figures(part)]
                if kept.dry_before_s != part.dry_before_s:
                    kept.dry_before_s = part.dry_before_s
                    redated.append(kept)
            continue
        for name, value in figures.items():
            setattr(storm, name, value)
        storm.revision += 1
        renewed.append(storm)
        revisions.append(_revision(storm, why, by))
        stale += [part.pk for part in stored_parts.get(storm.pk, [])]
        fresh += parts[number]
    Storm.objects.bulk_create(new, batch_size=1000)
    # What somebody asked for has their reason; new readings speak for themselves.
    asked = f" {why}" if by else ""
    for storm in new:
        if not storm.split_from_id:
            said = _("First found.")
        else:
            said = _("Split off.") if by else _("Split off by new readings.")
        revisions.append(_revision(storm, said + asked, by))
    now = timezone.now()
    for storm, number in matched.gone:
        storm.withdrawn_at = now
        storm.merged_into = None if number is None else matched.standing[number].storm
        storm.revision += 1
        renewed.append(storm)
        stale += [part.pk for part in stored_parts.get(storm.pk, [])]
        if number is None:
            said = _("The readings no longer show it.")
        elif by:
            said = _("It is part of the storm before.")
        else:
            said = _("New readings join it to the storm before.")
        revisions.append(_revision(storm, said + asked, by))
    for number, one in enumerate(matched.standing):
        for part in parts[number]:
            part.storm = one.storm
    for first in range(0, len(stale), 500):
        GaugeStorm.objects.filter(pk__in=stale[first : first + 500]).delete()
    Storm.objects.bulk_update(
        renewed,
        ["start_s", "end_s", "greatest_um", "coarse", "revision", "withdrawn_at", "merged_into"],
        batch_size=200,
    )
    StormRevision.objects.bulk_create(revisions, batch_size=1000)
    GaugeStorm.objects.bulk_create(fresh, batch_size=1000)
    GaugeStorm.objects.bulk_update(redated, ["dry_before_s"], batch_size=500)
    return len(new) + len(renewed)


def _revision(storm: Storm, why: str, by: User | None) -> StormRevision:
    return StormRevision(
        storm=storm,
        number=storm.revision,
        start_s=storm.start_s,
        end_s=storm.end_s,
        greatest_um=storm.greatest_um,
        why=why[:200],
        by=by,
    )


def _follow_on(gauges: Sequence[Gauge], span: Span) -> None:
    """The dry time before each gauge's next part after the span."""
    for gauge in gauges:
        own = GaugeStorm.objects.filter(gauge=gauge)
        after = own.filter(start_s__gte=span.end_s).order_by("start_s").first()
        if after is None:
            continue
        last = own.filter(start_s__lt=after.start_s).order_by("-start_s").first()
        dry_s = None if last is None else after.start_s - last.end_s
        if after.dry_before_s != dry_s:
            after.dry_before_s = dry_s
            after.save(update_fields=["dry_before_s"])
