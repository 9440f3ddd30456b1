"""What a coordinator says a storm was at a site, and taking it back."""

from django.contrib import messages
from django.db import transaction
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_POST

from sites.models import Site
from stewardship.care.forms.news import DeclareForm
from stewardship.care.services.book import first_day_of, last_day_of
from stewardship.common.access import coordinator_required
from stewardship.common.errors import Refused
from stewardship.rain.models import DeclaredRain, Storm
from stewardship.rain.services import declare_rain, withdraw_declared_rain


@coordinator_required
def declare(request: HttpRequest, storm: int) -> HttpResponse:
    """Say what the storm was at one or several sites; `?site=CODE` ticks one."""
    found = get_object_or_404(Storm.objects.standing(), pk=storm)
    zone = request.program.tz
    sites = Site.objects.filter(rains__storm=found).order_by("code")
    asked = sites.filter(code=request.GET.get("site", ""))
    form = DeclareForm(
        request.POST or None,
        sites=sites,
        units=request.program.units,
        initial={"sites": list(asked)},
    )
    status = 200
    if request.method == "POST":
        if form.is_valid():
            try:
                with transaction.atomic():
                    for site in form.cleaned_data["sites"]:
                        declare_rain(
                            storm=found,
                            site=site,
                            depth_um=form.depth_um,
                            typed=form.typed,
                            reason=form.cleaned_data["reason"],
                            by=request.user,
                        )
            except Refused as no:
                form.add_error(None, str(no))
            else:
                n = len(form.cleaned_data["sites"])
                said = ngettext("Declared for %s site.", "Declared for %s sites.", n) % n
                messages.success(request, said)
                return redirect("storm", pk=storm)
        status = 422
    said = DeclaredRain.objects.filter(storm=found).select_related("site", "by", "withdrawn_by")
    context = {
        "storm": found,
        "first": first_day_of(found, zone),
        "last": last_day_of(found, zone),
        "form": form,
        "rains": found.site_rains.select_related("site").order_by("site__code"),
        "declared": said,
    }
    return render(request, "care/declare.html", context, status=status)


@coordinator_required
@require_POST
def declared_withdraw(request: HttpRequest, pk: int) -> HttpResponse:
    """The gauges speak for the site again."""
    declared = get_object_or_404(DeclaredRain, pk=pk)
    withdraw_declared_rain(declared=declared, by=request.user)
    messages.success(request, _("Taken back: the gauges speak for %s again.") % declared.site.code)
    return redirect("storm", pk=declared.storm.merged_into_id or declared.storm_id)
