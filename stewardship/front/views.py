"""Pages that join apps: home, today, one site, one storm."""

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.db.models import Q
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_POST

from people.merging import merges_of
from people.models import Membership
from sites.choices import Phase
from sites.models import Site, SiteEvent
from stewardship.agreements.services import mark_built
from stewardship.common.access import coordinator_required
from stewardship.common.errors import Refused
from stewardship.front.forms import AsOfForm, BuiltForm
from stewardship.front.needs import what_needs_me
from stewardship.front.site_page import LIMIT_DRAIN_H, USUAL_DRAIN_H, little_map, site_page
from stewardship.front.storm_page import storm_page
from stewardship.front.storms import storm_in_short
from stewardship.rain.models import Storm


@require_GET
def home(request: HttpRequest) -> HttpResponse:
    """Everybody's way in: to the page that each came for."""
    user = request.user
    if not user.is_authenticated:
        return redirect("account_login")
    if user.is_coordinator:
        return redirect("today")
    if user.is_reviewer:
        return redirect("reports:compliance")
    if user.is_reader:
        return redirect("rain:reading_new")
    return redirect("welcome")


@login_required
@require_GET
def welcome(request: HttpRequest) -> HttpResponse:
    """For a volunteer, what there is; for a log-in without a part to play, whom to ask."""
    volunteer = None
    if request.user.is_volunteer and request.user.person:
        volunteer = getattr(request.user.person, "volunteer", None)
    coordinators = [held.user for held in Membership.objects.coordinators()]
    return render(
        request,
        "front/welcome.html",
        {"volunteer": volunteer, "coordinators": coordinators, "today": request.program.today()},
    )


@coordinator_required
@require_GET
def today(request: HttpRequest) -> HttpResponse:
    now = timezone.now()
    storm = Storm.objects.standing().order_by("-start_s").first()
    return render(
        request,
        "front/today.html",
        {
            "today": request.program.today(),
            "sections": what_needs_me(program=request.program, now=now, user=request.user),
            "short": storm_in_short(storm) if storm else None,
        },
    )


@coordinator_required
@require_GET
def site(request: HttpRequest, code: str) -> HttpResponse:
    return _site_page(request, code, BuiltForm(initial={"on": request.program.today()}))


def _site_page(
    request: HttpRequest, code: str, built_form: BuiltForm, status: int = 200
) -> HttpResponse:
    found = get_object_or_404(Site.objects.select_related("agency", "merged_into"), code=code)
    today = request.program.today()
    asked = request.GET.get("on", "")
    form = AsOfForm({"on": asked} if asked else None, initial={"on": today})
    on = form.cleaned_data["on"] if form.is_bound and form.is_valid() else today
    page = site_page(found, program=request.program, on=on)
    merges = list(merges_of(found))
    both = SiteEvent.objects.filter(Q(site=found) | Q(site__merged_into=found))
    return render(
        request,
        "front/site.html",
        {
            "site": found,
            "page": page,
            "map": little_map(found, page.gauges),
            "along": found.along.select_related("parcel"),
            "elsewhere": found.external_ids.select_related("basin__site"),
            "sketches": [(view, view.svg(request.program.units)) for view in page.basins],
            "merges": merges,
            "both": both.select_related("site", "by").order_by("-at", "-pk") if merges else [],
            "phase": Phase(found.phase(on=today)).label,
            "cart_m3": found.cart_litres / 1000 if found.cart_litres else None,
            "on": on,
            "today": today,
            "form": form,
            "built_form": built_form,
            "usual_h": USUAL_DRAIN_H,
            "limit_h": LIMIT_DRAIN_H,
        },
        status=status,
    )


@coordinator_required
@require_POST
def site_build(request: HttpRequest, code: str) -> HttpResponse:
    """Mark a site built; the gate says no in words when an agreement is missing."""
    found = get_object_or_404(Site, code=code)
    form = BuiltForm(request.POST)
    if form.is_valid():
        try:
            mark_built(site=found, on=form.cleaned_data["on"], by=request.user)
        except Refused as refusal:
            form.add_error("on", str(refusal))
        else:
            messages.success(request, _("%s is built. Its planting starts settling in.") % code)
            return redirect("site", code=code)
    return _site_page(request, code, form, status=422)


@coordinator_required
@require_GET
def storm(request: HttpRequest, pk: int) -> HttpResponse:
    found = get_object_or_404(Storm.objects.select_related("merged_into", "split_from"), pk=pk)
    return render(request, "front/storm.html", storm_page(found, program=request.program))
