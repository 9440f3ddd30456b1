"""The gate: when a site becomes built."""

from datetime import date

from django.db import transaction
from django.utils.translation import gettext as _

from people.models import User
from sites.choices import Stage
from sites.models import Site, SiteEvent
from stewardship.agreements.services._shared import refuse_future
from stewardship.agreements.standing import build_blockers
from stewardship.common.errors import Refused


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
    SiteEvent.objects.create(site=site, was=was, became=site.stage, why=_("Works accepted"), by=by)
    return site
