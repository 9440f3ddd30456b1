"""What runs out or is missing in a quarter: ends of terms, landlords' renewals, recorder's numbers, certificates. Reads only."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import groupby

from django.db.models import Exists, OuterRef, Prefetch, Q
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from stewardship.agreements.choices import AgreementState, Capacity, RequirementKind
from stewardship.agreements.instruments import INSTRUMENTS
from stewardship.agreements.lacks import brings
from stewardship.agreements.letters import renewal_key
from stewardship.agreements.models import Agreement, Party, Requirement
from stewardship.agreements.services import people_to_ask, successor
from stewardship.outbox.models import Message

#: What may be asked for, of everything.
ENDS = "ends"
WHATS = [
    (ENDS, gettext_lazy("ends of terms")),
    (RequirementKind.CONSENT, gettext_lazy("landlords’ consents")),
    (RequirementKind.RECORDING, gettext_lazy("recorder’s numbers")),
    (RequirementKind.INSURANCE, gettext_lazy("insurance certificates")),
    (RequirementKind.TRANSFER, gettext_lazy("proofs of a transfer")),
    (RequirementKind.OTHER, gettext_lazy("other papers")),
]
#: Quarters that the page offers, from the one before this one.
QUARTERS = 8


@dataclass(frozen=True)
class Quarter:
    """Three months of a calendar year; `number` is 1 to 4."""

    year: int
    number: int

    @classmethod
    def of(cls, day: date) -> "Quarter":
        return cls(day.year, (day.month - 1) // 3 + 1)

    @classmethod
    def read(cls, text: str) -> "Quarter | None":
        """From "2026-3"; None: it is no quarter."""
        year, _dash, number = text.partition("-")
        if year.isascii() and year.isdigit() and 1900 <= int(year) <= 9998 and number in "1234":
            return cls(int(year), int(number)) if number else None
        return None

    @property
    def value(self) -> str:
        return f"{self.year}-{self.number}"

    @property
    def first(self) -> date:
        return date(self.year, self.number * 3 - 2, 1)

    @property
    def last(self) -> date:
        return self.following.first - timedelta(days=1)

    @property
    def following(self) -> "Quarter":
        return Quarter(self.year + self.number // 4, self.number % 4 + 1)

    @property
    def before(self) -> "Quarter":
        return Quarter.of(self.first - timedelta(days=1))

    def __str__(self) -> str:
        words = {"first": date_format(self.first, "M"), "last": date_format(self.last, "M Y")}
        return _("%(first)s to %(last)s") % words


def quarters(today: date) -> list[Quarter]:
    found = [Quarter.of(today).before]
    while len(found) < QUARTERS:
        found.append(found[-1].following)
    return found


@dataclass(frozen=True)
class Line:
    """One thing to see to. `day`: by when, None: no day is set. `told`: how many were written to about this term."""

    agreement: Agreement
    kind: str
    day: date | None
    what: str
    people: list[Party]
    late: bool
    rolls: bool = False
    told: int = 0
    next: Agreement | None = None
    requirement: Requirement | None = None

    @property
    def who(self) -> list[str]:
        return list(dict.fromkeys(party.person.full_name for party in self.people))


@dataclass(frozen=True)
class Month:
    heading: str
    lines: list[Line]


def lines(quarter: Quarter, *, today: date, what: str = "") -> list[Line]:
    """What falls into the quarter, by day; into the present one also what is late or has no day. `what`: of `WHATS`.

    The number of queries is fixed.
    """
    since = None if quarter == Quarter.of(today) else quarter.first
    wanting = Requirement.objects.filter(agreement=OuterRef("pk")).filter(
        Q(met_on__isnull=True) | Q(valid_until__lte=quarter.last)
    )
    agreements = list(
        Agreement.objects.filter(state=AgreementState.IN_FORCE)
        .filter(Q(ends_on__lte=quarter.last) | Q(Exists(wanting)))
        .with_signing()
        .prefetch_related(Prefetch("superseded_by", Agreement.objects.order_by("pk")), "sites")
    )
    told = _told(agreements)
    found = [
        line
        for agreement in agreements
        for line in _of(agreement, quarter, since, today, told)
        if what in ("", line.kind)
    ]
    return sorted(found, key=lambda line: (line.day or date.min, line.agreement.pk, line.kind))


def _told(agreements: list[Agreement]) -> set[str]:
    keys = [
        renewal_key(agreement, party.person)
        for agreement in agreements
        if agreement.ends_on
        for party in people_to_ask(agreement)
    ]
    return set(Message.objects.filter(key__in=keys).values_list("key", flat=True))


def _of(
    agreement: Agreement, quarter: Quarter, since: date | None, today: date, told: set[str]
) -> Iterator[Line]:
    def inside(day: date | None) -> bool:
        if day is None:
            return since is None
        return (since is None or day >= since) and day <= quarter.last

    following = successor(agreement)
    replaced = following and following.state == AgreementState.IN_FORCE
    if agreement.ends_on and inside(agreement.ends_on) and not replaced:
        yield _end(agreement, following, today, told)
    for row in agreement.requirements.all():
        if row.met_on is None and inside(row.due_on):
            late = row.due_on is not None and row.due_on < today
            words = _("%s is missing") % row
            yield Line(
                agreement,
                row.kind,
                row.due_on,
                words,
                brings(agreement, row),
                late,
                requirement=row,
            )
        elif row.met_on and row.valid_until and inside(row.valid_until):
            late = row.valid_until < today
            words = (_("%s ran out") if late else _("%s runs out")) % row
            yield Line(
                agreement,
                row.kind,
                row.valid_until,
                words,
                brings(agreement, row),
                late,
                requirement=row,
            )


def _end(agreement: Agreement, following: Agreement | None, today: date, told: set[str]) -> Line:
    people = people_to_ask(agreement)
    rolls = bool(INSTRUMENTS[agreement.instrument].rolls_on_years)
    late = agreement.ends_on <= today
    if rolls:
        words = _("Goes on for another year unless it is ended")
    elif any(party.capacity == Capacity.LANDLORD for party in people):
        words = (
            _("Ran out; the landlord has to renew it")
            if late
            else _("Runs out; the landlord has to renew it")
        )
    else:
        words = _("Ran out") if late else _("Runs out")
    keys = {renewal_key(agreement, party.person) for party in people}
    return Line(
        agreement,
        ENDS,
        agreement.ends_on,
        words,
        people,
        late,
        rolls=rolls,
        told=len(keys & told),
        next=following,
    )


def by_month(found: list[Line], *, today: date) -> list[Month]:
    """The lines under headings: what is late, what has no day, then month by month."""

    def heading(line: Line) -> str:
        if line.late:
            return _("Late")
        if line.day is None:
            return _("No day is set")
        return date_format(line.day, "F Y")

    ordered = sorted(found, key=lambda line: (not line.late, line.day or date.min))
    return [Month(name, list(own)) for name, own in groupby(ordered, key=heading)]
