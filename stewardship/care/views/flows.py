"""Water that ran though no storm says so: the coordinator's list, the form for one or several sites, the decision."""

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_GET, require_POST

from sites.models import Site
from stewardship.care import services
from stewardship.care.forms.news import FlowWhyForm, WriteRanForm
from stewardship.care.models import FlowReport
from stewardship.common.access import coordinator_required
from stewardship.common.errors import Refused

#: How many settled reports stand under those that wait.
SETTLED_SHOWN = 30


@coordinator_required
@require_GET
def flow_reports(request: HttpRequest) -> HttpResponse:
    """Reports that wait, and the newest that were decided."""
    return _reports_page(request)


def _reports_page(
    request: HttpRequest, *, bound: dict[int, FlowWhyForm] | None = None, status: int = 200
) -> HttpResponse:
    bound = bound or {}
    held = FlowReport.objects.select_related("site", "person", "by", "decided_by", "duty")
    waiting = [
        (report, bound.get(report.pk) or FlowWhyForm(prefix=f"r{report.pk}"))
        for report in held.waiting().order_by("at")
    ]
    settled = held.exclude(decided_at=None).order_by("-decided_at")[:SETTLED_SHOWN]
    context = {"waiting": waiting, "settled": settled}
    return render(request, "care/flow_reports.html", context, status=status)


@coordinator_required
@require_POST
def flow_decide(request: HttpRequest, pk: int, decision: str) -> HttpResponse:
    """Ask for a look at that site, or set the report aside."""
    if decision not in ("act", "aside"):
        raise Http404
    report = get_object_or_404(FlowReport, pk=pk)
    form = FlowWhyForm(request.POST, prefix=f"r{pk}")
    if form.is_valid():
        facts = {"report": report, "why": form.cleaned_data["why"], "at": timezone.now()}
        try:
            if decision == "act":
                duty = services.act_on_flow(by=request.user, **facts)
                messages.success(request, _("A look at %s is asked for.") % report.site.code)
                return redirect("care:duty", pk=duty.pk)
            services.set_aside_flow(by=request.user, **facts)
        except Refused as no:
            form.add_error("why", str(no))
        else:
            messages.success(request, _("Set aside; nobody is asked."))
            return redirect("care:flow_reports")
    return _reports_page(request, bound={pk: form}, status=422)


@coordinator_required
def flow_new(request: HttpRequest) -> HttpResponse:
    """Write down what ran, for one or several sites; `?site=CODE` ticks one."""
    today, now = request.program.today(), timezone.now()
    sites = Site.objects.built(on=today).order_by("code")
    asked = sites.filter(code=request.GET.get("site", ""))
    form = WriteRanForm(
        request.POST or None, today=today, sites=sites, initial={"sites": list(asked)}
    )
    status = 200
    if request.method == "POST":
        if form.is_valid():
            act = request.POST.get("decision") == "act"
            try:
                recorded = services.record_flow(
                    act=act, at=now, by=request.user, **form.cleaned_data
                )
            except Refused as no:
                form.add_error(None, str(no))
            else:
                n = len(recorded.done)
                if n:
                    said = ngettext("Written down for %s site.", "Written down for %s sites.", n)
                    messages.success(request, said % n)
                for site, why in recorded.refused:
                    messages.error(request, f"{site.code}: {why}")
                return redirect("care:flow_reports")
        status = 422
    return render(request, "care/flow_new.html", {"form": form}, status=status)
