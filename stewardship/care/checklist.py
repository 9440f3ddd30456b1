"""What to do at one site: only what it has, and only what the storm makes likely. Pure: no Django, no words.

`words.py` says the keys in the reader's language; `site_facts.py` reads the facts from the database.
"""

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from enum import StrEnum

#: Water that stood or ran over by less than this is within what the estimate can tell. From memory, no source.
LEAST_SPILL_M3 = 0.01
#: The program's limit for standing water; published outer limits are longer (trade practice: 24 h at acceptance of works).
STANDS_TOO_LONG_H = 24.0

#: Minutes: a walk round and the litter, then for each thing that hands go to. Common practice, no source.
MINUTES_ROUND = 10
MINUTES_TRAP = 10
MINUTES_SPILLWAY = 5
MINUTES_PLANTS = 5
MINUTES_WEEDS = 10

#: A 5-gallon bucket filled to the half: 5 × 3.785411784 L / 2. Half, because a full one is over a safe lift for many.
HALF_BUCKET_L = 9.46
#: Shares of a trash cart that take loose soil and wet sand. Common practice, no source.
CART_SHARE_LOOSE = 1 / 3
CART_SHARE_WET_SAND = 1 / 5
#: The lowest weight limit of a cart that was found in published city rules: 175 lb.
CART_LIMIT_KG = 79.4
#: Damp silt about 100 lb/ft³, sand full of water about 125 lb/ft³. From memory, no source.
LOOSE_KG_PER_L = 1.6
WET_SAND_KG_PER_L = 2.0


class Do(StrEnum):
    """One thing to do."""

    CURB_CUT = "curb_cut"
    CURB_CORE = "curb_core"
    TRAP = "trap"
    TRAP_CREW = "trap_crew"  # look, but the silt is for a crew
    SPILLWAY = "spillway"
    PLANTS = "plants"
    STANDING = "standing"
    LITTER = "litter"
    WEEDS = "weeds"
    EDGE = "edge"
    FOUND = "found"  # what a visit found wanting


class Bring(StrEnum):
    VEST = "vest"
    GLOVES = "gloves"
    BAG = "bag"
    TAPE = "tape"
    TROWEL = "trowel"
    BUCKETS = "buckets"
    BRUSH = "brush"


class Caution(StrEnum):
    TRAFFIC = "traffic"
    FLOWING = "flowing"
    HEAT = "heat"
    SHARPS = "sharps"
    LIFTING = "lifting"
    THORNS = "thorns"
    DIGGING = "digging"
    PESTICIDE = "pesticide"
    NESTING = "nesting"
    SIGHT = "sight"
    SILT = "silt"
    LOCAL = "local"


@dataclass(frozen=True)
class Plant:
    species: str
    height_m: float


@dataclass(frozen=True)
class BasinFacts:
    """What one basin has."""

    label: str
    inlet_kinds: tuple[str, ...] = ()
    traps: int = 0
    plants: tuple[Plant, ...] = ()


@dataclass(frozen=True)
class SiteFacts:
    basins: tuple[BasinFacts, ...]
    source_class: str = "quiet"
    cart_litres: float | None = None
    collection_weekday: int | None = None  # Monday is 0


@dataclass(frozen=True)
class Water:
    """What a storm's water did in one basin; of several storms the most of each. None: not known."""

    greatest_depth_m: float | None = None
    spilled_m3: float = 0.0
    hours_to_drain: float | None = None
    drains: bool = True  # False: it never emptied in the time followed


@dataclass(frozen=True)
class Task:
    """One thing to do; `basins` names the basins it is about, empty when it is about all of them."""

    do: Do
    basins: tuple[str, ...] = ()
    plants: tuple[str, ...] = ()
    depth_m: float | None = None
    hours: float | None = None
    item: str = ""
    note: str = ""


@dataclass(frozen=True)
class SiltPlan:
    """Where silt goes. "cart": so many half-filled buckets a collection; "ask": no cart is known; "crew": not for residents."""

    route: str
    loose_buckets: int = 0
    wet_sand_buckets: int = 0
    weekday: int | None = None


@dataclass(frozen=True)
class Checklist:
    tasks: tuple[Task, ...]
    minutes: int
    bring: tuple[Bring, ...]
    silt: SiltPlan | None
    cautions: tuple[Caution, ...]


def after_rain(site: SiteFacts, waters: Mapping[str, Water]) -> Checklist:
    """The checklist after a storm; `waters` by basin label. A basin without figures gets only what rain always brings."""
    tasks = [*_inlets(site), *_traps(site)]
    over = [b.label for b in site.basins if _of(waters, b).spilled_m3 > LEAST_SPILL_M3]
    if over:
        tasks.append(Task(Do.SPILLWAY, basins=_named(site, over)))
    tasks += _alike(site, [_plants(basin, _of(waters, basin)) for basin in site.basins])
    tasks += _alike(site, [_standing(basin, _of(waters, basin)) for basin in site.basins])
    tasks.append(Task(Do.LITTER))
    return _complete(site, tasks)


def by_calendar(site: SiteFacts) -> Checklist:
    """The checklist of a look that no storm asked for."""
    tasks = [*_inlets(site), *_traps(site), Task(Do.WEEDS), Task(Do.EDGE), Task(Do.LITTER)]
    return _complete(site, tasks)


