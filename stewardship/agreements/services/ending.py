"""What ends agreements and responsibilities: an end with its reason, a release, a tenant who moves out, consent withdrawn."""

from collections.abc import Collection
from datetime import date

from django.db import transaction
from django.db.models import Q
from django.utils.translation import gettext as _

from people.models import User
from sites.choices import Stage
from sites.models import Site, SiteEvent
from stewardship.agreements.choices import AgreementState, Capacity, ResponsibilityRole
from stewardship.agreements.instruments import TITLE
from stewardship.agreements.models import Agreement, Responsibility
from stewardship.agreements.services._shared import OPEN_STATES, locked, note, refuse_future
from stewardship.agreements.services.holding import close, holder_of, part_of, start, still_held
from stewardship.common.errors import Refused
from stewardship.common.events import book_language
from stewardship.common.written import day_text


def refuse_empty(why: str) -> str:
    why = " ".join(why.split())
    if not why:
        raise Refused(_("Say why, in a few words."))
    return why


def refuse_before(agreement: Agreement, day: date) -> None:
    if day < agreement.begins_on:
        raise Refused(_("It cannot end before it began on %s.") % day_text(agreement.begins_on))


def refuse_not_in_force(agreement: Agreement) -> None:
    if agreement.state != AgreementState.IN_FORCE:
        raise Refused(_("%s is not in force.") % agreement.reference)


@transaction.atomic
def end_agreement(
    *, agreement: Agreement, on: date, why: str, released: str = "", by: User | None = None
) -> Agreement:
    """The agreement binds nobody from that day; responsibilities under it end. One that never came into force is withdrawn.

    `released` says from what somebody is released, where that was settled. A site that was agreed goes back to proposed
    where nothing else in force covers it; what is built stays built.

    Raises
    ------
    Refused : it has ended, the day is yet to come or before it began, or no reason is given.
    """
    why = refuse_empty(why)
    agreement = locked(agreement)
    if agreement.state == AgreementState.ENDED:
        raise Refused(_("%s has ended already.") % agreement.reference)
    refuse_future(on, _("That day is yet to come; write the end down when it is there."))
    was = agreement.state
    if was in OPEN_STATES:
        agreement.begins_on = None
    else:
        refuse_before(agreement, on)
    agreement.state, agreement.ends_on, agreement.ended_why = AgreementState.ENDED, on, why[:200]
    agreement.save()
    note(agreement, was=was, why=why, by=by)
    if released.strip():
        with book_language():
            note(agreement, why=_("Released: %s") % " ".join(released.split()), by=by)
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


def asked_sites(agreement: Agreement, sites: Collection[Site] | None) -> list[Site]:
    """The sites meant, of those that the agreement covers; all where none are named.

    Raises
    ------
    Refused : one of several is meant that is not built: nothing may be built there under what was signed any more.
    """
    covered = list(agreement.sites.order_by("pk"))
    if sites is None or set(covered) <= set(sites):
        return covered
    meant = [site for site in covered if site in set(sites)]
    if not meant:
        raise Refused(_("Say for which sites."))
    for site in meant:
        if site.stage not in (Stage.BUILT, Stage.RETIRED):
            raise Refused(
                _("%s is not built. End the agreement and write a new one without it.") % site.code
            )
    return meant


@transaction.atomic
def release(
    *,
    agreement: Agreement,
    on: date,
    why: str,
    sites: Collection[Site] | None = None,
    released: str = "",
    by: User | None = None,
) -> Agreement:
    """Somebody owes nothing any more at some of the sites of an agreement; at all of them: it ends.

    Raises
    ------
    Refused : as `end_agreement`; it is not in force; one of several sites is not built.
    """
    meant = asked_sites(agreement, sites)
    if len(meant) == agreement.sites.count():
        return end_agreement(agreement=agreement, on=on, why=why, released=released, by=by)
    why = refuse_empty(why)
    agreement = locked(agreement)
    refuse_not_in_force(agreement)
    refuse_future(on, _("That day is yet to come; write the end down when it is there."))
    refuse_before(agreement, on)
    rows = still_held(agreement.responsibilities.select_for_update(), on=on)
    close(rows.filter(site__in=meant), on=on, why=why)
    with book_language():
        codes = ", ".join(site.code for site in meant)
        note(
            agreement, why=_("Released at %(sites)s: %(why)s") % {"sites": codes, "why": why}, by=by
        )
        if released.strip():
            note(agreement, why=_("Released: %s") % " ".join(released.split()), by=by)
    return agreement


