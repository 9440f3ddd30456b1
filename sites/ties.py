"""What is written about a site's place in other people's books: parcels of the assessor, identifiers of other lists."""

from collections.abc import Sequence
from dataclasses import dataclass

from django.db import transaction
from django.utils.translation import gettext as _

from people.models import User
from sites.models import Basin, Parcel, Site, SiteEvent, SiteExternalId, SiteParcel
from stewardship.common.errors import Refused


@dataclass(frozen=True)
class Along:
    """A parcel that a site lies along, and the share of the frontage before it. [%]"""

    number: str
    county: str = ""
    share_percent: int | None = None


@dataclass(frozen=True)
class Elsewhere:
    """What another list calls a site, or with `basin` one basin of it."""

    kept_by: str
    value: str
    basin: Basin | None = None


@transaction.atomic
def set_parcels(*, site: Site, along: Sequence[Along], by: User | None = None) -> Site:
    """From now on the site lies along these parcels and no others. Parcels themselves stay in the book.

    Raises
    ------
    Refused : a parcel comes twice, or the shares add up to more than the whole frontage.
    """
    site = Site.objects.select_for_update().get(pk=site.pk)
    wanted: dict[tuple[str, str], Along] = {}
    for one in along:
        key = _squeezed(one.county), _squeezed(one.number)
        if key in wanted:
            raise Refused(_("Parcel %s is named twice.") % one.number)
        wanted[key] = one
    shares = sum(one.share_percent or 0 for one in along)
    if shares > 100:
        raise Refused(
            _("The shares of the frontage of %(site)s add up to %(sum)d %%: more than all of it.")
            % {"site": site.code, "sum": shares}
        )
    changed = False
    for tie in site.along.select_related("parcel"):
        one = wanted.pop((tie.parcel.county, tie.parcel.number), None)
        if one is None:
            tie.delete()
            changed = True
        elif one.share_percent != tie.share_percent:
            tie.share_percent = one.share_percent
            tie.save(update_fields=["share_percent"])
            changed = True
    for (county, number), one in wanted.items():
        parcel, _made = Parcel.objects.get_or_create(county=county, number=number)
        SiteParcel.objects.create(site=site, parcel=parcel, share_percent=one.share_percent)
        changed = True
    if changed:
        _note(site, _("Corrected: %s") % _("parcels"), by)
    return site


@transaction.atomic
def set_external_ids(*, site: Site, elsewhere: Sequence[Elsewhere], by: User | None = None) -> Site:
    """From now on these are all the names that other lists have for the site and its basins. One identifier means one thing.

    Raises
    ------
    Refused : an identifier stands for something else already, comes twice, or is of another site's basin.
    """
    site = Site.objects.select_for_update().get(pk=site.pk)
    wanted: dict[tuple[str, str], Elsewhere] = {}
    for one in elsewhere:
        key = _as_known(_squeezed(one.kept_by)), _squeezed(one.value)
        words = {"list": key[0], "value": key[1]}
        if key in wanted:
            raise Refused(_("“%(value)s” in the list of %(list)s is given twice.") % words)
        if one.basin is not None and one.basin.site_id != site.pk:
            raise Refused(_("Basin %s is not at this site.") % one.basin)
        other = SiteExternalId.objects.filter(kept_by=key[0], value=key[1]).exclude(site=site)
        taken = other.select_related("site", "basin__site").first()
        if taken:
            words["site"] = str(taken.basin or taken.site.code)
            raise Refused(_("“%(value)s” in the list of %(list)s means %(site)s already.") % words)
        wanted[key] = one
    changed = False
    for row in site.external_ids.all():
        one = wanted.pop((row.kept_by, row.value), None)
        if one is None:
            row.delete()
            changed = True
        elif row.basin_id != (one.basin.pk if one.basin else None):
            row.basin = one.basin
            row.save(update_fields=["basin"])
            changed = True
    for (kept_by, value), one in wanted.items():
        SiteExternalId.objects.create(site=site, basin=one.basin, kept_by=kept_by, value=value)
        changed = True
    if changed:
        _note(site, _("Corrected: %s") % _("what other lists call it"), by)
    return site


def known_lists() -> list[str]:
    """Names of lists that sites have identifiers of."""
    return list(
        SiteExternalId.objects.order_by("kept_by").values_list("kept_by", flat=True).distinct()
    )


def _as_known(name: str) -> str:
    """The name of a list as it is written already, whatever its capitals."""
    same = SiteExternalId.objects.filter(kept_by__iexact=name).values_list("kept_by", flat=True)
    return same.first() or name


def _squeezed(text: str) -> str:
    return " ".join(text.split())


def _note(site: Site, why: str, by: User | None) -> None:
    SiteEvent.objects.create(site=site, was=site.stage, became=site.stage, why=why, by=by)
