"""Site rain becomes duties. Late and unknown rain becomes a question for a person."""

import logging
from datetime import date, timedelta
from typing import Any

from django.db import transaction
from django.db.models import Exists, F, OuterRef, Q
from django.utils import timezone
from django.utils.translation import gettext_lazy

from people.models import Program
from sites.models import Site
from stewardship.care import rules
from stewardship.care.choices import DutyState, RainAsk
from stewardship.care.models import Duty, LateNewsRule, Visit
from stewardship.care.rules import Standing, Step
from stewardship.care.services.after_water import (
    join,
    open_after_storm,
    open_duty_at,
    restate,
    rule_for,
)
from stewardship.care.services.asked import resting
from stewardship.care.services.asking import put_question, settle_withdrawn_storms
from stewardship.care.services.book import last_day_of, lock_site
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
    settle_withdrawn_storms()
    return weighed


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
            weighed_at=timezone.now(), weighed_um=F("depth_um")
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
    SiteRain.objects.filter(pk=pk).update(weighed_at=timezone.now(), weighed_um=rain.depth_um)
    return 1


def _act(site: Site, rain: SiteRain, *, on: date) -> None:
    storm, zone = rain.storm, Program.get().tz
    last_day = last_day_of(storm, zone)
    rule = rule_for(site, last_day)
    if rule is None or not Site.objects.built(on=last_day).filter(pk=site.pk).exists():
        return
    # A site that rests asks nothing of anybody, then or later.
    if any(resting(on=day).filter(site=site).exists() for day in {last_day, on}):
        return
    verdict = rules.weigh(
        depth_um=rain.depth_um,
        sureness=rain.sureness,
        least_depth_um=rule.least_depth_um,
        storm_greatest_um=storm.greatest_um,
    )
    duty = open_duty_at(site)
    in_it = {s.merged_into_id or s.pk for s in duty.storms.all()} if duty else set()
    step = rules.decide(
        verdict,
        Standing(
            days_since=(on - last_day).days,
            looked_since=_looked_since(site, storm, zone),
            open_duty=duty is not None,
            # Reports that water ran count like storms: without this storm there is still a reason to look.
            storms_in_it=len(in_it) + (duty.flow_reports.count() if duty else 0),
            in_open_duty=storm.pk in in_it,
            closed_as=_closed_as(site, storm),
        ),
        acts_alone_days=LateNewsRule.objects.in_force(on=on).acts_alone_days,
    )
    asked = {
        Step.ASK_ADD: RainAsk.ADD,
        Step.ASK_NEEDLESS: RainAsk.NEEDLESS,
        Step.ASK_UNKNOWN: RainAsk.UNKNOWN,
    }.get(step)
    put_question(
        site,
        storm,
        asked,
        duty=duty if asked == RainAsk.NEEDLESS else None,
        rain=rain,
        least_um=rule.least_depth_um,
    )
    if step is Step.OPEN:
        open_after_storm(site, storm, rule=rule, on=on)
    elif step in (Step.JOIN, Step.REFRESH):
        join(duty, storm)
    elif step is Step.DROP:
        duty.storms.remove(storm)
        restate(duty, gettext_lazy("A storm turned out to be less and was taken out"))


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
