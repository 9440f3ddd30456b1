"""When a duty falls due, what joins it, what meets it, what happens next. Pure: no Django, no clock, no I/O.

Depths are whole micrometres (0.01 in = 254 µm), lengths metres, days dates in the program's zone. Words such as "measured" or
"open" are the stored values of `rain.choices` and `care.choices`.
"""

from collections.abc import Collection, Iterable
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from enum import StrEnum
from zoneinfo import ZoneInfo

#: A storm this many days old still opens duties by itself; about older ones a person decides. Where no dated rule of the
#: program says otherwise; no source.
ACTS_ALONE_DAYS = 3
#: Older than this, a calendar round has come by since: nobody is asked any more. Program default, no source.
ASKS_DAYS = 30
#: Whoever is told of another storm has at least so many days to go and look. Program default, no source.
LEAST_DAYS_AFTER_NEWEST = 2
#: Whoever was told late has at least so many days before a second letter. Program default, no source.
LEAST_DAYS_BETWEEN_LETTERS = 2
#: Work after a finding is due within so many days; what is unsafe, the same day. Common practice, no source.
FINDING_DUE_DAYS = {"act": 14, "unsafe": 0}
#: Drop from the inlet bottom to the silt: 3 in or more is good, under 2 in asks for work. Common practice, no source.
TRAP_GOOD_M = 0.0762
TRAP_ACT_M = 0.0508
#: Measures are typed to a tenth of an inch at best; a drop typed as "3 in" must not fall short by a rounding error.
TYPED_TO_M = 1e-6


class Verdict(StrEnum):
    """What a storm's rain at a site is, held against the rule of the site's phase."""

    DUE = "due"
    POSSIBLE = "possible"
    UNKNOWN = "unknown"
    LESS = "less"


def weigh(
    *, depth_um: int | None, sureness: str, least_depth_um: int, storm_greatest_um: int
) -> Verdict:
    """Whether the rain at the site reached the rule's depth; the depth itself counts as reached.

    Possible rain (a total of several days, say) is due too, but marked. Unknown rain is unknown only if the storm reached
    that depth somewhere; a storm that reached it nowhere asks nothing of anybody.
    """
    if sureness == "unknown" or depth_um is None:
        return Verdict.UNKNOWN if storm_greatest_um >= least_depth_um else Verdict.LESS
    if depth_um < least_depth_um:
        return Verdict.LESS
    return Verdict.POSSIBLE if sureness == "possible" else Verdict.DUE


class Step(StrEnum):
    """What to do with a weighed storm at a site."""

    OPEN = "open"
    JOIN = "join"  # the storm joins the duty that is open
    REFRESH = "refresh"  # the open duty knows this storm; its figures may have changed
    DROP = "drop"  # one of several storms of the open duty turned out to be less
    ASK_ADD = "ask_add"
    ASK_NEEDLESS = "ask_needless"
    ASK_UNKNOWN = "ask_unknown"
    LEAVE = "leave"


@dataclass(frozen=True)
class Standing:
    """Where a site stands towards a storm when it is weighed."""

    days_since: int  # from the storm's last day to today
    looked_since: bool = False  # somebody looked after the storm
    open_duty: bool = False  # an after-rain duty is open here
    storms_in_it: int = 0  # storms of the open duty, this one included if it is one of them
    in_open_duty: bool = False  # this storm is one of them
    closed_as: str = ""  # state of the latest closed duty that this storm belongs to


def decide(verdict: Verdict, at: Standing, *, acts_alone_days: int = ACTS_ALONE_DAYS) -> Step:
    """What a verdict means for the site. Late rain tells nobody by itself, and takes nothing back by itself."""
    recent, asks = at.days_since <= acts_alone_days, at.days_since <= ASKS_DAYS
    if at.in_open_duty:
        if verdict is Verdict.LESS:
            return Step.DROP if at.storms_in_it > 1 else Step.ASK_NEEDLESS
        return Step.LEAVE if verdict is Verdict.UNKNOWN else Step.REFRESH
    if verdict is Verdict.LESS or at.looked_since or not asks:
        return Step.LEAVE
    if verdict is Verdict.UNKNOWN:
        return Step.LEAVE if at.open_duty or at.closed_as else Step.ASK_UNKNOWN
    if at.open_duty:
        # An older storm does not move the day of a look that is coming anyway.
        return Step.JOIN if recent else Step.LEAVE
    if at.closed_as:
        # Closed, and the storm has grown since: whoever closed it, or did the work, should not be told again unasked.
        return Step.LEAVE if at.closed_as == "excused" else Step.ASK_ADD
    return Step.OPEN if recent else Step.ASK_ADD


