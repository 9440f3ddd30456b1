"""The five legal instruments: who must sign, what they give, what a sale does. Pure: no database, no clock, no framework.

Capacities and roles are the values of `choices.Capacity` and `choices.ResponsibilityRole`. Who can bind land, what a tenant
may promise and what happens on sale is common practice, no source, and differs by place: local code and counsel decide.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Literal

OnSale = Literal["carries_over", "lapses", "untouched"]

#: Who can speak for the ground beside the street: an owner who lives there, or one who lets it.
TITLE = ("owner", "landlord")


@dataclass(frozen=True, slots=True)
class Paper:
    """Something that an instrument usually asks for besides signatures.

    Attributes
    ----------
    kind : value of `choices.RequirementKind`.
    within_days : by when, counted from the agreement's first day. [days]
    of_organisations : asked only where an organisation holds the ground; a single home is spared.
    """

    kind: str
    within_days: int
    of_organisations: bool = False


@dataclass(frozen=True, slots=True)
class Instrument:
    """The rules of one instrument.

    Attributes
    ----------
    kind : value of `choices.InstrumentKind`.
    signers : groups of capacities; one signature out of each group is needed, besides that of everybody named.
    may_join : capacities that may be named besides.
    ground : capacities of which one must have signed before anything is built; empty: nothing can be built under it.
    on_sale : what a sale of the property does: the duty carries over to the buyer, lapses, or is untouched.
    term_years : length of a term; None: until ended. [years]
    cure_days : time to put a found fault right before the agency or program steps in. [days]
    recorded : the county recorder gets a copy.
    papers : what it usually asks for besides signatures.
    rolls_on_years : by how long it goes on by itself at the end of its term, unless ended; None: it does not. [years]
    countersigners : capacities that sign after everybody else (common practice, no source).
    """

    kind: str
    signers: tuple[tuple[str, ...], ...]
    may_join: tuple[str, ...]
    ground: tuple[str, ...]
    on_sale: OnSale
    term_years: int | None
    cure_days: int
    recorded: bool = False
    papers: tuple[Paper, ...] = ()
    rolls_on_years: int | None = None
    countersigners: tuple[str, ...] = ()

    @property
    def binds_successors(self) -> bool:
        return self.on_sale == "carries_over"

    @property
    def capacities(self) -> tuple[str, ...]:
        """Everybody who may be named in it."""
        return tuple(c for group in self.signers for c in group) + self.may_join

    @property
    def covers_sites(self) -> bool:
        return bool(self.ground)


# Terms and cure times are starting points (common practice, no source; published cure times run from 30 to 120 days).
INSTRUMENTS: dict[str, Instrument] = {
    one.kind: one
    for one in (
        Instrument(
            kind="covenant",
            signers=(TITLE, ("agency_officer",)),
            may_join=("tenant", "program"),
            ground=TITLE,
            on_sale="carries_over",
            term_years=None,
            cure_days=30,
            recorded=True,
            # a recorded copy is back within 14 days (Henderson NC, Code of Ordinances § 42-240.3)
            papers=(Paper("recording", within_days=14),),
            countersigners=("agency_officer", "program"),
        ),
        Instrument(
            kind="licence",
            signers=(TITLE, ("agency_officer",)),
            may_join=("tenant", "program"),
            ground=TITLE,
            on_sale="lapses",
            term_years=5,
            cure_days=30,
            # a certificate with an expiry (Elko NV, City Code § 8-22-3); usually waived for homes (common practice, no source)
            papers=(Paper("insurance", within_days=30, of_organisations=True),),
            # licences of a fixed term then go on year by year unless ended (Lawrence KS, right-of-way licences)
            rolls_on_years=1,
            countersigners=("agency_officer", "program"),
        ),
        Instrument(
            kind="care_agreement",
            signers=(TITLE, ("program",)),
            may_join=("tenant", "agency_officer"),
            ground=TITLE,
            on_sale="lapses",
            term_years=5,
            cure_days=30,
            countersigners=("agency_officer", "program"),
        ),
        Instrument(
            kind="memorandum",
            signers=(("agency_officer",), ("program",)),
            may_join=(),
            ground=("agency_officer",),
            on_sale="untouched",
            term_years=5,
            cure_days=30,
        ),
        Instrument(
            kind="helper",
            signers=(("helper",), ("program",)),
            may_join=(),
            ground=(),
            on_sale="untouched",
            term_years=1,
            cure_days=0,
            countersigners=("program",),
        ),
    )
}


@dataclass(frozen=True, slots=True)
class Signer:
    """One party, as far as the rules look at it."""

    capacity: str
    must_sign: bool = True
    signed_on: date | None = None
    declined: bool = False


@dataclass(frozen=True, slots=True)
class Gap:
    """A signature that is missing: of the party at `index`, or of somebody not yet named in one of `capacities`."""

    capacities: tuple[str, ...]
    index: int | None = None


def gaps(kind: str, parties: Sequence[Signer]) -> list[Gap]:
    """What is still missing before the instrument can come into force, unnamed capacities first.

    A tenant's signature never stands for that of somebody with title.
    """
    rules = INSTRUMENTS[kind]
    found = [
        Gap(_asked(group, parties))
        for group in rules.signers
        if not any(p.capacity in group and p.must_sign for p in parties)
    ]
    return found + [
        Gap((p.capacity,), index)
        for index, p in enumerate(parties)
        if p.must_sign and p.signed_on is None
    ]


def _asked(group: tuple[str, ...], parties: Sequence[Signer]) -> tuple[str, ...]:
    """Beside a tenant, the one with title is a landlord."""
    if group == TITLE and any(p.capacity == "tenant" for p in parties):
        return ("landlord",)
    return group


def waits_for(kind: str, parties: Sequence[Signer], index: int) -> list[int]:
    """Who signs before the party at `index`: for a countersigner everybody else who must; for all others nobody."""
    last = INSTRUMENTS[kind].countersigners
    if parties[index].capacity not in last:
        return []
    return [
        i
        for i, p in enumerate(parties)
        if p.must_sign and p.signed_on is None and p.capacity not in last
    ]


def may_sign_now(kind: str, parties: Sequence[Signer]) -> list[int]:
    """Whose turn it is: those who must sign, have not, and wait for nobody. Nobody's while one of them declines."""
    asked = [i for i, p in enumerate(parties) if p.must_sign]
    if any(parties[i].declined for i in asked):
        return []
    return [i for i in asked if parties[i].signed_on is None and not waits_for(kind, parties, i)]


