"""Duties, checklists and cautions as sentences, in the language that is active. `units` is the program's: "us" or "metric"."""

from collections.abc import Callable, Iterable
from datetime import date
from typing import Any

from django.utils.text import get_text_list
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from sites.choices import Weekday
from stewardship.care.checklist import (
    STANDS_TOO_LONG_H,
    Bring,
    Caution,
    Checklist,
    Do,
    SiltPlan,
    Task,
)
from stewardship.care.choices import FlowKind, Item, Judgement
from stewardship.care.models import Duty
from stewardship.common.written import US, day_text, depth_text, hours_text, length_text


def and_list(items: Iterable[str]) -> str:
    """ "A, B and C"."""
    return get_text_list(list(items), _("and"))


# -- why a duty is there -----------------------------------------------------------------------------------------
def reason_text(reason: dict[str, Any], units: str) -> str:
    """Why, e.g. "0.62 in on Tue 14 Jul, from gauges A (58 %) and B (42 %)"; the shapes of `reason` stand at Duty.reason."""
    if reason.get("rains") or reason.get("flows"):
        rains = [_rains_text(reason["rains"], units)] if reason.get("rains") else []
        return "; ".join([*rains, *map(flow_text, reason.get("flows", []))])
    if "every_days" in reason:
        last = _day(reason.get("last_look"))
        if last is None:
            return _("a look is due every %s days") % reason["every_days"]
        return _("a look is due every %(days)s days; the last was on %(day)s") % {
            "days": reason["every_days"],
            "day": last,
        }
    if "item" in reason:
        return _finding_text(reason)
    return ""


def why_text(duty: Duty, units: str) -> str:
    """Why, and that it was due already where it rained or ran again after the due day."""
    why = reason_text(duty.reason, units)
    if duty.ask_by == duty.due_on:
        return why
    newest = max(duty.water_days).isoformat()
    if all(rain["day"] != newest for rain in duty.reason.get("rains", [])):
        return _("%(why)s; it was due %(day)s, and water has run there again since") % {
            "why": why,
            "day": day_text(duty.due_on),
        }
    return _("%(why)s; it was due %(day)s, and it has rained again since") % {
        "why": why,
        "day": day_text(duty.due_on),
    }


def rain_text(rain: dict[str, Any], units: str) -> str:
    """One storm at the site: depth, day, gauges with their weights."""
    if rain.get("depth_um") is None:
        return _("rain not known on %s") % _days(rain)
    depth = depth_text(rain["depth_um"], units)
    pattern = (
        _("possibly %(depth)s on %(day)s, please look")
        if rain.get("sureness") == "possible"
        else _("%(depth)s on %(day)s")
    )
    said = pattern % {"depth": depth, "day": _days(rain)}
    declared = rain.get("declared")
    if declared:
        return _("%(rain)s, declared by %(who)s: %(why)s") % {
            "rain": said,
            "who": declared["by"],
            "why": declared["why"].rstrip("."),
        }
    # A share that rounds to nothing says nothing.
    sources = [s for s in rain.get("sources") or [] if round(100 * s.get("weight", 1))]
    if not sources:
        return said
    gauges = (
        sources[0]["gauge"]
        if len(sources) == 1
        else and_list(f"{s['gauge']} ({round(100 * s['weight'])} %)" for s in sources)
    )
    origin = ngettext("from gauge %s", "from gauges %s", len(sources)) % gauges
    return f"{said}, {origin}"


def _rains_text(rains: list[dict[str, Any]], units: str) -> str:
    if len(rains) == 1:
        return rain_text(rains[0], units)
    first, last = (_day(rain) for rain in (rains[0]["day"], rains[-1]["day"]))
    depths = [depth_text(rain.get("depth_um"), units) or _("not known") for rain in rains]
    if first == last:
        pattern = _("%(count)s storms on %(last)s: %(depths)s")
    else:
        pattern = _("%(count)s storms from %(first)s to %(last)s: %(depths)s")
    return pattern % {
        "count": len(rains),
        "first": first,
        "last": last,
        "depths": and_list(depths),
    }


