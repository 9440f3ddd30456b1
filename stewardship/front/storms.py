"""A storm for people: what fell where, how sure that is, who must, who was told, who answered."""

from collections import defaultdict
from dataclasses import dataclass
from datetime import datetime

from django.db.models import Count, OuterRef, Q, QuerySet, Subquery
from django.utils import timezone
from django.utils.formats import time_format
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from people.models import Program
from stewardship.care.choices import AnswerKind, DutyState
from stewardship.care.models import Answer, Duty, Reminder
from stewardship.common.charts import hyetograph
from stewardship.common.written import day_text, depth_text, moment_text
from stewardship.outbox.choices import WAITING, Channel, Status
from stewardship.rain.choices import ReadingKind, Sureness
from stewardship.rain.models import (
    DeclaredRain,
    GaugeStorm,
    Reading,
    SiteRain,
    Storm,
    StormRevision,
    instant,
)
from stewardship.rain.times import last_day, local_day
from stewardship.rain.unusual import Unusual, unusual_at_gauges

#: Fewer bars than this say nothing that the number beside them does not.
FEWEST_BARS = 3
#: Readings that one drawing shows; more are drawn in equal steps of several readings.
MOST_BARS = 288


@dataclass(frozen=True)
class StormInShort:
    """The few numbers of a storm. Depths in µm; None: no site's rain is known.

    `told` and `answered` count what happened since the storm began; `told_before` the duties that it joined, of which people
    were told for an earlier storm only.
    """

    storm: Storm
    least_um: int | None
    greatest_um: int | None
    sites: int
    unknown: int
    duties: int
    met: int
    told: int
    told_before: int
    answered: int

    @property
    def span(self) -> str:
        """From when until when, the day once if it is one; in the zone that is active."""
        start, end = self.storm.start_at, self.storm.end_at
        last = timezone.localtime(end)
        if last.date() == timezone.localtime(start).date():
            return f"{moment_text(start)} – {time_format(last.time(), 'TIME_FORMAT')}"
        return f"{moment_text(start)} – {moment_text(end)}"


def storm_days(storm: Storm, *, program: Program) -> str:
    """The day of a storm, or its two, in the words of the letters."""
    first = day_text(local_day(storm.start_s, program.tz))
    last = day_text(last_day(storm.end_s, program.tz))
    if first == last:
        return str(last)
    return _("%(first)s to %(last)s") % {"first": first, "last": last}


def _duties(storm: Storm) -> QuerySet[Duty]:
    """The storm's duties with what came of them.

    told_at  when a letter last left since the storm began;  told_before  when one last left before it
    waits_until, waits_as  when the newest letter that has not left may go, and its channel
    last_status  of the newest letter;  answer_kind  of the newest answer since the storm began;  answer_before  before it
    """
    start = storm.start_at
    letters = Reminder.objects.filter(duty=OuterRef("pk")).order_by("-made_at", "-pk")
    sent = letters.filter(message__status=Status.SENT).order_by("-message__sent_at")
    waiting = letters.filter(message__status__in=[*WAITING, Status.SENDING])
    answers = Answer.objects.filter(duty=OuterRef("pk")).order_by("-at", "-pk")
    return Duty.objects.filter(storms=storm).annotate(
        told_at=Subquery(sent.filter(message__sent_at__gte=start).values("message__sent_at")[:1]),
        told_before=Subquery(
            sent.filter(message__sent_at__lt=start).values("message__sent_at")[:1]
        ),
        waits_until=Subquery(waiting.values("message__due_at")[:1]),
        waits_as=Subquery(waiting.values("message__channel")[:1]),
        last_status=Subquery(letters.values("message__status")[:1]),
        answer_kind=Subquery(answers.filter(at__gte=start).values("kind")[:1]),
        answer_before=Subquery(answers.filter(at__lt=start).values("kind")[:1]),
    )


