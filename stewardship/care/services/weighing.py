"""Site rain becomes duties. Late and unknown rain becomes a question for a person."""

import logging
from datetime import date, timedelta
from typing import Any

from django.db import transaction
from django.db.models import Exists, OuterRef, Q
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from people.models import Program
from sites.models import Site
from stewardship.care import rules
from stewardship.care.choices import DutyState, RainAsk, RainDecision, Trigger
from stewardship.care.models import CareRule, Duty, RainQuestion, Visit
from stewardship.care.rules import Standing, Step
from stewardship.care.services.book import (
    first_day_of,
    in_book_language,
    last_day_of,
    lock_site,
    new_duty,
    note,
)
from stewardship.care.services.duties import withdraw_duty
from stewardship.care.services.reminding import renew_waiting
from stewardship.common.errors import Refused
from stewardship.rain.models import SiteRain, Storm

log = logging.getLogger(__name__)

CHUNK = 200


def weigh_site_rains(*, on: date, limit: int = 2000) -> int:
    """Hold waiting site rain against the care rules. Returns how many rows were weighed.

    Each row is claimed, acted on and marked in a transaction of its own; one that fails is logged, stays waiting and does
    not stop the rest.
    """
    weighed, after = _pass_over_history(on=on), 0
    while weighed < limit:
        pks = list(
            SiteRain.objects.waiting()
            .filter(pk__gt=after)
            .order_by("pk")
            .values_list("pk", flat=True)[:CHUNK]
        )
        if not pks:
            break
        after = pks[-1]
        for pk in pks:
            try:
                with transaction.atomic():
                    weighed += _weigh_one(pk, on=on)
            except Exception:
                log.exception("Site rain %s not weighed", pk)
    _settle_withdrawn_storms()
    return weighed


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
            .select_related("storm", "duty")
            .get(pk=question.pk)
        )
        if question.decided_at:
            raise Refused(_("This has been decided already."))
        if question.storm.withdrawn_at and question.ask != RainAsk.NEEDLESS:
            raise Refused(f"{RainDecision.OVERTAKEN.label}.")
        _settle(question, RainDecision.ACT if act else RainDecision.LEAVE, by=by, note=note)
        if act and question.ask == RainAsk.NEEDLESS:
            if question.duty.state == DutyState.OPEN:
                withdraw_duty(
                    duty=question.duty,
                    why=note or in_book_language(gettext_lazy("The rain turned out to be less")),
                    on=on,
                    by=by,
                )
        elif act:
            duty = _open_duty(site)
            rule = _rule_for(site, last_day_of(question.storm, Program.get().tz))
            if duty:
                _join(duty, question.storm)
            else:
                _open(site, question.storm, rule=rule, on=on, by=by)
    return question


def _pass_over_history(*, on: date) -> int:
    """Rain too old to ask anybody about, at sites where no duty knows it: seen, in one statement."""
    zone = Program.get().tz
    oldest = on - timedelta(days=rules.ASKS_DAYS + 1)
    known = Duty.storms.through.objects.filter(storm=OuterRef("storm"), duty__site=OuterRef("site"))
    old = (
        SiteRain.objects.waiting()
        .filter(storm__end_s__lt=rules.start_of(oldest, zone).timestamp())
        .filter(~Exists(known))
    )
    pks = list(old.values_list("pk", flat=True))
    for start in range(0, len(pks), CHUNK):
        SiteRain.objects.filter(pk__in=pks[start : start + CHUNK], weighed_at=None).update(
            weighed_at=timezone.now()
        )
    return len(pks)


def _weigh_one(pk: int, *, on: date) -> int:
    rain = (
        SiteRain.objects.select_for_update(skip_locked=True, of=("self",))
        .select_related("storm")
        .filter(pk=pk, weighed_at=None)
        .first()
    )
    if rain is None:
        return 0
    site = lock_site(rain.site_id)
    _act(site, rain, on=on)
    SiteRain.objects.filter(pk=pk).update(weighed_at=timezone.now())
    return 1


def _act(site: Site, rain: SiteRain, *, on: date) -> None:
    storm, zone = rain.storm, Program.get().tz
    last_day = last_day_of(storm, zone)
    rule = _rule_for(site, last_day)
    if rule is None or not Site.objects.built(on=last_day).filter(pk=site.pk).exists():
        return
    verdict = rules.weigh(
        depth_um=rain.depth_um,
        sureness=rain.sureness,
        least_depth_um=rule.least_depth_um,
        storm_greatest_um=storm.greatest_um,
    )
    duty = _open_duty(site)
    in_it = {s.merged_into_id or s.pk for s in duty.storms.all()} if duty else set()
    step = rules.decide(
        verdict,
        Standing(
            days_since=(on - last_day).days,
            looked_since=_looked_since(site, storm, zone),
            open_duty=duty is not None,
            storms_in_it=len(in_it),
            in_open_duty=storm.pk in in_it,
            closed_as=_closed_as(site, storm),
        ),
    )
    asked = {
        Step.ASK_ADD: RainAsk.ADD,
        Step.ASK_NEEDLESS: RainAsk.NEEDLESS,
        Step.ASK_UNKNOWN: RainAsk.UNKNOWN,
    }.get(step)
    _ask(site, storm, asked, duty=duty if asked == RainAsk.NEEDLESS else None)
    if step is Step.OPEN:
        _open(site, storm, rule=rule, on=on)
    elif step in (Step.JOIN, Step.REFRESH):
        _join(duty, storm)
    elif step is Step.DROP:
        duty.storms.remove(storm)
        _restate(duty, gettext_lazy("A storm turned out to be less and was taken out"))