def due_day(*, rains: Collection[date], opened_on: date, within_days: int) -> date:
    """The day an after-rain duty is judged by, from the last days of its storms.

    Counted from the first storm, at least two days after the duty was opened. A storm that joins by that day leaves two days
    after it; one that comes later takes no lateness away (see `ask_day`). So however often it rains, the day moves by two
    days at most.
    """
    least = timedelta(days=LEAST_DAYS_AFTER_NEWEST)
    first_due = max(min(rains) + timedelta(days=within_days), opened_on + least)
    in_time = [day for day in rains if day <= first_due]
    return max(first_due, max(in_time) + least)


def ask_day(*, due_on: date, newest_rain: date | None) -> date:
    """The day to ask people for: the due day, but never sooner than two days after the newest storm."""
    if newest_rain is None:
        return due_on
    return max(due_on, newest_rain + timedelta(days=LEAST_DAYS_AFTER_NEWEST))


def days_stood(spans: Iterable[tuple[date, date | None]], *, since: date, until: date) -> int:
    """For how many days from `since` to `until` the clocks stood still. `spans` are (first day, first day after; None: still)
    and do not overlap. [days]"""
    return sum(
        max(0, (min(last or until, until) - max(first, since)).days) for first, last in spans
    )


def calendar_due(*, last_look: date, every_days: int, on: date) -> bool:
    """Whether a look is due by calendar."""
    return on >= last_look + timedelta(days=every_days)


def meets_rain(*, happened_on: date, last_rain: date) -> bool:
    """Whether a look answers rain whose last storm ended on `last_rain`. The same day counts: the day is all people report."""
    return happened_on >= last_rain


def looked_after(
    *, happened_on: date, entered_at: datetime, storm_end: datetime, zone: ZoneInfo
) -> bool:
    """Whether a visit came after a storm. On the storm's last day only if it was also written down after the rain."""
    last_day = (storm_end - timedelta(seconds=1)).astimezone(zone).date()
    return happened_on > last_day or (happened_on == last_day and entered_at >= storm_end)


@dataclass(frozen=True)
class HandOn:
    """One setting: so many days after a duty opened, this is the next step."""

    action: str
    after_days: int


def next_steps(
    steps: Iterable[HandOn], *, age_days: int, taken: Collection[str], agency_ground: bool
) -> list[str]:
    """The steps whose day has come and that were not taken yet, in order. A late sweep takes them all."""
    return [
        step.action
        for step in sorted(steps, key=lambda step: (step.after_days, step.action))
        if step.after_days <= age_days
        and step.action not in taken
        and (agency_ground or step.action != "agency")
    ]


def allowed_moment(at: datetime, *, zone: ZoneInfo, from_hour: int, until_hour: int) -> datetime:
    """`at`, or the next moment within the hours for reminders: from `from_hour`, before `until_hour`, local time."""
    local = at.astimezone(zone)
    if from_hour <= local.hour < until_hour:
        return at
    day = local.date() + timedelta(days=0 if local.hour < from_hour else 1)
    return datetime.combine(day, time(from_hour), tzinfo=zone)


def start_of(day: date, zone: ZoneInfo) -> datetime:
    """The first moment of a day."""
    return datetime.combine(day, time(), tzinfo=zone)


def judge_trap(drop_m: float) -> str:
    """The judgement that a measured drop suggests; whoever looked may judge otherwise."""
    if drop_m + TYPED_TO_M >= TRAP_GOOD_M:
        return "good"
    return "watch" if drop_m + TYPED_TO_M >= TRAP_ACT_M else "act"
