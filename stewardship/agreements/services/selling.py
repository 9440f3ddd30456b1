"""The property was sold: the instrument decides what that does, and the new owner is told."""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date

from django.db import transaction
from django.db.models import Q
from django.utils.translation import gettext as _

from people.models import Person, User
from sites.models import Site
from stewardship.agreements.choices import Capacity, RequirementKind
from stewardship.agreements.instruments import INSTRUMENTS
from stewardship.agreements.letters import new_owner_letter
from stewardship.agreements.models import Agreement, Requirement, Responsibility
from stewardship.agreements.services._shared import locked, note, refuse_future
from stewardship.agreements.services.ending import (
    asked_sites,
    refuse_before,
    refuse_not_in_force,
    release,
)
from stewardship.agreements.services.holding import close, start, still_held
from stewardship.agreements.services.requirements import add_requirement, meet_requirement
from stewardship.agreements.services.superseding import renew_agreement
from stewardship.common.errors import Refused
from stewardship.common.events import book_language
from stewardship.common.written import day_text
from stewardship.outbox.models import Message


@dataclass(frozen=True)
class Sold:
    """What a sale came to. `waits`: the seller owes until the transfer is proven. `letter` None: nothing reaches the buyer,
    or nobody knows who it is."""

    agreement: Agreement
    waits: bool = False
    letter: Message | None = None
    draft: Agreement | None = None


@transaction.atomic
def record_sale(
    *,
    agreement: Agreement,
    on: date,
    buyer: Person | None = None,
    sites: Collection[Site] | None = None,
    proven: bool = True,
    draft_next: bool = False,
    by: User | None = None,
) -> Sold:
    """The property beside some of its sites (default: all) was sold on that day; the instrument decides what that does.

    A covenant carries over: what the seller owed, the buyer owes from that day, and nobody does while the buyer is not known.
    A licence or care agreement lapses: it ends, and with `draft_next` the next one is drafted with the buyer as owner.
    Where the agreement says so and the transfer is not `proven`, the seller goes on owing until it is. The buyer is written to once.

    Raises
    ------
    Refused : it is not in force, a sale does not touch it, the day is yet to come or before it began, the buyer signed it as
        the owner, or one of several sites is not built.
    """
    rules = INSTRUMENTS[agreement.instrument]
    if rules.on_sale == "untouched":
        raise Refused(
            _("A sale does not touch this kind of agreement: %s.")
            % agreement.get_instrument_display().lower()
        )
    agreement = locked(agreement)
    refuse_not_in_force(agreement)
    refuse_future(on, _("That day is yet to come; write the sale down when it is there."))
    refuse_before(agreement, on)
    meant = asked_sites(agreement, sites)
    waiting = agreement.requirements.filter(
        kind=RequirementKind.TRANSFER, met_on__isnull=True
    ).first()
    if agreement.seller_owes_until_proof and not proven:
        _wait_for_proof(agreement, waiting, on=on, buyer=buyer, by=by)
        return Sold(agreement, waits=True)
    if waiting:
        meet_requirement(requirement=waiting, on=on, by=by)
    draft = None
    if rules.on_sale == "lapses":
        with book_language():
            why = _("The property was sold")
        whole = len(meant) == agreement.sites.count()
        agreement = release(agreement=agreement, on=on, why=why, sites=meant, by=by)
        if draft_next and whole:
            draft = renew_agreement(agreement=agreement, owner=buyer, by=by)
    else:
        _carry_over(agreement, meant, on=on, buyer=buyer, by=by)
    letter = None
    if buyer:
        letter = new_owner_letter(agreement=agreement, sites=meant, buyer=buyer, on=on)
        with book_language():
            words = {"who": buyer}
            told = (
                _("A letter to %(who)s is in the outbox")
                if letter
                else _("Nothing reaches %(who)s")
            )
            note(agreement, why=told % words, by=by)
    return Sold(agreement, letter=letter, draft=draft)


def _wait_for_proof(
    agreement: Agreement,
    waiting: Requirement | None,
    *,
    on: date,
    buyer: Person | None,
    by: User | None,
) -> None:
    if waiting:
        raise Refused(_("That sale is written down; it waits for the proof of the transfer."))
    with book_language():
        words = {"day": day_text(on), "buyer": buyer or _("a buyer not known yet")}
        note(
            agreement,
            why=_("Sold on %(day)s to %(buyer)s; the seller owes until the transfer is proven")
            % words,
            by=by,
        )
    add_requirement(agreement=agreement, kind=RequirementKind.TRANSFER, by=by)


def _carry_over(
    agreement: Agreement,
    sites: Collection[Site],
    *,
    on: date,
    buyer: Person | None,
    by: User | None,
) -> None:
    """What whoever had title owed, the buyer owes from that day. Tenants and agencies go on as they were."""
    tenants = agreement.parties.filter(capacity=Capacity.TENANT)
    held = list(
        still_held(
            agreement.responsibilities.select_for_update()
            .filter(site__in=sites, agency__isnull=True)
            .exclude(
                Q(person__isnull=False, person__in=tenants.values("person"))
                | Q(
                    organisation__isnull=False,
                    organisation__in=tenants.exclude(organisation=None).values("organisation"),
                )
            ),
            on=on,
        )
    )
    with book_language():
        why = _("The property was sold")
        close(held, on=on, why=why)
        if buyer:
            parts: dict[tuple[int, str], list[str]] = {}
            for row in held:
                parts.setdefault((row.site_id, row.role), []).append(row.part)
            for (site_id, role), of_each in sorted(parts.items()):
                start(
                    agreement,
                    site_id=site_id,
                    role=role,
                    holder=("person_id", buyer.pk),
                    on=on,
                    part="; ".join(dict.fromkeys(filter(None, of_each)))[:160],
                )
            why = _("The property was sold; %s takes over") % buyer
        note(agreement, why=why, by=by)


@transaction.atomic
def name_new_owner(
    *, agreement: Agreement, buyer: Person, on: date, by: User | None = None
) -> Sold:
    """The buyer of a sale that carried over is known now: they owe what nobody has owed since that day.

    Raises
    ------
    Refused : it is not in force, or no site of it has been without anybody since then.
    """
    agreement = locked(agreement)
    refuse_not_in_force(agreement)
    last = {
        (row.site_id, row.role): row
        for row in agreement.responsibilities.select_related("site").order_by("starts_on", "pk")
        if row.agency_id is None
    }
    open_now = {
        key
        for key in last
        if still_held(
            Responsibility.objects.filter(site_id=key[0], role=key[1], agency__isnull=True), on=on
        ).exists()
    }
    vacant = [
        row
        for key, row in last.items()
        if key not in open_now and row.ends_on and row.ends_on <= on
    ]
    if not vacant:
        raise Refused(_("Nobody is missing under %s on that day.") % agreement.reference)
    for row in vacant:
        start(
            agreement,
            site_id=row.site_id,
            role=row.role,
            holder=("person_id", buyer.pk),
            on=on,
            part=row.part,
        )
    with book_language():
        note(agreement, why=_("%s takes over") % buyer, by=by)
    sites = list(dict.fromkeys(row.site for row in vacant))
    letter = new_owner_letter(agreement=agreement, sites=sites, buyer=buyer, on=on)
    return Sold(agreement, letter=letter)
