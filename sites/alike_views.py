"""Which sites and households are perhaps in the book already, as a piece of page that a script shows beside the field."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_GET

from people.alike import households_alike
from people.models import Household
from sites.alike import sites_alike
from sites.models import Site
from stewardship.common.access import coordinator_required

#: Longest address [characters] that is looked up.
LONGEST = 300


@coordinator_required
@require_GET
def alike(request: HttpRequest) -> HttpResponse:
    """Sites at or near `address`, `lat`, `lon`, and households at the address.

    `but`: the code of the site that is being corrected; `but_household`: the key of the household.
    """
    asked = request.GET
    address = asked.get("address", "").strip()[:LONGEST]
    lat, lon = _degrees(asked.get("lat", ""), 90), _degrees(asked.get("lon", ""), 180)
    household = asked.get("but_household", "")
    return render(
        request,
        "sites/_alike.html",
        {
            "sites": sites_alike(
                address=address,
                lat=lat,
                lon=lon,
                but=Site.objects.filter(code=asked.get("but", "")).first(),
            ),
            "households": households_alike(
                address=address,
                but=Household.objects.filter(pk=household).first()
                if household.isdecimal()
                else None,
            ),
        },
    )


def _degrees(text: str, most: float) -> float | None:
    """The number that was typed; None while it is not (yet) one on earth."""
    try:
        value = float(text)
    except ValueError:
        return None
    return value if abs(value) <= most else None
