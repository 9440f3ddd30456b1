"""Somebody says that a site is not theirs, or that what was found there is not so. Both sides are kept.

Settling is `care.services.settle_dispute`: it gives open duties back the days for which the clocks stood still.
"""

from datetime import date

from django.db import transaction
from django.utils.translation import gettext as _

from people.models import Person, Program, User
from sites.models import Site, SiteEvent
from stewardship.agreements.models import Dispute
from stewardship.common.errors import Refused
from stewardship.common.events import book_language


@transaction.atomic
def open_dispute(
    *,
    site: Site,
    claim: str,
    on: date,
    person: Person | None = None,
    answer: str = "",
    by: User | None = None,
) -> Dispute:
    """From that day the clocks of the site stand still: nobody is reminded, nothing is handed on, no day counts as late.

    Raises
    ------
    Refused : nothing is said, the day is yet to come, or a dispute stands there at that time already.
    """
    if not claim.strip():
        raise Refused(_("Write down what they say."))
    if on > Program.get().today():
        raise Refused(_("That day is yet to come."))
    site = Site.objects.select_for_update(no_key=True).get(pk=site.pk)
    if Dispute.objects.filter(site=site, closed_on=None).exists():
        raise Refused(_("Something is disputed at %s already; add to that.") % site.code)
    if Dispute.objects.filter(site=site, closed_on__gt=on).exists():
        raise Refused(_("Another dispute at %s had not been settled by then.") % site.code)
    dispute = Dispute.objects.create(
        site=site,
        person=person,
        opened_on=on,
        claim=claim.strip(),
        answer=answer.strip(),
        entered_by=by,
    )
    with book_language():
        said = _("Disputed by %s; clocks stand still") % person if person else _("Disputed")
        _note(site, said, by=by)
    return dispute


@transaction.atomic
def answer_dispute(*, dispute: Dispute, answer: str) -> Dispute:
    """What we say to it.

    Raises
    ------
    Refused : it is settled, or nothing is said.
    """
    if not answer.strip():
        raise Refused(_("Write down what we say."))
    dispute = _open(dispute)
    dispute.answer = answer.strip()
    dispute.save(update_fields=["answer"])
    return dispute


@transaction.atomic
def close_dispute(*, dispute: Dispute, on: date, outcome: str, by: User | None = None) -> Dispute:
    """It is settled; both sides stay in the book.

    Raises
    ------
    Refused : it is settled already, no outcome is given, or the day is yet to come or before it began.
    """
    outcome = " ".join(outcome.split())
    if not outcome:
        raise Refused(_("Say how it was settled, in a few words."))
    dispute = _open(dispute)
    if on > Program.get().today():
        raise Refused(_("That day is yet to come."))
    if on < dispute.opened_on:
        raise Refused(_("It cannot be settled before it began."))
    dispute.closed_on, dispute.outcome = on, outcome[:400]
    dispute.save(update_fields=["closed_on", "outcome"])
    with book_language():
        _note(dispute.site, _("Dispute settled: %s") % outcome, by=by)
    return dispute


def _open(dispute: Dispute) -> Dispute:
    dispute = (
        Dispute.objects.select_for_update(of=("self",)).select_related("site").get(pk=dispute.pk)
    )
    if dispute.closed_on:
        raise Refused(_("This has been settled already."))
    return dispute


def _note(site: Site, why: str, *, by: User | None) -> None:
    SiteEvent.objects.create(site=site, was=site.stage, became=site.stage, why=why[:400], by=by)
