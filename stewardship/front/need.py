"""One thing that needs the coordinator, and things of one kind together."""

from dataclasses import dataclass, field
from datetime import date, datetime

from django.utils import timezone
from django.utils.functional import Promise

#: Entries of one kind that stand on the page; the rest are counted and linked.
SHOWN = 6


@dataclass(frozen=True)
class Need:
    """One thing to do: since when, about what, why, and the action offered."""

    day: date | None
    title: str
    url: str
    why: str
    action: str
    action_url: str
    state: str = ""
    state_words: str = ""


@dataclass
class Section:
    """Needs of one kind."""

    key: str
    heading: str | Promise
    more_url: str
    needs: list[Need] = field(default_factory=list)

    @property
    def shown(self) -> list[Need]:
        return self.needs[:SHOWN]

    @property
    def more(self) -> int:
        return max(0, len(self.needs) - SHOWN)


def local_day(moment: datetime) -> date:
    """Its date in the zone that is active: the program's, on pages."""
    return timezone.localtime(moment).date()
