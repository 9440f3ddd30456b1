"""The chain of agreements: the next one is written from the last, and takes its place the day it begins."""

from datetime import date
from typing import Any

from django.db import transaction
from django.utils.translation import gettext as _

from people.models import Person, Program, User
from stewardship.agreements.choices import AgreementState, Capacity
from stewardship.agreements.instruments import TITLE
from stewardship.agreements.models import Agreement, Party
from stewardship.agreements.services._shared import locked, note
from stewardship.agreements.services.drafting import draft_agreement
from stewardship.agreements.services.holding import close, still_held
from stewardship.common.errors import Refused
from stewardship.common.events import book_language

SAME: Any = object()


@transaction.atomic
def renew_agreement(
    *,
    agreement: Agreement,
    owner: Person | None = None,
    tenant: Person | None = SAME,
    by: User | None = None,
) -> Agreement:
    """A draft of the next agreement: same instrument, parties, sites and terms, and it takes this one's place once signed.

    `owner` takes the place of all who had title, after a sale; `tenant` that of the tenants, None: there is none any more.
    It begins when this one runs out; where this one has ended or has no end, with its last signature.

    Raises
    ------
    Refused : it never came into force, or the next one is being written already.
    """
    agreement = locked(agreement)
    if agreement.begins_on is None or agreement.state in (
        AgreementState.DRAFT,
        AgreementState.OFFERED,
    ):
        raise Refused(_("%s never came into force; go on with it instead.") % agreement.reference)
    following = successor(agreement)
    if following:
        raise Refused(
            _("%(next)s takes the place of %(agreement)s already.")
            % {"next": following.reference, "agreement": agreement.reference}
        )
    runs_on = agreement.state == AgreementState.IN_FORCE and agreement.ends_on
    with book_language():
        draft = draft_agreement(
            instrument=agreement.instrument,
            sites=agreement.sites.all(),
            language=agreement.language,
            begins_on=agreement.ends_on if runs_on else None,
            by=by,
        )
    draft.supersedes = agreement
    draft.cure_days, draft.notices_by = agreement.cure_days, agreement.notices_by
    draft.sharing = agreement.sharing
    draft.seller_owes_until_proof = agreement.seller_owes_until_proof
    draft.save()
    for facts in _next_parties(agreement, owner, tenant):
        Party.objects.create(agreement=draft, **facts)
    with book_language():
        note(draft, why=_("To take the place of %s") % agreement.reference, by=by)
        note(agreement, why=_("%s is drafted to take its place") % draft.reference, by=by)
    return draft


def successor(agreement: Agreement) -> Agreement | None:
    """The agreement that takes this one's place, or is to; one that was withdrawn before it began does not count."""
    return next(
        (
            one
            for one in agreement.superseded_by.all()
            if one.state != AgreementState.ENDED or one.begins_on
        ),
        None,
    )


def _next_parties(
    agreement: Agreement, owner: Person | None, tenant: Person | None
) -> list[dict[str, Any]]:
    """Who is named in the next one. People who died are left out; a second entry of somebody counts as the first."""
    found: dict[tuple[int, str], dict[str, Any]] = {}

    def name(person: Person, capacity: str, **facts: Any) -> None:
        person = person.merged_into or person
        if not person.died_on:
            found.setdefault(
                (person.pk, capacity), {"person": person, "capacity": capacity, **facts}
            )

    parties = list(agreement.parties.select_related("person__merged_into").order_by("pk"))
    let = tenant if tenant is not SAME else any(p.capacity == Capacity.TENANT for p in parties)
    if owner:
        name(owner, Capacity.LANDLORD if let else Capacity.OWNER)
    if tenant is not SAME and tenant is not None:
        name(tenant, Capacity.TENANT)
    for party in parties:
        if (owner and party.capacity in TITLE) or (
            tenant is not SAME and party.capacity == Capacity.TENANT
        ):
            continue
        name(
            party.person,
            party.capacity,
            agency=party.agency,
            organisation=party.organisation,
            must_sign=party.must_sign,
            part=party.part,
        )
    return list(found.values())


def end_superseded(agreement: Agreement, *, by: User | None = None) -> None:
    """The agreement begins: the one whose place it takes ends that day. Called inside the caller's transaction."""
    if not agreement.supersedes_id:
        return
    old = locked(agreement.supersedes)
    begins: date = agreement.begins_on
    if old.state != AgreementState.IN_FORCE or (old.ends_on and old.ends_on <= begins):
        return
    with book_language():
        why = _("Replaced by %s") % agreement.reference
        close(still_held(old.responsibilities.select_for_update(), on=begins), on=begins, why=why)
        was, old.ends_on, old.ended_why = old.state, max(begins, old.begins_on), why[:200]
        if begins <= Program.get().today():  # until that day it goes on binding
            old.state = AgreementState.ENDED
        old.save(update_fields=["state", "ends_on", "ended_why"])
        note(old, was=was, why=why, by=by)