def storm_in_short(storm: Storm) -> StormInShort:
    depths = list(storm.site_rains.values_list("depth_um", flat=True))
    known = [depth for depth in depths if depth is not None]
    counts = _duties(storm).aggregate(
        duties=Count("pk"),
        met=Count("pk", filter=Q(state=DutyState.MET)),
        told=Count("pk", filter=Q(told_at__isnull=False)),
        # A name of its own: PostgreSQL does not let an aggregate share one with what it counts.
        earlier=Count("pk", filter=Q(told_at__isnull=True, told_before__isnull=False)),
        answered=Count("pk", filter=Q(answer_kind__isnull=False)),
    )
    return StormInShort(
        storm=storm,
        least_um=min(known, default=None),
        greatest_um=max(known, default=None),
        sites=len(depths),
        unknown=len(depths) - len(known),
        told_before=counts.pop("earlier"),
        **counts,
    )


@dataclass(frozen=True)
class Interval:
    """One line of the table beside a drawing: what a reading says for (start, end]."""

    start: datetime
    end: datetime
    reading: Reading


@dataclass(frozen=True)
class GaugeRecord:
    """One gauge's part: its storm, a drawing, and the same readings for the table beside it."""

    part: GaugeStorm  # with `representative`
    svg: str
    intervals: list[Interval]
    unusual: Unusual | None

    @property
    def missing(self) -> int:
        return sum(one.reading.kind == ReadingKind.MISSING for one in self.intervals)


def gauge_records(storm: Storm, *, program: Program) -> list[GaugeRecord]:
    """The readings of every gauge that measured the storm, in four queries. A daily reading may reach beyond the storm."""
    parts = list(
        GaugeStorm.objects.with_representative()
        .filter(storm=storm)
        .select_related("gauge")
        .order_by("-depth_um", "gauge__code")
    )
    if not parts:
        return []
    span = min(part.start_s for part in parts), max(part.end_s for part in parts)
    readings: dict[int, list[Reading]] = defaultdict(list)
    for reading in (
        Reading.objects.between(*span)
        .filter(gauge__in=[part.gauge_id for part in parts])
        .order_by("gauge", "start_s")
    ):
        readings[reading.gauge_id].append(reading)
    unusual = unusual_at_gauges(parts, zone=program.tz)
    records = []
    for part in parts:
        own = [
            one
            for one in readings[part.gauge_id]
            if one.start_s < part.end_s and one.end_s > part.start_s
        ]
        intervals = [Interval(instant(one.start_s), instant(one.end_s), one) for one in own]
        svg = _drawn(part, own, program)
        records.append(GaugeRecord(part, svg, intervals, unusual.get(part.pk)))
    # those with a drawing first, each by depth
    return sorted(records, key=lambda record: not record.svg)


def _drawn(part: GaugeStorm, readings: list[Reading], program: Program) -> str:
    # silence of a gauge that reports only rain is dry; of any other it is a hole
    edges, depths = _steps(readings, between=None if part.gauge.lists_dry else 0.0)
    if len(depths) < FEWEST_BARS:
        return ""
    return hyetograph(
        edges,
        depths,
        title=_("Rain at %s") % part.gauge.name,
        description=_("%s in all.") % depth_text(part.depth_um, program.units),
        units=program.units,
        zone=program.zone,
    )


