"""Loads the program's settings: when a storm ends, how much rain calls for a visit, and what follows when nobody comes."""

from stewardship.care.models import CareRule, HandOnStep
from stewardship.management.demo import facts
from stewardship.management.demo.days import Days
from stewardship.rain.models import RainRule


def load_rules(days: Days) -> None:
    """All of them in effect since the first day of the record."""
    RainRule.objects.update_or_create(starts_on=days.first, defaults=facts()["rain_rule"])
    CareRule.objects.bulk_create(
        CareRule(starts_on=days.first, source="Program setting", **rule)
        for rule in facts()["care_rules"]
    )
    HandOnStep.objects.bulk_create(
        HandOnStep(starts_on=days.first, **step) for step in facts()["hand_on"]
    )
