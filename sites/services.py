"""What is written about sites and their basins. No function here changes a site's stage."""

from typing import Any

from django.db import IntegrityError, transaction
from django.utils.translation import gettext as _

from people.models import User
from sites.choices import Stage
from sites.models import Basin, Inlet, Planting, SedimentTrap, Site, SiteEvent
from stewardship.common.errors import Refused

#: Facts of a site that `create_site` and `update_site` take; stage and its days have their own doors.
SITE_FACTS = frozenset(
    {
        "street",
        "address",
        "lat",
        "lon",
        "agency",
        "source_class",
        "collection_weekday",
        "cart_litres",
    }
)


def create_site(*, code: str, by: User | None = None, **facts: Any) -> Site:
    """A new site, proposed. `facts` are of `SITE_FACTS`.

    Raises
    ------
    Refused : the code is taken, or one coordinate is missing.
    """
    _check_facts(facts)
    taken = Refused(_("The code %s is taken by another site.") % code)
    if Site.objects.filter(code=code).exists():
        raise taken
    try:
        with transaction.atomic():
            site = Site.objects.create(code=code, stage=Stage.PROPOSED, **facts)
            SiteEvent.objects.create(site=site, became=Stage.PROPOSED, by=by)
    except IntegrityError:  # somebody else took it a moment ago
        raise taken from None
    return site


def update_site(*, site: Site, by: User | None = None, **facts: Any) -> Site:
    """Correct facts of a site; what changed is kept as an event. The stage stays as it is.

    Raises
    ------
    Refused : one coordinate is missing.
    """
    _check_facts(facts)
    with transaction.atomic():
        site = Site.objects.select_for_update().get(pk=site.pk)
        changed = [name for name, value in facts.items() if getattr(site, name) != value]
        if not changed:
            return site
        for name in changed:
            setattr(site, name, facts[name])
        if (site.lat is None) != (site.lon is None):
            raise Refused(_("Give latitude and longitude together, or neither."))
        site.save(update_fields=changed)
        words = ", ".join(str(Site._meta.get_field(name).verbose_name) for name in changed)
        SiteEvent.objects.create(
            site=site, was=site.stage, became=site.stage, why=_("Corrected: %s") % words, by=by
        )
    return site


def _check_facts(facts: dict[str, Any]) -> None:
    unknown = set(facts) - SITE_FACTS
    if unknown:
        raise TypeError(f"not facts of a site: {', '.join(sorted(unknown))}")
    if {"lat", "lon"} <= set(facts) and (facts["lat"] is None) != (facts["lon"] is None):
        raise Refused(_("Give latitude and longitude together, or neither."))


def add_basin(
    *,
    site: Site,
    inlet: dict[str, Any] | None = None,
    trap: dict[str, Any] | None = None,
    **facts: Any,
) -> Basin:
    """A basin at a site, with its first inlet and the trap in it where they are known.

    `facts` are the fields of `Basin`; `inlet` those of `Inlet`; `trap` those of `SedimentTrap`.

    Raises
    ------
    Refused : the site has a basin of that label, or the shape is no basin.
    """
    label = facts.get("label", "A")
    with transaction.atomic():
        # the site's row is the lock: two at once would both find the label free
        Site.objects.select_for_update().get(pk=site.pk)
        if site.basins.filter(label=label).exists():
            raise Refused(
                _("%(site)s already has a basin %(label)s.") % {"site": site.code, "label": label}
            )
        basin = Basin.objects.create(site=site, **facts)
        if inlet:
            add_inlet(basin=basin, trap=trap, **inlet)
    return basin


def update_basin(*, basin: Basin, **facts: Any) -> Basin:
    """Correct a basin's measures. Storms that were worked out with the old ones stay as they are."""
    return _update(Basin, basin.pk, facts)


def add_inlet(*, basin: Basin, trap: dict[str, Any] | None = None, **facts: Any) -> Inlet:
    """A curb cut or curb core of a basin, with the trap inside it where there is one."""
    with transaction.atomic():
        inlet = Inlet.objects.create(basin=basin, **facts)
        if trap:
            SedimentTrap.objects.create(inlet=inlet, **trap)
    return inlet


def update_inlet(*, inlet: Inlet, trap: dict[str, Any] | None = None, **facts: Any) -> Inlet:
    """Correct an inlet and its trap. A trap that has given silt is never removed, only corrected."""
    with transaction.atomic():
        inlet = _update(Inlet, inlet.pk, facts)
        if trap:
            SedimentTrap.objects.update_or_create(inlet=inlet, defaults=trap)
    return inlet


def add_planting(*, basin: Basin, **facts: Any) -> Planting:
    return Planting.objects.create(basin=basin, **facts)


def update_planting(*, planting: Planting, **facts: Any) -> Planting:
    """A new height or count of plants that stand in a basin."""
    return _update(Planting, planting.pk, facts)


def _update(model: type, pk: int, facts: dict[str, Any]) -> Any:
    with transaction.atomic():
        row = model.objects.select_for_update().get(pk=pk)
        for name, value in facts.items():
            setattr(row, name, value)
        row.save(update_fields=list(facts))
    return row
