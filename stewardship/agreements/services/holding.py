"""Responsibilities as rows: begun, closed, handed over."""

from collections.abc import Iterable
from datetime import date

from django.db.models import Q, QuerySet
from django.utils.translation import gettext as _

from stewardship.agreements.choices import Capacity, Sharing
from stewardship.agreements.models import Agreement, Party, Responsibility
from stewardship.common.events import book_language

#: Who holds a responsibility, as the field of `Responsibility` and its key.
Holder = tuple[str, int]


def holder_of(party: Party) -> Holder:
    """An agency for its officer, an organisation for whoever signs for it, else the person."""
    if party.capacity == Capacity.AGENCY_OFFICER:
        return ("agency_id", party.agency_id)
    if party.organisation_id:
        return ("organisation_id", party.organisation_id)
    return ("person_id", party.person_id)


def part_of(agreement: Agreement, party: Party) -> str:
    """Which part is theirs; nothing where any of them may do all of it."""
    return party.part if agreement.sharing == Sharing.PARTS else ""


def still_held(rows: QuerySet[Responsibility], *, on: date) -> QuerySet[Responsibility]:
    """Those of `rows` that would hold on that day or later."""
    return rows.filter(Q(ends_on__isnull=True) | Q(ends_on__gt=on))


def close(rows: Iterable[Responsibility], *, on: date, why: str) -> None:
    """Let responsibilities hold no longer from that day; one that has not begun never holds."""
    for row in rows:
        row.ends_on = max(on, row.starts_on)
        row.ended_why = why[:200]
        row.save(update_fields=["ends_on", "ended_why"])


def hand_over(rows: Iterable[Responsibility], *, to: Agreement, on: date) -> None:
    """The same holder goes on under another agreement from that day."""
    with book_language():
        close(rows, on=on, why=_("Goes on under %s") % to.reference)


def start(
    agreement: Agreement, *, site_id: int, role: str, holder: Holder, on: date, part: str = ""
) -> Responsibility:
    """A responsibility under the agreement from that day, for as long as it binds. The same one under another ends then."""
    who = dict([holder])
    same = Responsibility.objects.filter(site_id=site_id, role=role, **who)
    hand_over(still_held(same, on=on), to=agreement, on=on)
    return Responsibility.objects.create(
        site_id=site_id,
        role=role,
        part=part,
        agreement=agreement,
        starts_on=on,
        ends_on=agreement.ends_on,
        **who,
    )
