"""What is seen on a visit to a demo site: mostly good, now and then something to do."""

from collections.abc import Iterable
from datetime import date

from sites.models import SedimentTrap, Site
from stewardship.care.choices import Item, Judgement
from stewardship.care.rules import judge_trap
from stewardship.care.services import Found
from stewardship.management.demo.habits import luck
from stewardship.management.demo.silt import drop_m

#: item → (what is noted to watch, what asks for work)
WORDS = {
    Item.INLET: ("Leaves on the sill", "Grass has grown across the opening"),
    Item.SPILLWAY: ("One rock has moved", "The lip is scoured on the left"),
    Item.PLANTS: ("A few dry stems", "Sumac hangs over the walk"),
    Item.WEEDS: ("Seedlings, too young to name", "Kochia about to seed"),
    Item.LITTER: ("Some wrappers", "A mattress in the basin"),
}
WATCH, ACT = 0.14, 0.03  # shares of what is seen
WET_SOAK_MM_H = (
    12  # [mm/h] a basin that soaks away slower than this still holds water when somebody looks
)


def seen(site: Site, traps: Iterable[tuple[SedimentTrap, float]], *, on: date) -> list[Found]:
    """What a resident or a crew writes down: the traps, and two things besides."""
    die = luck("seen", site.code, on)
    found = [_trap(trap, fill) for trap, fill in traps]
    return found + [_judged(item, die.random()) for item in die.sample(list(WORDS), 2)]


def inspected(site: Site, traps: Iterable[tuple[SedimentTrap, float]], *, on: date) -> list[Found]:
    """What an inspector writes down: everything, and whether water stands."""
    die = luck("inspected", site.code, on)
    found = [_trap(trap, fill) for trap, fill in traps]
    found += [_judged(item, die.random()) for item in WORDS]
    slow = any(basin.soak_mm_h < WET_SOAK_MM_H for basin in site.basins.all())
    return [
        *found,
        Found(
            item=Item.PONDING,
            judgement=Judgement.ACT if slow else Judgement.GOOD,
            note="Water still stands two days after the rain" if slow else "",
        ),
    ]


def _trap(trap: SedimentTrap, fill: float) -> Found:
    drop = drop_m(trap, fill)
    return Found(
        item=Item.TRAP, judgement=judge_trap(drop), basin=trap.inlet.basin, measured_m=drop
    )


def _judged(item: Item, chance: float) -> Found:
    watch, act = WORDS[item]
    if chance < ACT:
        return Found(item=item, judgement=Judgement.ACT, note=act)
    if chance < ACT + WATCH:
        return Found(item=item, judgement=Judgement.WATCH, note=watch)
    return Found(item=item, judgement=Judgement.GOOD)
