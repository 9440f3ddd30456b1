"""A coordinator's word of what a storm was at a site, where the gauges do not know or got it wrong."""

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from people.models import Program
from sites.models import Site
from stewardship.common.errors import Refused
from stewardship.rain.models import DeclaredRain, SiteRain, Storm
from stewardship.rain.reckoning.finding import find_in, widened
from stewardship.rain.reckoning.record import dry_gaps
from stewardship.rain.services.storms import lock_gauges


def declare_rain(
    *, storm: Storm, site: Site, depth_um: int, typed: str, reason: str, by
) -> DeclaredRain:
    """From now on the storm was `depth_um` (µm; 0 is dry) at the site, in every later revision too. `typed`: as given, with its unit.

    The same word twice is one; another depth or reason takes the place of the earlier one, which is kept as withdrawn.

    Raises
    ------
    Refused
        No reason is given, the storm does not stand any more, or the site did not stand during it.
    """
    if not reason.strip():
        raise Refused(_("Say how you know."))
    with transaction.atomic():
        lock_gauges()
        storm = Storm.objects.select_for_update(of=("self",)).get(pk=storm.pk)
        if storm.withdrawn_at:
            raise Refused(_("With later readings this storm does not stand any more."))
        if not SiteRain.objects.filter(storm=storm, site=site).exists():
            raise Refused(_("%s did not stand during this storm.") % site.code)
        before = DeclaredRain.objects.standing().filter(storm=storm, site=site).first()
        if before and (before.depth_um, before.reason) == (depth_um, reason.strip()):
            return before
        if before:
            before.withdrawn_at, before.withdrawn_by = timezone.now(), by
            before.save(update_fields=["withdrawn_at", "withdrawn_by"])
        said = DeclaredRain.objects.create(
            storm=storm, site=site, depth_um=depth_um, typed=typed, reason=reason.strip(), by=by
        )
        _settle(storm)
        # The same depth for another reason changes no figure, but the words of what is due.
        SiteRain.objects.filter(storm=storm, site=site).update(weighed_at=None)
    return said


def withdraw_declared_rain(*, declared: DeclaredRain, by) -> DeclaredRain:
    """The gauges speak for the site again. The word stays in the record as withdrawn; withdrawn twice is withdrawn once."""
    with transaction.atomic():
        lock_gauges()
        declared = (
            DeclaredRain.objects.select_for_update(of=("self",))
            .select_related("storm__merged_into", "site")
            .get(pk=declared.pk)
        )
        if declared.withdrawn_at is None:
            declared.withdrawn_at, declared.withdrawn_by = timezone.now(), by
            declared.save(update_fields=["withdrawn_at", "withdrawn_by"])
            _settle(declared.storm.merged_into or declared.storm)
    return declared


def _settle(storm: Storm) -> None:
    """The storm's rain at every site anew; care rules look again where it changed."""
    program = Program.get()
    gaps = dry_gaps(program)
    span = widened(storm.start_s, storm.end_s, gaps)
    find_in(span, program=program, gaps=gaps, why=_("Rain was declared at a site."))