def after_finding(site: SiteFacts, *, item: str, basin: str = "", note: str = "") -> Checklist:
    """The checklist of the work that a visit found wanting."""
    found = Task(Do.FOUND, basins=_named(site, [basin] if basin else []), item=item, note=note)
    return _complete(site, [found, *(_traps(site) if item == "trap" else [])])


def silt_plan(site: SiteFacts) -> SiltPlan:
    """Where this site's silt goes, and how much of it at a time: the least of the cart's share and of its weight limit."""
    if site.source_class == "hot_spot":
        return SiltPlan("crew")
    if not site.cart_litres:
        return SiltPlan("ask")
    loose_l = min(site.cart_litres * CART_SHARE_LOOSE, CART_LIMIT_KG / LOOSE_KG_PER_L)
    sand_l = min(site.cart_litres * CART_SHARE_WET_SAND, CART_LIMIT_KG / WET_SAND_KG_PER_L)
    return SiltPlan(
        "cart",
        loose_buckets=math.floor(loose_l / HALF_BUCKET_L),
        wet_sand_buckets=math.floor(sand_l / HALF_BUCKET_L),
        weekday=site.collection_weekday,
    )


def _of(waters: Mapping[str, Water], basin: BasinFacts) -> Water:
    return waters.get(basin.label, Water())


def _named(site: SiteFacts, labels: Iterable[str]) -> tuple[str, ...]:
    """The labels, unless they are all there are: one basin needs no name."""
    named = tuple(labels)
    return () if len(named) == len(site.basins) else named


def _plants(basin: BasinFacts, water: Water) -> Task | None:
    """Plants that the water stood over."""
    depth_m = water.greatest_depth_m
    low = [p.species for p in basin.plants if depth_m and p.height_m < depth_m]
    if not low or depth_m is None:
        return None
    # to the half centimetre: closer than an estimate can tell apart
    shown_m = round(depth_m * 200) / 200
    return Task(Do.PLANTS, (basin.label,), plants=tuple(dict.fromkeys(low)), depth_m=shown_m)


def _standing(basin: BasinFacts, water: Water) -> Task | None:
    """Water that stands longer than it should."""
    if not water.drains:
        return Task(Do.STANDING, (basin.label,))
    if (water.hours_to_drain or 0) <= STANDS_TOO_LONG_H:
        return None
    return Task(Do.STANDING, (basin.label,), hours=round(water.hours_to_drain or 0))


def _alike(site: SiteFacts, tasks: Iterable[Task | None]) -> list[Task]:
    """The tasks with those that differ in their basin alone said once."""
    basins: dict[Task, list[str]] = {}
    for task in tasks:
        if task:
            basins.setdefault(replace(task, basins=()), []).extend(task.basins)
    return [replace(task, basins=_named(site, labels)) for task, labels in basins.items()]


def _inlets(site: SiteFacts) -> list[Task]:
    kinds = {kind for basin in site.basins for kind in basin.inlet_kinds}
    return [Task(do) for do in (Do.CURB_CUT, Do.CURB_CORE) if do.value in kinds]


def _traps(site: SiteFacts) -> list[Task]:
    with_traps = [basin.label for basin in site.basins if basin.traps]
    if not with_traps:
        return []
    do = Do.TRAP_CREW if site.source_class == "hot_spot" else Do.TRAP
    return [Task(do, basins=_named(site, with_traps))]


def _complete(site: SiteFacts, tasks: list[Task]) -> Checklist:
    """Minutes, things to bring, silt and cautions that these tasks ask for."""
    doing = {task.do for task in tasks}
    digging = Do.TRAP in doing
    minutes = MINUTES_ROUND
    minutes += MINUTES_TRAP * sum(b.traps for b in site.basins) * digging
    minutes += MINUTES_SPILLWAY * (Do.SPILLWAY in doing)
    minutes += MINUTES_PLANTS * sum(
        len(task.basins) or len(site.basins) for task in tasks if task.do is Do.PLANTS
    )
    minutes += MINUTES_WEEDS * (Do.WEEDS in doing) * len(site.basins)
    bring = [Bring.VEST, Bring.GLOVES, Bring.BAG]
    if digging or Do.TRAP_CREW in doing:
        bring.append(Bring.TAPE)
    if digging:
        bring += [Bring.TROWEL, Bring.BUCKETS]
    if Do.PLANTS in doing:
        bring.append(Bring.BRUSH)
    cautions = [Caution.TRAFFIC, Caution.FLOWING, Caution.HEAT, Caution.SHARPS]
    if digging:
        cautions.append(Caution.LIFTING)
    if any(basin.plants for basin in site.basins):
        cautions.append(Caution.THORNS)
    # What a visit found may be anything: its words decide what hands go to, so it carries all of them.
    if doing & {Do.TRAP, Do.FOUND}:
        cautions.append(Caution.DIGGING)
    if doing & {Do.PLANTS, Do.WEEDS, Do.FOUND}:
        cautions += [Caution.PESTICIDE, Caution.NESTING]
    if doing & {Do.WEEDS, Do.EDGE, Do.FOUND}:
        cautions.append(Caution.SIGHT)
    if Do.TRAP_CREW in doing:
        cautions.append(Caution.SILT)
    cautions.append(Caution.LOCAL)
    silt = silt_plan(site) if digging or Do.TRAP_CREW in doing else None
    return Checklist(tuple(tasks), minutes, tuple(bring), silt, tuple(cautions))
