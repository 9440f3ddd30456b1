"""Loads the whole demo, in the order in which things came about."""

from datetime import date, datetime
from zoneinfo import ZoneInfo

from django.apps import apps

from people.models import Household, Program, Volunteer
from sites.models import Site
from stewardship.common.planner import many_came_in
from stewardship.management.demo import facts
from stewardship.management.demo.days import Days
from stewardship.management.demo.frequencies import load_frequencies
from stewardship.management.demo.history import History
from stewardship.management.demo.letters import write_past_letters
from stewardship.management.demo.present import Present
from stewardship.management.demo.promises import load_promises
from stewardship.management.demo.record import load_rain
from stewardship.management.demo.rules import load_rules
from stewardship.management.demo.where import load_where
from stewardship.management.demo.who import load_who
from stewardship.reports.services import request_report

PRESENT_DAYS = 11  # from then on the sweep itself runs once a day


def is_loaded() -> bool:
    return Program.objects.filter(name=facts()["program"]["name"]).exists()


def load(*, today: date | None, started: datetime) -> dict[str, int]:
    """Fill an empty book; returns what there is now, in words and numbers.

    Parameters
    ----------
    today : the last day of the story; None: today in the town.
    started : now.
    """
    tz = ZoneInfo(facts()["program"]["zone"])
    days = Days(today or started.astimezone(tz).date(), tz, started)
    who = load_who(days)
    where = load_where(days, who)
    load_rules(days)
    load_promises(days, who, where)
    load_rain(days, where)
    load_frequencies(days, who)
    where = where.reread()
    since = days.ago(PRESENT_DAYS)
    history = History(days, who, where, until=since)
    history.tell().save()
    many_came_in(*apps.get_models())
    write_past_letters(days, until=since)
    Present(days, who, where, since=since, silt=history.silt).tell()
    for agency in (None, who.agencies["streets"]):
        request_report(
            starts_on=date(days.today.year - 1, 1, 1),
            ends_on=date(days.today.year - 1, 12, 31),
            agency=agency,
            language="en",
            today=days.today,
            by=who.coordinator,
        )
    return {
        "sites": Site.objects.count(),
        "households": Household.objects.count(),
        "volunteers": Volunteer.objects.count(),
    }