@transaction.atomic
def end_responsibility(
    *, responsibility: Responsibility, on: date, why: str, by: User | None = None
) -> Responsibility:
    """One responsibility ends before its agreement does.

    Raises
    ------
    Refused : it has ended by then, the day is before it began, or no reason is given.
    """
    why = refuse_empty(why)
    row = Responsibility.objects.select_for_update().get(pk=responsibility.pk)
    if row.ends_on and row.ends_on <= on:
        raise Refused(_("That had ended already, on %s.") % day_text(row.ends_on))
    if on < row.starts_on:
        raise Refused(_("It cannot end before it began on %s.") % day_text(row.starts_on))
    close([row], on=on, why=why)
    with book_language():
        words = _("%(role)s no longer: %(why)s") % {"role": row, "why": why}
    note(Agreement.objects.get(pk=row.agreement_id), why=words, by=by)
    return row


@transaction.atomic
def record_tenant_out(
    *, agreement: Agreement, on: date, owner_does: bool = True, by: User | None = None
) -> Agreement:
    """The tenant has moved out: what they promised ends that day. Owner or landlord do the work from then on, or nobody.

    The agreement itself goes on, since those with title signed it. A new tenant signs a new one (`renew_agreement`).

    Raises
    ------
    Refused : it is not in force, no tenant does the work under it, or the day is yet to come or before it began.
    """
    agreement = locked(agreement)
    refuse_not_in_force(agreement)
    refuse_future(on, _("That day is yet to come; write it down when they have moved out."))
    refuse_before(agreement, on)
    parties = agreement.parties
    held = still_held(agreement.responsibilities.select_for_update(), on=on)
    tenants = parties.filter(capacity=Capacity.TENANT)
    theirs = list(
        held.filter(role=ResponsibilityRole.DOES).filter(
            Q(person__in=tenants.values("person"))
            | Q(organisation__in=tenants.exclude(organisation=None).values("organisation"))
        )
    )
    if not theirs:
        raise Refused(_("No tenant does the work under %s.") % agreement.reference)
    with book_language():
        why = _("The tenant moved out")
        close(theirs, on=on, why=why)
        if owner_does:
            titled = parties.filter(capacity__in=TITLE, must_sign=True).order_by("pk")
            told = held.filter(role=ResponsibilityRole.TOLD, site__in={r.site_id for r in theirs})
            close(told, on=on, why=_("Does the work now"))
            for site_id in sorted({row.site_id for row in theirs}):
                for party in titled:
                    start(
                        agreement,
                        site_id=site_id,
                        role=ResponsibilityRole.DOES,
                        holder=holder_of(party),
                        on=on,
                        part=part_of(agreement, party),
                    )
            why = _("The tenant moved out; the owner does the work")
        note(agreement, why=why, by=by)
    return agreement


@transaction.atomic
def withdraw_consent(
    *, agreement: Agreement, on: date, why: str, by: User | None = None
) -> Agreement:
    """The landlord takes their consent back. A tenant cannot bind the ground alone, so the agreement ends that day.

    What is built stays built, and its sites stand among those that nobody is responsible for.

    Raises
    ------
    Refused : no landlord has signed it; or as `end_agreement`.
    """
    why = refuse_empty(why)
    landlords = agreement.parties.filter(capacity=Capacity.LANDLORD, signature__isnull=False)
    if not landlords.exists():
        raise Refused(_("No landlord has signed %s.") % agreement.reference)
    refuse_not_in_force(agreement)
    with book_language():
        words = _("The landlord withdrew their consent: %s") % why
    return end_agreement(agreement=agreement, on=on, why=words, by=by)
