"""The dated rules of storm finding. A new one changes no past storm: `services.find_again` does, when somebody asks."""

from datetime import date

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from people.models import User
from stewardship.common.errors import Refused
from stewardship.common.written import day_text
from stewardship.rain.models import RainRule
from stewardship.rain.services.storms import lock_gauges


@transaction.atomic
def add_rain_rule(
    *, starts_on: date, dry_gap_s: int, least_depth_um: int, source: str, by: User | None
) -> RainRule:
    """From that day on storms end after such a dry time, and those of less depth are not listed.

    Raises
    ------
    Refused
        A rule starts on that day already.
    """
    lock_gauges()  # no storm is being found half by this rule
    if RainRule.objects.standing().filter(starts_on=starts_on).exists():
        raise Refused(_("A rule starts on %s already. Take it out first.") % day_text(starts_on))
    return RainRule.objects.create(
        starts_on=starts_on,
        dry_gap_s=dry_gap_s,
        least_depth_um=least_depth_um,
        source=source.strip(),
        by=by,
    )


@transaction.atomic
def withdraw_rain_rule(*, rule: RainRule, by: User | None) -> RainRule:
    """Take a rule out: the one before it holds on. The row stays, with who took it out and when.

    Raises
    ------
    Refused
        It is out already.
    """
    lock_gauges()
    rule = RainRule.objects.select_for_update(of=("self",)).get(pk=rule.pk)
    if rule.withdrawn_at:
        raise Refused(_("This rule is taken out already."))
    rule.withdrawn_at, rule.withdrawn_by = timezone.now(), by
    rule.save(update_fields=["withdrawn_at", "withdrawn_by"])
    return rule
