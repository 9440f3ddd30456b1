"""A storm in short: when it was, how much it left, whom it made duties for; and how it came to be what it is."""

from dataclasses import dataclass
from datetime import datetime

from django.db.models import Count, OuterRef, Q, QuerySet, Subquery
from django.utils import timezone
from django.utils.formats import time_format
from django.utils.translation import gettext as _

from people.models import Program
from stewardship.care.choices import DutyState
from stewardship.care.models import Answer, Duty, Reminder
from stewardship.common.written import day_text, moment_text
from stewardship.outbox.choices import WAITING, Status
from stewardship.rain.models import Storm, StormRevision, instant
from stewardship.rain.times import last_day, local_day


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


def duties_of(storm: Storm) -> QuerySet[Duty]:
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
    counts = duties_of(storm).aggregate(
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
class Revised:
    """A revision with its span as instants."""

    revision: StormRevision
    start: datetime
    end: datetime


def revisions(storm: Storm) -> list[Revised]:
    return [Revised(one, instant(one.start_s), instant(one.end_s)) for one in storm.revisions.all()]