def flow_text(flow: dict[str, Any]) -> str:
    """Water that ran though no storm says so, e.g. "a water main broke on Tue 14 Jul"."""
    said = _FLOWS[FlowKind(flow["kind"])]() % {"day": _day(flow["day"])}
    return f"{said} ({flow['note'].rstrip('.')})" if flow.get("note") else said


_FLOWS: dict[FlowKind, Callable[[], str]] = {
    FlowKind.RAIN: lambda: _("it rained there on %(day)s, as somebody saw on the spot"),
    FlowKind.HAIL: lambda: _("hail fell on %(day)s"),
    FlowKind.SNOWMELT: lambda: _("snow melted on %(day)s"),
    FlowKind.WATER_MAIN: lambda: _("a water main broke on %(day)s"),
    FlowKind.SPRINKLER: lambda: _("sprinklers ran into the basin on %(day)s"),
    FlowKind.STREET_WORK: lambda: _("street work sent water into the basin on %(day)s"),
    FlowKind.OTHER: lambda: _("water ran into the basin on %(day)s"),
}


def _finding_text(reason: dict[str, Any]) -> str:
    item = str(Item(reason["item"]).label)
    if reason.get("basin"):
        item = _("%(item)s (basin %(basin)s)") % {"item": item, "basin": reason["basin"]}
    said = f"{item}: {Judgement(reason.get('judgement') or 'act').label}"
    if reason.get("day"):
        said = _("%(finding)s, seen on %(day)s") % {"finding": said, "day": _day(reason["day"])}
    return f"{said}. {reason['note']}" if reason.get("note") else said


def _day(iso: str | None) -> str | None:
    return day_text(date.fromisoformat(iso)) if iso else None


def _days(rain: dict[str, Any]) -> str:
    """The day of a storm, or its two days when it ran over midnight."""
    last = _day(rain["day"]) or ""
    first = _day(rain.get("from")) or last
    return last if first == last else _("%(first)s to %(last)s") % {"first": first, "last": last}


# -- what to do --------------------------------------------------------------------------------------------------
def task_text(task: Task, units: str) -> str:
    """One line of the checklist."""
    said = _TASKS[task.do](task, units)
    if not task.basins:
        return said
    where = ngettext("Basin %s", "Basins %s", len(task.basins)) % and_list(task.basins)
    return f"{where}: {said}"


def task_texts(checklist: Checklist, units: str) -> list[str]:
    return [task_text(task, units) for task in checklist.tasks]


def _least(units: str) -> str:
    """The drop in a trap under which silt is dug out."""
    least = _("2 in") if units == US else _("5 cm")
    return least.replace(" ", "\u00a0")


def _plants(task: Task, units: str) -> str:
    return _("Brush debris off the %(plants)s; the water stood about %(depth)s deep there.") % {
        "plants": and_list(task.plants),
        "depth": length_text(task.depth_m, units),
    }


def _standing(task: Task, units: str) -> str:
    limit = hours_text(STANDS_TOO_LONG_H)
    if task.hours is None:
        return _("Water may stand for days. Any left after %s: tell us, and do not dig.") % limit
    return _(
        "Water may stand for about %(hours)s. Any left after %(limit)s: tell us, and do not dig."
    ) % {"hours": hours_text(task.hours), "limit": limit}


def _found(task: Task, units: str) -> str:
    item = Item(task.item).label
    return f"{item}: {task.note}" if task.note else _("%s: put right what was found.") % item


