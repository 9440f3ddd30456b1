"""Which site is perhaps in the book already: by its address text, or because it lies close by. Offered, never decided."""

from dataclasses import dataclass

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from people.alike import ADDRESS_WORDS, OFFERED
from sites.models import Site
from stewardship.common.addresses import AddressWhy, address_likeness
from stewardship.hydrology.spread import haversine_m

#: [m] Two sites closer than this may be one frontage; common practice, no source.
CLOSE_M = 30


@dataclass(frozen=True)
class AlikeSite:
    """A site that may be meant: why by its address (None: not by that), and how far off [m] (None: not close)."""

    site: Site
    why: AddressWhy | None
    off_m: float | None

    @property
    def words(self) -> list[str | Promise]:
        return [
            *([ADDRESS_WORDS[self.why]] if self.why else []),
            *([_("close by")] if self.off_m is not None else []),
        ]


def sites_alike(
    *,
    address: str = "",
    lat: float | None = None,
    lon: float | None = None,
    but: Site | None = None,
) -> list[AlikeSite]:
    """Sites that may be meant, the likeliest first, at most `OFFERED`. Coordinates in degrees."""
    known = Site.objects.known()
    if but is not None:
        known = known.exclude(pk=but.pk)
    found = []
    for site in known:
        why = address_likeness(address, site.address)
        off_m = None
        if lat is not None and lon is not None and site.has_place:
            distance_m = float(haversine_m(lat, lon, site.lat, site.lon))
            off_m = distance_m if distance_m <= CLOSE_M else None
        if why or off_m is not None:
            found.append(AlikeSite(site, why, off_m))
    order = [*AddressWhy, None]
    found.sort(key=lambda one: (order.index(one.why), one.off_m is None, one.off_m))
    return found[:OFFERED]
