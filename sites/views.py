from copy import copy
from typing import Any

from django.contrib import messages
from django.db.models import Count, QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.decorators import method_decorator
from django.utils.translation import gettext as _

from sites import services
from sites.filters import SiteFilter
from sites.forms import BasinForm, InletForm, PlantingForm, SiteForm
from sites.models import Basin, Inlet, Planting, Site
from sites.tables import SiteTable
from sites.tie_forms import SiteTies, save_site
from stewardship.common.access import coordinator_required
from stewardship.common.lists import FilteredTableView


@method_decorator(coordinator_required, name="dispatch")
class SiteList(FilteredTableView):
    model = Site
    table_class = SiteTable
    filterset_class = SiteFilter
    template_name = "sites/list.html"
    export_name = "sites"

    def get_queryset(self) -> QuerySet[Site]:
        return (
            Site.objects.known()
            .select_related("agency")
            .with_youngest(on=self.request.program.today())
            .annotate(basin_count=Count("basins", distinct=True))
        )

    def get_table_kwargs(self) -> dict[str, Any]:
        return {"today": self.request.program.today()}


def _form_page(
    request: HttpRequest, form, *, heading: str, site: Site | None, ties: SiteTies | None = None
) -> HttpResponse:
    return render(
        request,
        "sites/form.html",
        {"form": form, "heading": heading, "site": site, "ties": ties},
    )


def _say_saved(request: HttpRequest, site: Site) -> None:
    if site.has_place:
        messages.success(request, _("%s is saved.") % site.code)
    else:
        messages.warning(
            request,
            _(
                "%s is saved without coordinates: no gauge can speak for it, and its rain stays unknown until it has them."
            )
            % site.code,
        )


@coordinator_required
def new(request: HttpRequest) -> HttpResponse:
    form = SiteForm(request.POST or None, units=request.program.units)
    ties = SiteTies(request.POST or None, None)
    # both are asked, so that all there is to put right is said at once
    if request.method == "POST" and all([form.is_valid(), ties.is_valid()]):
        site = save_site(
            form,
            ties,
            lambda: services.create_site(by=request.user, **form.facts()),
            by=request.user,
        )
        if site:
            _say_saved(request, site)
            return redirect("site", code=site.code)
    return _form_page(request, form, heading=_("New site"), site=None, ties=ties)


@coordinator_required
def edit(request: HttpRequest, code: str) -> HttpResponse:
    site = get_object_or_404(Site, code=code)
    # a copy for the form, which writes what was typed into it before anything is decided
    form = SiteForm(request.POST or None, instance=copy(site), units=request.program.units)
    ties = SiteTies(request.POST or None, site)
    if request.method == "POST" and all([form.is_valid(), ties.is_valid()]):
        saved = save_site(
            form,
            ties,
            lambda: services.update_site(site=site, by=request.user, **form.facts()),
            by=request.user,
        )
        if saved:
            _say_saved(request, saved)
            return redirect("site", code=site.code)
    return _form_page(request, form, heading=_("Correct %s") % code, site=site, ties=ties)


@coordinator_required
def basin_new(request: HttpRequest, code: str) -> HttpResponse:
    site = get_object_or_404(Site, code=code)
    units = request.program.units
    label = chr(ord("A") + min(site.basins.count(), 25))
    form = BasinForm(request.POST or None, site=site, units=units, initial={"label": label})
    if request.method == "POST" and form.is_valid():
        basin = services.add_basin(site=site, **form.cleaned_data)
        messages.success(request, _("Basin %s is saved. Now its inlet.") % basin.label)
        return redirect("sites:inlet_new", pk=basin.pk)
    return _form_page(request, form, heading=_("New basin at %s") % code, site=site)


@coordinator_required
def basin_edit(request: HttpRequest, pk: int) -> HttpResponse:
    basin = get_object_or_404(Basin.objects.select_related("site"), pk=pk)
    heading = _("Correct basin %s") % basin
    form = BasinForm(
        request.POST or None, instance=basin, site=basin.site, units=request.program.units
    )
    if request.method == "POST" and form.is_valid():
        services.update_basin(basin=basin, **form.cleaned_data)
        messages.success(
            request, _("Basin %s is corrected. Past storms keep the figures they had.") % basin
        )
        return redirect("site", code=basin.site.code)
    return _form_page(request, form, heading=heading, site=basin.site)


def _say_lip(request: HttpRequest, trap: dict[str, float] | None) -> None:
    if trap and trap["lip_below_inlet_m"] <= 0:
        messages.warning(
            request,
            _("The lip is not below the inlet: water stays out. That is a construction fault."),
        )


@coordinator_required
def inlet_new(request: HttpRequest, pk: int) -> HttpResponse:
    basin = get_object_or_404(Basin.objects.select_related("site"), pk=pk)
    form = InletForm(request.POST or None, units=request.program.units)
    if request.method == "POST" and form.is_valid():
        services.add_inlet(basin=basin, trap=form.trap(), **form.facts())
        _say_lip(request, form.trap())
        messages.success(request, _("The inlet of basin %s is saved.") % basin)
        return redirect("site", code=basin.site.code)
    return _form_page(request, form, heading=_("New inlet of basin %s") % basin, site=basin.site)


@coordinator_required
def inlet_edit(request: HttpRequest, pk: int) -> HttpResponse:
    inlet = get_object_or_404(Inlet.objects.select_related("basin__site", "trap"), pk=pk)
    site = inlet.basin.site
    form = InletForm(request.POST or None, instance=inlet, units=request.program.units)
    if request.method == "POST" and form.is_valid():
        services.update_inlet(inlet=inlet, trap=form.trap(), **form.facts())
        _say_lip(request, form.trap())
        messages.success(request, _("The inlet of basin %s is corrected.") % inlet.basin)
        return redirect("site", code=site.code)
    heading = _("Correct the inlet of basin %s") % inlet.basin
    return _form_page(request, form, heading=heading, site=site)


@coordinator_required
def planting_new(request: HttpRequest, pk: int) -> HttpResponse:
    basin = get_object_or_404(Basin.objects.select_related("site"), pk=pk)
    form = PlantingForm(
        request.POST or None,
        units=request.program.units,
        initial={"measured_on": request.program.today()},
    )
    if request.method == "POST" and form.is_valid():
        planting = services.add_planting(basin=basin, **form.cleaned_data)
        messages.success(request, _("%s is saved.") % planting)
        return redirect("site", code=basin.site.code)
    return _form_page(request, form, heading=_("Plants in basin %s") % basin, site=basin.site)


@coordinator_required
def planting_edit(request: HttpRequest, pk: int) -> HttpResponse:
    planting = get_object_or_404(Planting.objects.select_related("basin__site"), pk=pk)
    site = planting.basin.site
    form = PlantingForm(request.POST or None, instance=planting, units=request.program.units)
    if request.method == "POST" and form.is_valid():
        services.update_planting(planting=planting, **form.cleaned_data)
        messages.success(request, _("%s is saved.") % planting)
        return redirect("site", code=site.code)
    heading = _("Measure the plants in basin %s") % planting.basin
    return _form_page(request, form, heading=heading, site=site)