_TASKS: dict[Do, Callable[[Task, str], str]] = {
    Do.CURB_CUT: lambda task, units: _(
        "Clear leaves, litter and silt out of the curb cut, so that water gets in."
    ),
    Do.CURB_CORE: lambda task, units: _("Clear the curb core: nothing may block the hole."),
    Do.TRAP: lambda task, units: (
        _(
            "Sediment trap: measure from the inlet bottom down to the silt. Less than %s? Dig it out."
        )
        % _least(units)
    ),
    Do.TRAP_CREW: lambda task, units: (
        _(
            "Sediment trap: measure from the inlet bottom down to the silt. Less than %s? Leave it and tell us."
        )
        % _least(units)
    ),
    Do.SPILLWAY: lambda task, units: _(
        "Water ran over the lip: see that its rocks lie level and none has moved."
    ),
    Do.PLANTS: _plants,
    Do.STANDING: _standing,
    Do.LITTER: lambda task, units: _("Take out litter and gravel. Leaves on the soil may stay."),
    Do.WEEDS: lambda task, units: _(
        "Pull what shades the planted ones and leave it as mulch; bag what is in seed. Unsure? Leave it and take a photo."
    ),
    Do.EDGE: lambda task, units: _(
        "Keep the sidewalk and the curb cut clear of plants; lift runners back onto the soil."
    ),
    Do.FOUND: _found,
}


def bring_texts(bring: Iterable[Bring]) -> list[str]:
    words = {
        Bring.VEST: _("bright vest"),
        Bring.GLOVES: _("gloves"),
        Bring.BAG: _("trash bag"),
        Bring.TAPE: _("tape measure"),
        Bring.TROWEL: _("trowel or hand shovel"),
        Bring.BUCKETS: _("two buckets"),
        Bring.BRUSH: _("hand brush"),
    }
    return [words[thing] for thing in bring]


def silt_text(plan: SiltPlan | None) -> str:
    """Where the silt goes, and how much at a time; "" when none is dug."""
    if plan is None:
        return ""
    if plan.route == "crew":
        return _(
            "Silt from this street can hold oil and metals. Do not handle it; a crew takes it away."
        )
    never = _("Never into the street, a drain or a vegetable bed.")
    if plan.route == "ask":
        ask = _("We do not know your trash cart: ask us where the silt goes before you dig.")
        return f"{ask} {never}"
    when = (
        _("on collection morning")
        if plan.weekday is None
        else _("on collection morning (%s)") % Weekday(plan.weekday).label
    )
    share = _(
        "Silt goes into the trash cart %(when)s: at most %(loose)s half-filled buckets if it is loose, "
        "%(sand)s if it is wet sand; the rest waits a week. If your town takes no soil in carts, ask us."
    ) % {"when": when, "loose": plan.loose_buckets, "sand": plan.wet_sand_buckets}
    return f"{share} {never}"


def caution_texts(cautions: Iterable[Caution]) -> list[str]:
    words = {
        Caution.TRAFFIC: _("Wear the vest, work from the sidewalk side and mind the traffic."),
        Caution.FLOWING: _("Never reach into running water. Thunder or lightning: stay inside."),
        Caution.HEAT: _("In heat go early, drink, and rest in the shade."),
        Caution.SHARPS: _(
            "Needles, a smell of fuel, a broken curb: leave it and call us. In danger call 911."
        ),
        Caution.LIFTING: _("Fill buckets to the half only, and lift with your legs."),
        Caution.THORNS: _("Thorns: long sleeves and eye cover."),
        Caution.DIGGING: _(
            "Have underground lines marked before you dig deeper than scraping silt."
        ),
        Caution.PESTICIDE: _("No pesticides without a licence and permission."),
        Caution.NESTING: _("Look for nests before you cut; leave nesting birds alone."),
        Caution.SIGHT: _("Keep the view at corners and driveways and the walkway clear."),
        Caution.SILT: _("Do not dig here: the street above is a hot spot."),
        Caution.LOCAL: _("Where local rules or a licensed trade say otherwise, they decide."),
    }
    return [words[caution] for caution in cautions]
