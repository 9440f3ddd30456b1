"""Looks by calendar."""

import logging
from datetime import date, timedelta

from django.db import transaction
from django.db.models import Exists, F, OuterRef, Prefetch, Subquery
from django.utils.translation import gettext_lazy

from sites.models import Basin, Site
from stewardship.care import rules
from stewardship.care.choices import Trigger
from stewardship.care.models import CareRule, Duty, Visit
from stewardship.care.services.asked import resting
from stewardship.care.services.book import lock_site, new_duty

log = logging.getLogger(__name__)


def open_calendar_duties(*, on: date) -> int:
    """Open a look by calendar where the last one is too long ago and no look is due anyway. Returns how many."""
    by_phase = {
        rule.phase: rule for rule in CareRule.objects.on(on).filter(trigger=Trigger.CALENDAR)
    }
    at_site = Duty.objects.filter(site=OuterRef("pk"))
    due_anyway = at_site.open().filter(trigger__in=[Trigger.AFTER_RAIN, Trigger.CALENDAR])
    looks = Visit.objects.looks(until=on).filter(site=OuterRef("pk")).order_by("-happened_on")
    rounds = at_site.filter(trigger=Trigger.CALENDAR).order_by(F("closed_on").desc(nulls_last=True))
    sites = (
        Site.objects.built(on=on)
        .filter(~Exists(due_anyway))
        .filter(~Exists(resting(on=on).filter(site=OuterRef("pk"))))
        .annotate(
            looked_on=Subquery(looks.values("happened_on")[:1]),
            round_closed_on=Subquery(rounds.values("closed_on")[:1]),
        )
        .prefetch_related(Prefetch("basins", Basin.objects.only("site_id", "phase_from")))
    )
    opened = 0
    for site in sites:
        rule = by_phase.get(site.phase(on=on))
        started = [b.phase_from for b in site.basins.all() if b.phase_from and b.phase_from <= on]
        known = [site.looked_on, site.round_closed_on, site.built_on, *started]
        last_look = max(day for day in known if day)
        if rule and rules.calendar_due(last_look=last_look, every_days=rule.every_days, on=on):
            try:
                with transaction.atomic():
                    opened += _open_calendar(site.pk, rule, last_look=last_look, on=on)
            except Exception:
                log.exception("Calendar duty at %s not opened", site.code)
    return opened


def _open_calendar(site_pk: int, rule: CareRule, *, last_look: date, on: date) -> int:
    site = lock_site(site_pk)
    if (
        Duty.objects.open()
        .filter(site=site, trigger__in=[Trigger.AFTER_RAIN, Trigger.CALENDAR])
        .exists()
    ):
        return 0
    new_duty(
        why=gettext_lazy("Due by calendar"),
        site=site,
        trigger=Trigger.CALENDAR,
        rule=rule,
        opened_on=on,
        due_on=on + timedelta(days=rule.due_within_days),
        reason={"every_days": rule.every_days, "last_look": last_look.isoformat()},
    )
    return 1
