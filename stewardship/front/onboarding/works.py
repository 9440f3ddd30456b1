"""Step 3 of taking on a household: the basins, what they hold, and what an inch of rain would do."""

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.utils.translation import gettext as _

from sites import services as site_services
from sites.forms import InletForm
from sites.models import Basin, Site
from sites.water import SHOWN_STORM_MM, USUAL_LIP_M, capacities
from stewardship.agreements.models import Agreement
from stewardship.front.onboarding import path
from stewardship.front.onboarding.forms import PlannedBasinForm
from stewardship.front.onboarding.shared import attempt, onward, step_page, told


def works(request: HttpRequest, agreement: Agreement) -> HttpResponse:
    sites = list(agreement.sites.order_by("code"))
    if not sites:
        messages.info(request, _("Say first where it will be."))
        return redirect("onboard_step", reference=agreement.reference, step="where")
    basins = Basin.objects.filter(site__in=sites).select_related("site")
    if request.POST.get("do") == "remove":
        return _remove_basin(request, agreement, basins)
    asked = request.GET.get("basin", "")
    basin = get_object_or_404(basins, pk=asked) if asked.isdecimal() else None
    site = basin.site if basin else _chosen_site(request, sites, basins)
    form, inlet_form = _basin_forms(request, site, basin)
    if request.method == "POST" and request.POST.get("do") != "on":
        # both are asked, so that all there is to put right is said at once
        if all([form.is_valid(), inlet_form.is_valid()]) and attempt(
            form, lambda: _save_basin(site, basin, form, inlet_form)
        ):
            messages.success(request, _("Basin %s is saved.") % form.cleaned_data["label"])
            return redirect("onboard_step", reference=agreement.reference, step="works")
    elif request.method == "POST":
        return onward(request, agreement, "works")
    planned = list(basins.prefetch_related("inlets__trap").order_by("site__code", "label"))
    return step_page(
        request,
        agreement,
        "works",
        {
            "form": form,
            "inlet_form": inlet_form,
            "basin": basin,
            "site": site,
            "sites": sites,
            "planned": capacities(planned),
            "bare": [one for one in sites if one.pk not in {b.site_id for b in planned}],
            "shown_storm_mm": SHOWN_STORM_MM,
            "usual_lip_m": USUAL_LIP_M,
            "adding": bool(asked) or bool(form.errors or inlet_form.errors) or not planned,
        },
    )


def _chosen_site(request: HttpRequest, sites: list[Site], basins: Any) -> Site:
    asked = request.GET.get("site", "")
    have = set(basins.values_list("site_id", flat=True))
    bare = next((one for one in sites if one.pk not in have), sites[0])
    return next((one for one in sites if one.code == asked), bare)


def _basin_forms(
    request: HttpRequest, site: Site, basin: Basin | None
) -> tuple[PlannedBasinForm, InletForm]:
    data = request.POST if request.method == "POST" and not request.POST.get("do") else None
    units = request.program.units
    label = chr(ord("A") + min(site.basins.count(), 25))
    form = PlannedBasinForm(
        data, site=site, units=units, instance=basin, initial={} if basin else {"label": label}
    )
    inlet = basin.inlets.order_by("pk").first() if basin else None
    return form, InletForm(data, units=units, instance=inlet, prefix="inlet")


def _save_basin(
    site: Site, basin: Basin | None, form: PlannedBasinForm, inlet_form: InletForm
) -> Basin:
    facts, inlet, trap = form.cleaned_data, inlet_form.facts(), inlet_form.trap()
    if basin is None:
        return site_services.add_basin(site=site, inlet=inlet, trap=trap, **facts)
    kept = site_services.update_basin(basin=basin, **facts)
    first = basin.inlets.order_by("pk").first()
    if first:
        site_services.update_inlet(inlet=first, trap=trap, **inlet)
    else:
        site_services.add_inlet(basin=basin, trap=trap, **inlet)
    return kept


def _remove_basin(request: HttpRequest, agreement: Agreement, basins: Any) -> HttpResponse:
    asked = request.POST.get("basin", "")
    basin = get_object_or_404(basins, pk=asked if asked.isdecimal() else None)
    words = str(basin)
    if told(request, lambda: path.remove_basin(basin=basin)):
        messages.success(request, _("Basin %s is taken out.") % words)
    return redirect("onboard_step", reference=agreement.reference, step="works")
