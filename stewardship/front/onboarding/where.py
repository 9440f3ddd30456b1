"""Step 2 of taking on a household: the frontage, by its address or by a tap on the map, and what other books say of it."""

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.utils.translation import gettext as _

from sites import services as site_services
from sites.forms import SiteForm
from sites.models import Site
from sites.tie_forms import SiteTies, save_site
from stewardship.agreements.models import Agreement
from stewardship.common.written import length_text
from stewardship.front.onboarding import path
from stewardship.front.onboarding.forms import TakeSiteForm
from stewardship.front.onboarding.ground_map import Point, ground_map, known_points
from stewardship.front.onboarding.shared import attempt, onward, step_page, told
from stewardship.hydrology.spread import haversine_m

#: [m] A place farther than this from everything else in the book is more likely a slip of the pen. No source.
FAR_M = 30_000
#: Fields of `SiteForm`, as they stand beside each other.
OPEN = (("address", "street"), ("code", "agency"))
PLACE = ("lat", "lon")
CARE = ("source_class", "collection_weekday", "cart_litres")


def where(request: HttpRequest, agreement: Agreement) -> HttpResponse:
    sites = list(agreement.sites.order_by("code"))
    asked = request.GET.get("site", "")
    site = next((one for one in sites if one.code == asked), None)
    if site is None and asked != "new" and sites:
        site = sites[0]
    does = request.POST.get("do", "")
    if does == "leave":
        return _leave(request, agreement)
    take = TakeSiteForm(request.POST if does == "take" else None, sites=path.free_sites(agreement))
    data = request.POST if request.method == "POST" and not does else None
    form = SiteForm(
        data,
        instance=Site.objects.get(pk=site.pk) if site else None,
        initial={} if site else _suggested(sites),
        units=request.program.units,
    )
    form.apart = [one for one in sites if one != site]
    ties = SiteTies(data, site)
    if does == "take" and take.is_valid():
        if attempt(
            take,
            lambda: path.take_site(
                agreement=agreement, site=take.cleaned_data["existing"], by=request.user
            ),
        ):
            return onward(request, agreement, "where")
    # both are asked, so that all there is to put right is said at once
    elif form.is_bound and all([form.is_valid(), ties.is_valid()]):
        saved = save_site(
            form, ties, lambda: _write(request, agreement, site, form), by=request.user
        )
        if saved:
            _warn_of_place(request, saved)
            if request.POST.get("then") == "another":
                return redirect(f"{_here(agreement)}?site=new")
            return onward(request, agreement, "where")
    return step_page(request, agreement, "where", _context(form, ties, take, sites, site))


def _here(agreement: Agreement) -> str:
    return redirect("onboard_step", reference=agreement.reference, step="where").url


def _context(
    form: SiteForm, ties: SiteTies, take: TakeSiteForm, sites: list[Site], site: Site | None
) -> dict[str, Any]:
    typed = [form[name].value() for name in PLACE]
    try:
        here = float(typed[0]), float(typed[1])
    except (TypeError, ValueError):
        here = None
    if here and not (-90 <= here[0] <= 90 and -180 <= here[1] <= 180):
        here = None
    return {
        "form": form,
        "open_rows": [[form[name] for name in row if name in form.fields] for row in OPEN],
        "place_row": [form[name] for name in PLACE],
        "care_row": [form[name] for name in CARE],
        "ground": ground_map(known_points(but=site), here=here),
        "ties": ties,
        "take": take,
        "sites": sites,
        "site": site,
    }


def _suggested(sites: list[Site]) -> dict[str, Any]:
    """The next free code; of a second frontage also what the first one says, since a corner lot has one cart and one crew."""
    initial: dict[str, Any] = {"code": path.suggested_code()}
    if sites:
        first = sites[0]
        initial |= {
            "address": first.address,
            "agency": first.agency_id,
            "source_class": first.source_class,
            "collection_weekday": first.collection_weekday,
            "cart_litres": first.cart_litres and float(first.cart_litres),
        }
    return initial


def _write(request: HttpRequest, agreement: Agreement, site: Site | None, form: SiteForm) -> Site:
    if site:
        return site_services.update_site(site=site, by=request.user, **form.facts())
    made = site_services.create_site(by=request.user, **form.facts())
    path.take_site(agreement=agreement, site=made, by=request.user)
    return made


def _leave(request: HttpRequest, agreement: Agreement) -> HttpResponse:
    leaving = get_object_or_404(agreement.sites, code=request.POST.get("site", ""))
    if told(request, lambda: path.leave_site(agreement=agreement, site=leaving, by=request.user)):
        messages.success(request, _("%s is no longer part of this agreement.") % leaving.code)
    return redirect("onboard_step", reference=agreement.reference, step="where")


def _warn_of_place(request: HttpRequest, site: Site) -> None:
    if not site.has_place:
        messages.warning(
            request,
            _("%s has no coordinates yet: the rain there cannot be worked out until it has.")
            % site.code,
        )
        return
    away_m = [_away_m(site, point) for point in known_points(but=site)]
    if away_m and min(away_m) > FAR_M:
        messages.warning(
            request,
            _("%(site)s lies %(far)s from everything else in the book. Are its coordinates right?")
            % {"site": site.code, "far": length_text(min(away_m), request.program.units)},
        )


def _away_m(site: Site, point: Point) -> float:
    return float(haversine_m(site.lat, site.lon, point.lat, point.lon))
