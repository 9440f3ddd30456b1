"""Who looks after which demo site, and how soon: the same luck every time for the same site and day."""

from dataclasses import dataclass
from datetime import date
from random import Random

from stewardship.management.demo import SEED, read_table
from stewardship.management.demo.days import Days


@dataclass(frozen=True, slots=True)
class Habit:
    """How often somebody comes of their own accord, and after how many days; what becomes of it when they do not."""

    share: float
    soonest: int
    latest: int
    helped: float  # share of the rest that volunteers (or the crew after all) do, late
    left: bool = False  # what is left stays open; otherwise the coordinator lets it pass


HABITS = {
    "prompt": Habit(share=0.96, soonest=1, latest=3, helped=0.6),
    "steady": Habit(share=0.88, soonest=1, latest=5, helped=0.7),
    "slow": Habit(share=0.70, soonest=4, latest=11, helped=0.8),
    "silent": Habit(share=0.55, soonest=1, latest=6, helped=0.6),
    "crew": Habit(share=0.90, soonest=2, latest=6, helped=0.7),
    "nobody": Habit(share=0.0, soonest=0, latest=0, helped=0.5, left=True),
    "neglected": Habit(share=0.0, soonest=0, latest=0, helped=0.0, left=True),
}
HELP_DAYS = (9, 19)  # days after a duty opened on which volunteers come


@dataclass(frozen=True, slots=True)
class Care:
    """From a day on: how a site is looked after, and the keys of those who do it."""

    habit: Habit
    does: tuple[str, ...]
    since: date


def cares_by_site(days: Days) -> dict[str, list[Care]]:
    """By site code, earliest first."""
    cares: dict[str, list[Care]] = {}
    for row in read_table("habits"):
        since = row["since_months_ago"]
        cares.setdefault(row["site"], []).append(
            Care(
                habit=HABITS[row["habit"]],
                does=tuple(row["does"].split()),
                since=days.months_ago(since) if since else date.min,
            )
        )
    return cares


def luck(*what: object) -> Random:
    """A die that falls the same way for the same things."""
    return Random(f"{SEED} {what}")  # noqa: S311 - nothing secret hangs on it
