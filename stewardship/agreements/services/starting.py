"""When everybody has signed: the agreement comes into force, and who is responsible from then on."""

from django.utils.translation import gettext as _

from people.models import User
from sites.choices import Stage
from sites.models import Site, SiteEvent
from stewardship.agreements import instruments
from stewardship.agreements.choices import AgreementState
from stewardship.agreements.models import Agreement
from stewardship.agreements.services._shared import note
from stewardship.agreements.services.holding import holder_of, part_of, start
from stewardship.agreements.services.requirements import ask_usual
from stewardship.agreements.services.superseding import end_superseded
from stewardship.agreements.standing import parties_of, signers
from stewardship.common.events import book_language


def bring_into_force(agreement: Agreement, *, by: User | None) -> None:
    """The agreement binds from now on: its days, the sites' stage, who is responsible, what papers are asked for.

    One whose place it takes ends the day it begins. Called with the agreement locked.
    """
    parties = parties_of(agreement)
    facts = signers(parties)
    was = agreement.state
    begins = instruments.begins_on(facts, agreement.begins_on)
    agreement.state, agreement.begins_on = AgreementState.IN_FORCE, begins
    agreement.ends_on = instruments.ends_on(agreement.instrument, begins)
    agreement.save(update_fields=["state", "begins_on", "ends_on"])
    with book_language():
        note(agreement, was=was, why=_("Signed by everybody it needs"), by=by)
    sites = list(agreement.sites.select_for_update().order_by("pk"))
    for site in sites:
        if site.stage == Stage.PROPOSED:
            _agreed(site, agreement, by=by)
    end_superseded(agreement, by=by)
    roles = [
        (one.role, holder_of(parties[one.index]), part_of(agreement, parties[one.index]))
        for one in instruments.responsibilities(agreement.instrument, facts)
    ]
    for site in sites:
        held = {}
        for role, holder, part in roles:
            held.setdefault((role, holder), []).append(part)
        for (role, holder), parts in held.items():
            start(
                agreement,
                site_id=site.pk,
                role=role,
                holder=holder,
                on=begins,
                part="; ".join(dict.fromkeys(filter(None, parts)))[:160],
            )
    ask_usual(agreement, by=by)


def _agreed(site: Site, agreement: Agreement, *, by: User | None) -> None:
    site.stage = Stage.AGREED
    site.save(update_fields=["stage"])
    with book_language():
        SiteEvent.objects.create(
            site=site,
            was=Stage.PROPOSED,
            became=site.stage,
            why=_("%s is in force") % agreement.reference,
            by=by,
        )
