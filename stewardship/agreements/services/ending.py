"""What ends agreements and responsibilities, and what a sale does."""

from collections.abc import Iterable
from datetime import date

from django.db import transaction
from django.db.models import Q, QuerySet
from django.utils.translation import gettext as _

from people.models import Person, User
from sites.choices import Stage
from sites.models import Site, SiteEvent
from stewardship.agreements.choices import AgreementState, Capacity
from stewardship.agreements.instruments import INSTRUMENTS
from stewardship.agreements.models import Agreement, Responsibility
from stewardship.agreements.services._shared import OPEN_STATES, locked, note, refuse_future
from stewardship.common.errors import Refused
from stewardship.common.written import day_text


def close(rows: Iterable[Responsibility], *, on: date, why: str) -> None:
    """Let responsibilities hold no longer from that day; one that has not begun never holds."""
    for row in rows:
        row.ends_on = max(on, row.starts_on)
        row.ended_why = why[:200]
        row.save(update_fields=["ends_on", "ended_why"])


def still_held(rows: QuerySet[Responsibility], *, on: date) -> QuerySet[Responsibility]:
    """Those of `rows` that would hold on that day or later."""
    return rows.filter(Q(ends_on__isnull=True) | Q(ends_on__gt=on))


def _refuse_empty(why: str) -> str:
    why = " ".join(why.split())
    if not why:
        raise Refused(_("Say why, in a few words."))
    return why


@transaction.atomic
def end_agreement(*, agreement: Agreement, on: date, why: str, by: User | None = None) -> Agreement:
    """The agreement binds nobody from that day; responsibilities under it end. One that never came into force is withdrawn.

    A site that was agreed goes back to proposed where nothing else in force covers it; what is built stays built.

    Raises
    ------
    Refused : it has ended, the day is yet to come or before it began, or no reason is given.
    """
    why = _refuse_empty(why)
    agreement = locked(agreement)
    if agreement.state == AgreementState.ENDED:
        raise Refused(_("%s has ended already.") % agreement.reference)
    refuse_future(on, _("That day is yet to come; write the end down when it is there."))
    was = agreement.state
    if was in OPEN_STATES:
        agreement.begins_on = None
    elif on < agreement.begins_on:
        raise Refused(_("It cannot end before it began on %s.") % day_text(agreement.begins_on))
    agreement.state, agreement.ends_on, agreement.ended_why = AgreementState.ENDED, on, why[:200]
    agreement.save()
    note(agreement, was=was, why=why, by=by)
    close(still_held(agreement.responsibilities.select_for_update(), on=on), on=on, why=why)
    for site in agreement.sites.select_for_update().filter(stage=Stage.AGREED).order_by("pk"):
        _back_to_proposed(site, why=why, by=by)
    return agreement


def _back_to_proposed(site: Site, *, why: str, by: User | None) -> None:
    if site.agreements.filter(state=AgreementState.IN_FORCE).exists():
        return
    site.stage = Stage.PROPOSED
    site.save(update_fields=["stage"])
    SiteEvent.objects.create(site=site, was=Stage.AGREED, became=site.stage, why=why[:400], by=by)


@transaction.atomic
def end_responsibility(
    *, responsibility: Responsibility, on: date, why: str, by: User | None = None
) -> Responsibility:
    """One responsibility ends before its agreement does.

    Raises
    ------
    Refused : it has ended by then, the day is before it began, or no reason is given.
    """
    why = _refuse_empty(why)
    row = Responsibility.objects.select_for_update().get(pk=responsibility.pk)
    if row.ends_on and row.ends_on <= on:
        raise Refused(_("That had ended already, on %s.") % day_text(row.ends_on))
    if on < row.starts_on:
        raise Refused(_("It cannot end before it began on %s.") % day_text(row.starts_on))
    close([row], on=on, why=why)
    agreement = Agreement.objects.get(pk=row.agreement_id)
    note(agreement, why=_("%(role)s no longer: %(why)s") % {"role": row, "why": why}, by=by)
    return row


@transaction.atomic
def record_sale(
    *, agreement: Agreement, on: date, buyer: Person | None = None, by: User | None = None
) -> Agreement:
    """The property was sold on that day; the instrument decides what that does.

    A covenant carries over: what the seller owed, the buyer owes from that day, and nobody does while the buyer is not known.
    A licence or care agreement lapses: it ends, and a new owner is asked to sign anew.

    Raises
    ------
    Refused : it is not in force, a sale does not touch it, or the day is yet to come or before it began.
    """
    rules = INSTRUMENTS[agreement.instrument]
    if rules.on_sale == "untouched":
        raise Refused(
            _("A sale does not touch this kind of agreement: %s.")
            % agreement.get_instrument_display().lower()
        )
    agreement = locked(agreement)
    if agreement.state != AgreementState.IN_FORCE:
        raise Refused(_("%s is not in force.") % agreement.reference)
    why = _("The property was sold")
    if rules.on_sale == "lapses":
        return end_agreement(agreement=agreement, on=on, why=why, by=by)
    refuse_future(on, _("That day is yet to come; write the sale down when it is there."))
    if on < agreement.begins_on:
        raise Refused(_("It cannot end before it began on %s.") % day_text(agreement.begins_on))
    tenants = agreement.parties.filter(capacity=Capacity.TENANT).values("person")
    held = list(
        still_held(
            agreement.responsibilities.select_for_update()
            .filter(person__isnull=False)
            .exclude(person__in=tenants),
            on=on,
        )
    )
    close(held, on=on, why=why)
    if buyer:
        for site_id, role in sorted({(row.site_id, row.role) for row in held}):
            hand_over(
                still_held(
                    Responsibility.objects.filter(site_id=site_id, role=role, person=buyer), on=on
                ),
                to=agreement,
                on=on,
            )
            Responsibility.objects.create(
                site_id=site_id,
                role=role,
                person=buyer,
                agreement=agreement,
                starts_on=on,
                ends_on=agreement.ends_on,
            )
        why = _("The property was sold; %s takes over") % buyer
    note(agreement, why=why, by=by)
    return agreement


def hand_over(rows: Iterable[Responsibility], *, to: Agreement, on: date) -> None:
    """The same holder goes on under another agreement from that day."""
    close(rows, on=on, why=_("Goes on under %s") % to.reference)