def begins_on(parties: Sequence[Signer], wanted: date | None = None) -> date:
    """The day from which a fully signed instrument binds: that of the last signature, or a later one that was agreed."""
    last = max(p.signed_on for p in parties if p.signed_on is not None)
    return max(last, wanted) if wanted else last


def ends_on(kind: str, begins: date) -> date | None:
    """The first day after the term; None: until ended. A term from 29 February ends on 1 March."""
    years = INSTRUMENTS[kind].term_years
    return None if years is None else _years_later(begins, years)


def _years_later(day: date, years: int) -> date:
    try:
        return day.replace(year=day.year + years)
    except ValueError:
        return date(day.year + years, 3, 1)


def rolled_on(kind: str, ends: date, *, past: date) -> date:
    """The first day after the term, once an instrument that rolls on by itself has gone on beyond the day after `past`."""
    years = INSTRUMENTS[kind].rolls_on_years
    day = ends
    turn = 0
    while years and day <= past + timedelta(days=1):
        turn += 1
        day = _years_later(ends, years * turn)
    return day


@dataclass(frozen=True, slots=True)
class Role:
    """One responsibility that starts: role, and the index of the party that holds it (its agency, for officers)."""

    role: str
    index: int


def responsibilities(kind: str, parties: Sequence[Signer]) -> list[Role]:
    """Who does the work and who else is told, from the first day. Whoever does the work is told anyway.

    A tenant does the day-to-day work and the owner or landlord is told; an agency does the work on its own frontages and
    inspects where it countersigned; a helper takes over no duty.
    """
    if kind == "helper":
        return []
    having = {
        capacity: [i for i, p in enumerate(parties) if p.capacity == capacity]
        for capacity in ("owner", "landlord", "tenant", "agency_officer")
    }
    if kind == "memorandum":
        return [Role("does", i) for i in having["agency_officer"]]
    titled = having["owner"] + having["landlord"]
    doers = having["tenant"] or titled
    told = [i for i in titled if i not in doers]
    return (
        [Role("does", i) for i in doers]
        + [Role("told", i) for i in told]
        + [Role("inspects", i) for i in having["agency_officer"]]
    )


def may_build(kind: str, parties: Iterable[Signer]) -> bool:
    """Whether, once in force, something may be built: everybody asked has signed, somebody for the ground among them.

    The database asks the same (gate.py).
    """
    asked = [p for p in parties if p.must_sign]
    return all(p.signed_on for p in asked) and any(
        p.capacity in INSTRUMENTS[kind].ground for p in asked
    )
