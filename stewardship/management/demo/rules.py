"""Sets the program's rules: when a storm ends, how much rain calls for a visit, and what follows when nobody comes.

They replace, from the first day of the record, the defaults that come with a new book.
"""

from stewardship.care.models import CareRule, HandOnStep
from stewardship.management.demo import facts
from stewardship.management.demo.days import Days
from stewardship.rain.models import RainRule


def load_rules(days: Days) -> None:
    RainRule.objects.update_or_create(starts_on=days.first, defaults=facts()["rain_rule"])
    CareRule.objects.filter(ends_on=None).update(ends_on=days.first)
    CareRule.objects.bulk_create(
        CareRule(starts_on=days.first, **row) for row in facts()["care_rules"]
    )
    HandOnStep.objects.filter(ends_on=None).update(ends_on=days.first)
    HandOnStep.objects.bulk_create(
        HandOnStep(starts_on=days.first, **row) for row in facts()["hand_on"]
    )
