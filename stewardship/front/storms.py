"""A storm in short: when it was, how much it left, whom it made duties for; and how it came to be what it is."""

from collections import Counter
from dataclasses import dataclass
from datetime import datetime

from django.db.models import OuterRef, QuerySet, Subquery
from django.utils import timezone
from django.utils.formats import time_format
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from people.models import Program
from stewardship.care.choices import DutyState
from stewardship.care.models import Answer, Duty, Reminder
from stewardship.common.written import day_text, moment_text
from stewardship.outbox.choices import WAITING, Status
from stewardship.rain.models import Storm, StormRevision, instant
from stewardship.rain.times import last_day, local_day

#: How a site stands after a storm, those that need somebody first.
NEEDS = {
    "nobody": gettext_lazy("due, nobody is responsible"),
    "listed": gettext_lazy("needs you"),
    "not_told": gettext_lazy("due, not told yet"),
    "earlier": gettext_lazy("told of an earlier storm"),
    "silent": gettext_lazy("told, no answer yet"),
    "answered": gettext_lazy("answered, still open"),
    "unknown": gettext_lazy("rain not known"),
    "met": gettext_lazy("done"),
    "excused": gettext_lazy("excused"),
    "withdrawn": gettext_lazy("withdrawn"),
    "none": gettext_lazy("nothing due"),
}


@dataclass(frozen=True)
class StormInShort:
    """The few numbers of a storm. Depths in µm; None: no site's rain is known.

    `due` counts its duties, `tally` the same by how they stand now, in the words of `NEEDS`, those that need somebody first.
    """

    storm: Storm
    least_um: int | None
    greatest_um: int | None
    sites: int
    unknown: int
    due: int
    tally: list[tuple[str, int]]

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


def need_of(duty: Duty) -> str:
    """How one of `duties_of` stands now: a key of `NEEDS`."""
    if duty.state != DutyState.OPEN:
        return str(duty.state)
    if duty.owed_by_id is None:
        return "nobody"
    if duty.needs_person_since:
        return "listed"
    if duty.answer_kind:
        return "answered"
    if duty.told_at:
        return "silent"
    return "earlier" if duty.told_before and not duty.waits_until else "not_told"


def _counted(need: str, count: int) -> str:
    return ngettext("needs you", "need you", count) if need == "listed" else str(NEEDS[need])


def storm_in_short(storm: Storm) -> StormInShort:
    depths = list(storm.site_rains.values_list("depth_um", flat=True))
    known = [depth for depth in depths if depth is not None]
    counts = Counter(need_of(duty) for duty in duties_of(storm))
    return StormInShort(
        storm=storm,
        least_um=min(known, default=None),
        greatest_um=max(known, default=None),
        sites=len(depths),
        unknown=len(depths) - len(known),
        due=counts.total(),
        tally=[(_counted(need, counts[need]), counts[need]) for need in NEEDS if counts[need]],
    )


@dataclass(frozen=True)
class Revised:
    """A revision with its span as instants."""

    revision: StormRevision
    start: datetime
    end: datetime


def revisions(storm: Storm) -> list[Revised]:
    return [Revised(one, instant(one.start_s), instant(one.end_s)) for one in storm.revisions.all()]
