"""When a site becomes built (the gate), when it stands no more, and what others owe for digging it up."""

from datetime import date

from django.db import transaction
from django.db.models import Q
from django.db.models.functions import Greatest
from django.utils.translation import gettext as _

from people.models import User
from sites.choices import Stage
from sites.models import Site, SiteEvent
from stewardship.agreements.choices import AgreementState
from stewardship.agreements.models import Agreement, Pause, Responsibility, RestorationClaim
from stewardship.agreements.services._shared import note, refuse_future
from stewardship.agreements.services.ending import end_agreement, refuse_empty
from stewardship.agreements.services.holding import close, still_held
from stewardship.agreements.signals import site_retired
from stewardship.agreements.standing import build_blockers
from stewardship.common.errors import Refused
from stewardship.common.events import book_language
from stewardship.common.written import day_text


@transaction.atomic
def mark_built(*, site: Site, on: date, by: User | None = None) -> Site:
    """The works at the site were accepted on that day. Basins without a planting day start their first phase then.

    Raises
    ------
    Refused : an agreement that covers the site is missing, not in force on that day or not fully signed; nothing is written
        down of the works; the site is built or retired; the day is yet to come.
    """
    site = Site.objects.select_for_update().get(pk=site.pk)
    refuse_future(on, _("That day is yet to come; say when the works were accepted."))
    blockers = build_blockers(site=site, on=on)
    if blockers:
        raise Refused(" ".join(blockers))
    was = site.stage
    site.stage, site.built_on = Stage.BUILT, on
    site.save(update_fields=["stage", "built_on"])
    site.basins.filter(phase_from__isnull=True).update(phase_from=on)
    with book_language():
        _tell(site, _("Works accepted"), was=was, by=by)
    return site


@transaction.atomic
def retire_site(*, site: Site, on: date, why: str, by: User | None = None) -> Site:
    """The site stands no more, or will not be built: moved, dug up, revoked. Everything owed there ends that day.

    Agreements that cover nothing else end with it; duties that are open there are withdrawn (care listens).

    Raises
    ------
    Refused : it is retired, the day is yet to come or before it was built, or no reason is given.
    """
    why = refuse_empty(why)
    site = Site.objects.select_for_update().get(pk=site.pk)
    if site.stage == Stage.RETIRED:
        raise Refused(_("%s is retired already.") % site.code)
    refuse_future(on, _("That day is yet to come; write it down when it is there."))
    if site.built_on and on < site.built_on:
        raise Refused(
            _("It was built on %s, and cannot have gone before.") % day_text(site.built_on)
        )
    was = site.stage
    site.stage, site.retired_on = Stage.RETIRED, on
    site.save(update_fields=["stage", "retired_on"])
    _tell(site, why, was=was, by=by)
    for agreement in site.agreements.exclude(state=AgreementState.ENDED).order_by("pk"):
        _released(agreement, site, on=on, why=why, by=by)
    held = Responsibility.objects.select_for_update().filter(site=site)
    close(still_held(held, on=on), on=on, why=why)
    Pause.objects.filter(site=site).filter(Q(ends_on=None) | Q(ends_on__gt=on)).update(
        ends_on=Greatest("starts_on", on)
    )
    site_retired.send(sender=Site, site=site, on=on, why=why, by=by)
    return site


def _released(agreement: Agreement, site: Site, *, on: date, why: str, by: User | None) -> None:
    with book_language():
        said = _("%(site)s is retired: %(why)s") % {"site": site.code, "why": why}
    if agreement.sites.exclude(stage=Stage.RETIRED).exists():
        note(agreement, why=said, by=by)
        return
    day = max(on, agreement.begins_on) if agreement.state == AgreementState.IN_FORCE else on
    end_agreement(agreement=agreement, on=day, why=said, by=by)


def _tell(site: Site, why: str, *, was: str | None = None, by: User | None) -> None:
    SiteEvent.objects.create(
        site=site,
        was=site.stage if was is None else was,
        became=site.stage,
        why=why[:400],
        by=by,
    )


@transaction.atomic
def claim_restoration(
    *, site: Site, against: str, what: str, on: date, by: User | None = None
) -> RestorationClaim:
    """Somebody dug up or moved the works, and is asked that day to put them back.

    Raises
    ------
    Refused : it is not said of whom or what, or the day is yet to come.
    """
    against, what = " ".join(against.split()), what.strip()
    if not against or not what:
        raise Refused(_("Say who is asked, and what has to be put back."))
    refuse_future(on, _("That day is yet to come; write it down when they have been asked."))
    claim = RestorationClaim.objects.create(site=site, against=against[:160], what=what, made_on=on)
    with book_language():
        _tell(site, _("%s is asked to put the works back") % claim.against, by=by)
    return claim


@transaction.atomic
def settle_claim(
    *, claim: RestorationClaim, on: date, outcome: str, by: User | None = None
) -> RestorationClaim:
    """They put the works back, paid, or it came to nothing.

    Raises
    ------
    Refused : it is settled, it is not said how, or the day is before it was made or yet to come.
    """
    claim = (
        RestorationClaim.objects.select_for_update(of=("self",))
        .select_related("site")
        .get(pk=claim.pk)
    )
    outcome = " ".join(outcome.split())
    if claim.settled_on:
        raise Refused(_("That was settled already, on %s.") % day_text(claim.settled_on))
    if not outcome:
        raise Refused(_("Say in a few words how it was settled."))
    refuse_future(on, _("That day is yet to come; write it down when it is settled."))
    if on < claim.made_on:
        raise Refused(_("They were asked on %s only.") % day_text(claim.made_on))
    claim.settled_on, claim.outcome = on, outcome[:400]
    claim.save(update_fields=["settled_on", "outcome"])
    with book_language():
        words = {"who": claim.against, "how": claim.outcome}
        _tell(claim.site, _("Settled with %(who)s: %(how)s") % words, by=by)
    return claim