def _rule_for(site: Site, day: date) -> CareRule | None:
    """The after-rain rule of the site's phase, as it was on that day."""
    phase = site.phase(on=day)
    return CareRule.objects.on(day).filter(trigger=Trigger.AFTER_RAIN, phase=phase).first()


def _open_duty(site: Site) -> Duty | None:
    return (
        Duty.objects.open()
        .filter(site=site, trigger=Trigger.AFTER_RAIN)
        .select_related("rule")
        .prefetch_related("storms")
        .first()
    )


def _closed_as(site: Site, storm: Storm) -> str:
    """How the latest closed duty that knew this storm (or one merged into it) was closed; "" if none did."""
    knew = Q(storms=storm) | Q(storms__merged_into=storm)
    closed = Duty.objects.filter(knew, site=site).exclude(state=DutyState.OPEN).order_by("-pk")
    return closed.values_list("state", flat=True).first() or ""


def _looked_since(site: Site, storm: Storm, zone: Any) -> bool:
    looks = Visit.objects.looks(until=date.max).filter(
        site=site, happened_on__gte=last_day_of(storm, zone)
    )
    return any(
        rules.looked_after(
            happened_on=visit.happened_on,
            entered_at=visit.entered_at,
            storm_end=storm.end_at,
            zone=zone,
        )
        for visit in looks
    )


def _open(site: Site, storm: Storm, *, rule: CareRule | None, on: date, by=None) -> Duty:
    duty = new_duty(
        why=gettext_lazy("Opened after rain"),
        by=by,
        site=site,
        trigger=Trigger.AFTER_RAIN,
        rule=rule,
        opened_on=on,
        due_on=on,
    )
    duty.storms.add(storm)
    _restate(duty)
    return duty


def _join(duty: Duty, storm: Storm) -> None:
    """The storm becomes, or stays, part of the open duty; storms that no longer stand leave it."""
    new = storm not in duty.storms.all()
    duty.storms.add(storm)
    duty.storms.remove(*duty.storms.filter(withdrawn_at__isnull=False))
    _restate(duty, gettext_lazy("Another storm joined") if new else "")


def _restate(duty: Duty, why: Any = "") -> None:
    """Reason and due day of the duty from its storms, and with them the letters that still wait."""
    zone = Program.get().tz
    rains = list(
        SiteRain.objects.filter(site_id=duty.site_id, storm__duties=duty)
        .select_related("storm")
        .order_by("storm__start_s")
    )
    reason = {"rains": [_told(rain, zone) for rain in rains]}
    days = [last_day_of(rain.storm, zone) for rain in rains]
    within = duty.rule.due_within_days if duty.rule else rules.LEAST_DAYS_AFTER_NEWEST
    due_on = rules.due_day(rains=days, opened_on=duty.opened_on, within_days=within)
    if reason == duty.reason and due_on == duty.due_on:
        return
    duty.reason, duty.due_on = reason, due_on
    duty.save(update_fields=["reason", "due_on"])
    if why:
        note(duty, why)
    renew_waiting(duty)


def _told(rain: SiteRain, zone: Any) -> dict[str, Any]:
    return {
        "storm": rain.storm_id,
        "revision": rain.storm_revision,
        "from": first_day_of(rain.storm, zone).isoformat(),
        "day": last_day_of(rain.storm, zone).isoformat(),
        "depth_um": rain.depth_um,
        "sureness": rain.sureness,
        "sources": [{"gauge": s["gauge"], "weight": s["weight"]} for s in rain.sources],
    }


def _ask(site: Site, storm: Storm, ask: str | None, *, duty: Duty | None) -> None:
    """Put the question, once; one that no longer stands is overtaken. `ask` None: there is nothing to ask."""
    standing = RainQuestion.objects.open().filter(site=site, storm=storm).first()
    if standing and standing.ask == ask:
        if standing.storm_revision != storm.revision:
            standing.storm_revision = storm.revision
            standing.save(update_fields=["storm_revision"])
        return
    if standing:
        _settle(standing, RainDecision.OVERTAKEN)
    decided = RainQuestion.objects.filter(
        site=site, storm=storm, ask=ask, storm_revision=storm.revision
    ).exclude(decision=RainDecision.OVERTAKEN)
    if ask and not decided.exists():
        RainQuestion.objects.create(
            site=site, storm=storm, ask=ask, duty=duty, storm_revision=storm.revision
        )


def _settle(question: RainQuestion, decision: str, *, by=None, note: str = "") -> None:
    question.decision, question.decided_at = decision, timezone.now()
    question.decided_by, question.note = by, note
    question.save(update_fields=["decision", "decided_at", "decided_by", "note"])


def _settle_withdrawn_storms() -> None:
    """Nobody is asked to look after rain that the readings no longer show. An open duty none of whose storms stands any more
    was told needlessly: a person decides."""
    for question in RainQuestion.objects.open().filter(storm__withdrawn_at__isnull=False):
        with transaction.atomic():
            lock_site(question.site_id)
            question.refresh_from_db()
            if question.ask != RainAsk.NEEDLESS and not question.decided_at:
                _settle(question, RainDecision.OVERTAKEN)
    standing = Storm.objects.standing().filter(duties=OuterRef("pk"))
    lost = Duty.objects.open().filter(~Exists(standing), trigger=Trigger.AFTER_RAIN)
    asked = RainQuestion.objects.filter(duty=OuterRef("pk"), ask=RainAsk.NEEDLESS).exclude(
        decision=RainDecision.OVERTAKEN
    )
    for duty in lost.filter(storms__isnull=False).filter(~Exists(asked)).distinct():
        with transaction.atomic():
            site = lock_site(duty.site_id)
            _ask(site, duty.storms.latest("end_s"), RainAsk.NEEDLESS, duty=duty)