def _steps(
    readings: list[Reading], *, between: float | None
) -> tuple[list[datetime], list[float | None]]:
    """Edges and depths [mm] of at most `MOST_BARS` bars; a time between two readings is a bar of its own, `between` high."""
    edges: list[datetime] = []
    depths: list[float | None] = []
    bundle = -(-len(readings) // MOST_BARS) or 1
    for n in range(0, len(readings), bundle):
        some = readings[n : n + bundle]
        start = instant(some[0].start_s)
        if not edges:
            edges.append(start)
        elif start > edges[-1]:
            edges.append(start)
            depths.append(between)
        edges.append(instant(some[-1].end_s))
        known = [r.depth_um for r in some if r.depth_um is not None]
        depths.append(sum(known) / 1000 if known else None)
    return edges, depths


@dataclass(frozen=True)
class Revised:
    """A revision with its span as instants."""

    revision: StormRevision
    start: datetime
    end: datetime


def revisions(storm: Storm) -> list[Revised]:
    return [Revised(one, instant(one.start_s), instant(one.end_s)) for one in storm.revisions.all()]


@dataclass(frozen=True)
class SiteNeed:
    """What a storm was at one site and what came of it. `need` is a key of `NEEDS`."""

    rain: SiteRain
    duty: Duty | None
    need: str
    declared: DeclaredRain | None = None

    @property
    def words(self) -> str:
        return str(NEEDS[self.need])

    @property
    def sources_text(self) -> str:
        """Gauges with their share, those whose share rounds to nothing left out; or who declared it, and why."""
        if self.declared:
            return declared_text(self.declared)
        return ", ".join(
            f"{source['gauge']} {round(100 * source['weight'])} %"
            for source in self.rain.sources
            if round(100 * source["weight"])
        )

    @property
    def mark(self) -> str:
        return NEED_MARKS[self.need]

    @property
    def told_words(self) -> str:
        """When a letter left; else what holds it up; else when they were told of an earlier storm."""
        duty = self.duty
        if duty is None:
            return ""
        if duty.told_at:
            return str(moment_text(duty.told_at))
        if duty.waits_until:
            return self._waiting_words
        if duty.told_before:
            return _("earlier storm: %s") % moment_text(duty.told_before)
        return str(Status(duty.last_status).label) if duty.last_status else ""

    @property
    def _waiting_words(self) -> str:
        if self.duty.waits_as == Channel.LETTER:
            return _("letter waits to be posted")
        if self.duty.waits_until <= timezone.now():
            return _("about to go out")
        return _("goes out %s") % moment_text(self.duty.waits_until)

    @property
    def answer_words(self) -> str:
        if self.duty is None:
            return ""
        if self.duty.answer_kind:
            return str(AnswerKind(self.duty.answer_kind).label)
        if self.duty.answer_before:
            return _("earlier storm: %s") % AnswerKind(self.duty.answer_before).label
        return ""


def declared_text(declared: DeclaredRain) -> str:
    return _("Declared by %(who)s: %(why)s") % {
        "who": declared.by or "–",
        "why": declared.reason,
    }


#: How a site stands after a storm, those that need somebody first.
NEEDS = {
    "nobody": gettext_lazy("due, nobody owes it"),
    "listed": gettext_lazy("needs you"),
    "not_told": gettext_lazy("due, not told yet"),
    "earlier": gettext_lazy("told of an earlier storm"),
    "silent": gettext_lazy("told, no answer yet"),
    "answered": gettext_lazy("answered, still open"),
    "unknown": gettext_lazy("rain not known"),
    "met": gettext_lazy("done"),
    "closed": gettext_lazy("excused or withdrawn"),
    "none": gettext_lazy("nothing due"),
}
#: The mark beside each.
NEED_MARKS = {
    "nobody": "act",
    "listed": "act",
    "not_told": "queued",
    "earlier": "open",
    "silent": "open",
    "answered": "watch",
    "unknown": "unknown",
    "met": "met",
    "closed": "excused",
    "none": "no",
}


def sites_by_need(storm: Storm) -> list[SiteNeed]:
    """Every site of the storm, those that need somebody first, then by depth."""
    duties = {
        duty.site_id: duty
        for duty in _duties(storm)
        .select_related("owed_by__person", "owed_by__agency")
        .order_by("pk")
    }
    declared = DeclaredRain.objects.of_storms([storm])
    rows = [
        SiteNeed(rain, duty, _need(rain, duty), declared.get((storm.pk, rain.site_id)))
        for rain in storm.site_rains.select_related("site")
        for duty in [duties.get(rain.site_id)]
    ]
    order = list(NEEDS)
    return sorted(
        rows,
        key=lambda row: (order.index(row.need), -(row.rain.depth_um or 0), row.rain.site.code),
    )


def left_out(rows: list[SiteNeed]) -> list[tuple[str, str]]:
    """Gauges that were left out at any of the sites, and why, each once."""
    return sorted(
        {
            (left["gauge"], left["why"])
            for row in rows
            for left in row.rain.left_out
            if left["gauge"]
        }
    )


def _need(rain: SiteRain, duty: Duty | None) -> str:
    if duty is None:
        return "unknown" if rain.sureness == Sureness.UNKNOWN else "none"
    if duty.state == DutyState.MET:
        return "met"
    if duty.state != DutyState.OPEN:
        return "closed"
    if duty.owed_by_id is None:
        return "nobody"
    if duty.needs_person_since:
        return "listed"
    if duty.answer_kind:
        return "answered"
    if duty.told_at:
        return "silent"
    return "earlier" if duty.told_before and not duty.waits_until else "not_told"
