"""What a coordinator sees of rain that waits for a decision: storm by storm, what came in and what would follow. Reads only."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any

from django.db.models import Min, Prefetch, Q

from people.models import Person, Program
from stewardship.care.choices import RainAsk
from stewardship.care.models import Answer, Duty, RainQuestion, Reminder, Visit
from stewardship.care.services.asked import who_is_asked
from stewardship.care.services.book import first_day_of, last_day_of
from stewardship.rain.models import DeclaredRain, ReadingBatch, SiteRain, Storm, StormRevision

#: How many of the newest batches and revisions of a storm stand on the page.
SHOWN = 5


@dataclass(frozen=True)
class Row:
    """One question. `people` would be told; `told` have been, as letters of the duty that is asked about."""

    question: RainQuestion
    rain: SiteRain | None
    people: list[Person]
    told: list[Reminder]
    answers: list[Answer]
    visits: list[Visit]


@dataclass
class Group:
    """Questions of one kind about one storm, decided together."""

    ask: str
    rows: list[Row] = field(default_factory=list)

    @property
    def heading(self) -> str:
        return str(RainAsk(self.ask).label)


@dataclass
class StormNews:
    """A storm with what came in about it since it was first found. `more_batches`: how many are not shown."""

    storm: Storm
    first: Any
    last: Any
    revisions: list[StormRevision]
    batches: list[ReadingBatch]
    more_batches: int
    declared: list[DeclaredRain]
    groups: list[Group]


def news(questions: Iterable[RainQuestion], *, program: Program) -> list[StormNews]:
    """Storm by storm, the newest first; the number of queries does not depend on how many there are."""
    questions = list(questions)
    storms = {question.storm_id: question.storm for question in questions}
    rows = _rows(questions, program)
    batches = _late_batches(storms.values())
    revisions: dict[int, list[StormRevision]] = defaultdict(list)
    for one in StormRevision.objects.filter(storm__in=storms, number__gt=1).order_by("-number"):
        revisions[one.storm_id].append(one)
    declared: dict[int, list[DeclaredRain]] = defaultdict(list)
    said = DeclaredRain.objects.filter(storm__in=storms).select_related("site", "by")
    for one in said:
        declared[one.storm_id].append(one)
    found = []
    for pk, storm in storms.items():
        groups = {ask: Group(ask) for ask in RainAsk.values}
        for row in rows:
            if row.question.storm_id == pk:
                groups[row.question.ask].rows.append(row)
        found.append(
            StormNews(
                storm,
                first_day_of(storm, program.tz),
                last_day_of(storm, program.tz),
                revisions[pk][:SHOWN],
                batches[pk][:SHOWN],
                max(0, len(batches[pk]) - SHOWN),
                declared[pk],
                [group for group in groups.values() if group.rows],
            )
        )
    return sorted(found, key=lambda one: -one.storm.end_s)


def _rows(questions: list[RainQuestion], program: Program) -> list[Row]:
    sites = {question.site_id: question.site for question in questions}
    rains = {
        (rain.site_id, rain.storm_id): rain
        for rain in SiteRain.objects.filter(
            site__in=sites, storm__in={question.storm_id for question in questions}
        )
    }
    # As if a duty stood there: who would get its letter.
    people = {
        asking.duty.site_id: asking.people
        for asking in who_is_asked([Duty(site=site) for site in sites.values()], on=program.today())
    }
    needless = {q.duty_id for q in questions if q.ask == RainAsk.NEEDLESS}
    letters = Reminder.objects.select_related("person", "message").defer(
        "message__text", "message__html", "message__context"
    )
    duties = {
        duty.pk: duty
        for duty in Duty.objects.filter(pk__in=needless).prefetch_related(
            Prefetch("reminders", letters),
            Prefetch("answers", Answer.objects.select_related("person")),
            Prefetch("visits", Visit.objects.select_related("done_by")),
        )
    }
    rows = []
    for question in questions:
        duty = duties.get(question.duty_id)
        rows.append(
            Row(
                question,
                rains.get((question.site_id, question.storm_id)),
                [] if duty else people.get(question.site_id, []),
                list(duty.reminders.all()) if duty else [],
                list(duty.answers.all()) if duty else [],
                list(duty.visits.all()) if duty else [],
            )
        )
    return rows


def _late_batches(storms: Iterable[Storm]) -> dict[int, list[ReadingBatch]]:
    """By storm: what touched its time after it was first found, or was taken back since; the newest first."""
    storms = list(storms)
    found: dict[int, list[ReadingBatch]] = defaultdict(list)
    if not storms:
        return found
    first_found = dict(
        StormRevision.objects.filter(storm__in=storms)
        .order_by()
        .values_list("storm")
        .annotate(at=Min("made_at"))
    )
    touches = Q()
    for storm in storms:
        touches |= Q(touched_start_s__lt=storm.end_s, touched_end_s__gt=storm.start_s)
    for batch in ReadingBatch.objects.filter(touches).select_related("gauge", "by", "undone_by"):
        for storm in storms:
            at = first_found.get(storm.pk)
            late = at is None or batch.at > at or batch.undone_at
            if late and batch.touched_start_s < storm.end_s and batch.touched_end_s > storm.start_s:
                found[storm.pk].append(batch)
    return found
