"""Late and unknown rain that a person decides: asked once, decided alone or together, overtaken by newer readings."""

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date

from django.db import transaction
from django.db.models import Exists, OuterRef
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from people.models import Program
from sites.models import Site
from stewardship.care.choices import DutyState, RainAsk, RainDecision, Trigger
from stewardship.care.models import Duty, LateNewsRule, RainQuestion
from stewardship.care.services.after_water import (
    join,
    open_after_storm,
    open_duty_at,
    restate,
    rule_for,
)
from stewardship.care.services.book import in_book_language, last_day_of, lock_site, lock_sites
from stewardship.care.services.duties import withdraw_duty
from stewardship.common.errors import Refused
from stewardship.rain.models import SiteRain, Storm


def decide_rain_question(
    *, question: RainQuestion, act: bool, on: date, by=None, note: str = ""
) -> RainQuestion:
    """A person's decision: do what is asked (open or withdraw the duty), or leave everything as it is.

    Raises
    ------
    Refused
        It was decided already, or is about a storm that the readings no longer show.
    """
    with transaction.atomic():
        site = lock_site(question.site_id)
        question = (
            RainQuestion.objects.select_for_update(of=("self",))
            .select_related("storm", "duty", "site")
            .get(pk=question.pk)
        )
        if question.decided_at:
            raise Refused(_("This has been decided already."))
        if question.storm.withdrawn_at and question.ask != RainAsk.NEEDLESS:
            raise Refused(f"{RainDecision.OVERTAKEN.label}.")
        settle(question, RainDecision.ACT if act else RainDecision.LEAVE, by=by, note=note)
        if act and question.ask == RainAsk.NEEDLESS:
            _take_back(question, on=on, by=by, note=note)
        elif act:
            question.duty = _ask_for_a_look(site, question.storm, on=on, by=by)
            question.save(update_fields=["duty"])
    return question


@dataclass
class Decided:
    """What became of several questions decided at once; `refused` with the sentence for each."""

    done: list[RainQuestion] = field(default_factory=list)
    refused: list[tuple[RainQuestion, str]] = field(default_factory=list)


def decide_rain_questions(
    *, pks: Iterable[int], act: bool, on: date, by=None, note: str = ""
) -> Decided:
    """One decision about several questions, in one transaction. One that cannot be decided is named and stops no other.

    The same decision by the same person again is done already, and does nothing twice.
    """
    decided = Decided()
    wanted = RainDecision.ACT if act else RainDecision.LEAVE
    with transaction.atomic():
        questions = RainQuestion.objects.filter(pk__in=list(pks)).order_by("site_id", "pk")
        lock_sites(questions.values_list("site_id", flat=True))
        for question in questions.select_related("site", "storm"):
            if by and question.decision == wanted and question.decided_by_id == by.pk:
                decided.done.append(question)
                continue
            try:
                decided.done.append(
                    decide_rain_question(question=question, act=act, on=on, by=by, note=note)
                )
            except Refused as no:
                decided.refused.append((question, str(no)))
    return decided


def change_late_news_rule(*, acts_alone_days: int, reports_act: bool, on: date) -> LateNewsRule:
    """What acts by itself from that day on. Twice on one day: the later one holds."""
    rule, _made = LateNewsRule.objects.update_or_create(
        starts_on=on, defaults={"acts_alone_days": acts_alone_days, "reports_act": reports_act}
    )
    return rule


def _take_back(question: RainQuestion, *, on: date, by=None, note: str) -> None:
    duty = question.duty
    if duty.state != DutyState.OPEN:
        return
    if duty.flow_reports.exists():  # water ran all the same: only the storm leaves
        duty.storms.remove(question.storm)
        restate(duty, gettext_lazy("A storm turned out to be less and was taken out"))
        return
    withdraw_duty(
        duty=duty,
        why=note or in_book_language(gettext_lazy("The rain turned out to be less")),
        on=on,
        by=by,
    )


def _ask_for_a_look(site: Site, storm: Storm, *, on: date, by=None) -> Duty:
    duty = open_duty_at(site)
    if duty:
        join(duty, storm)
        return duty
    rule = rule_for(site, last_day_of(storm, Program.get().tz))
    return open_after_storm(site, storm, rule=rule, on=on, by=by)


def put_question(
    site: Site,
    storm: Storm,
    ask: str | None,
    *,
    duty: Duty | None,
    rain: SiteRain | None = None,
    least_um: int | None = None,
) -> None:
    """Put the question, once; one that no longer stands is overtaken. `ask` None: there is nothing to ask."""
    standing = RainQuestion.objects.open().filter(site=site, storm=storm).first()
    if standing and standing.ask == ask:
        depth_um = rain.depth_um if rain else None
        if (standing.storm_revision, standing.depth_um) != (storm.revision, depth_um):
            standing.storm_revision, standing.depth_um = storm.revision, depth_um
            standing.save(update_fields=["storm_revision", "depth_um"])
        return
    if standing:
        settle(standing, RainDecision.OVERTAKEN)
    asked = RainQuestion.objects.filter(
        site=site, storm=storm, ask=ask, storm_revision=storm.revision
    ).exclude(decision=RainDecision.OVERTAKEN)
    if rain is not None:
        # The same storm may be another amount here: declared by somebody, or from a gauge that has moved since.
        asked = asked.filter(depth_um=rain.depth_um)
    if ask and not asked.exists():
        RainQuestion.objects.create(
            site=site,
            storm=storm,
            ask=ask,
            duty=duty,
            storm_revision=storm.revision,
            depth_um=rain.depth_um if rain else None,
            before_um=rain.weighed_um if rain else None,
            least_um=least_um,
        )


def settle(question: RainQuestion, decision: str, *, by=None, note: str = "") -> None:
    question.decision, question.decided_at = decision, timezone.now()
    question.decided_by, question.note = by, note
    question.save(update_fields=["decision", "decided_at", "decided_by", "note"])


def settle_withdrawn_storms() -> None:
    """Nobody is asked to look after rain that the readings no longer show. An open duty none of whose storms stands any more
    was told needlessly: a person decides."""
    for question in RainQuestion.objects.open().filter(storm__withdrawn_at__isnull=False):
        with transaction.atomic():
            lock_site(question.site_id)
            question.refresh_from_db()
            if question.ask != RainAsk.NEEDLESS and not question.decided_at:
                settle(question, RainDecision.OVERTAKEN)
    standing = Storm.objects.standing().filter(duties=OuterRef("pk"))
    lost = Duty.objects.open().filter(~Exists(standing), trigger=Trigger.AFTER_RAIN)
    asked = RainQuestion.objects.filter(duty=OuterRef("pk"), ask=RainAsk.NEEDLESS).exclude(
        decision=RainDecision.OVERTAKEN
    )
    lost = lost.filter(storms__isnull=False, flow_reports__isnull=True)
    for duty in lost.filter(~Exists(asked)).distinct():
        with transaction.atomic():
            site = lock_site(duty.site_id)
            put_question(site, duty.storms.latest("end_s"), RainAsk.NEEDLESS, duty=duty)
