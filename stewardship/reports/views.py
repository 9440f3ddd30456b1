from typing import Any

from django.contrib import messages
from django.db.models import QuerySet
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.decorators import method_decorator
from django.utils.functional import cached_property
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_POST
from django_tables2 import RequestConfig

from people.models import Agency
from sites.models import Site
from stewardship.common.access import coordinator_required, role_required
from stewardship.common.errors import Refused
from stewardship.common.lists import FilteredTableView, csv_response
from stewardship.reports import services
from stewardship.reports.choices import UNDER_WAY, ReportState
from stewardship.reports.filters import ComplianceFilter
from stewardship.reports.forms import AsOfForm, ReportForm
from stewardship.reports.models import Report
from stewardship.reports.paper import value_text
from stewardship.reports.proof import proof_of
from stewardship.reports.standing import KNOWN_FOR_DAYS, standing
from stewardship.reports.tables import ComplianceTable, ReportTable

READERS = ("coordinator", "reviewer")


def own_sites(request: HttpRequest) -> QuerySet[Site]:
    """All sites for a coordinator, those of the reviewer's agencies for a reviewer."""
    if request.user.is_coordinator:
        return Site.objects.all()
    return Site.objects.of_agencies(request.user.agencies())


@method_decorator(role_required(*READERS), name="dispatch")
class Compliance(FilteredTableView):
    model = Site
    table_class = ComplianceTable
    filterset_class = ComplianceFilter
    template_name = "reports/compliance.html"
    export_name = "compliance"

    @cached_property
    def agencies(self) -> list[Agency]:
        """Whose sites this log-in may choose between."""
        user = self.request.user
        return list(Agency.objects.all() if user.is_coordinator else user.agencies())

    def get_queryset(self) -> QuerySet[Site]:
        typed = self.request.GET.get("days", "")
        days = int(typed) if typed.isdecimal() and 0 < int(typed) <= 3650 else KNOWN_FOR_DAYS
        return standing(
            own_sites(self.request), on=self.request.program.today(), known_for_days=days
        ).select_related("agency")

    def get_table_kwargs(self) -> dict[str, Any]:
        return {"one_agency": not self.request.user.is_coordinator and len(self.agencies) == 1}

    def get_filterset_kwargs(self, filterset_class: type) -> dict[str, Any]:
        own = Agency.objects.filter(pk__in=[agency.pk for agency in self.agencies])
        return super().get_filterset_kwargs(filterset_class) | {"agencies": own}

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        context = super().get_context_data(**kwargs)
        rows = list(self.object_list.values_list("condition", "agreement_state", "late_duties"))
        return context | {
            "today": self.request.program.today(),
            "agencies": self.agencies,
            "tally": {
                "built": len(rows),
                "in_force": sum(row[1] == "in_force" for row in rows),
                "wanting": sum(row[0] in ("act", "unsafe") for row in rows),
                "unknown": sum(row[0] == "unknown" for row in rows),
            },
        }


@role_required(*READERS)
@require_GET
def proof(request: HttpRequest, code: str) -> HttpResponse:
    """What can be shown about one site; another agency's site is not there."""
    today = request.program.today()
    site = get_object_or_404(own_sites(request).select_related("agency"), code=code)
    form = AsOfForm(request.GET if "on" in request.GET else None, initial={"on": today})
    on = today
    if form.is_bound and form.is_valid():
        on = form.cleaned_data["on"] or today
    stood = standing(own_sites(request).filter(pk=site.pk), on=today).first()
    return render(
        request,
        "reports/proof.html",
        {
            "site": site,
            "stood": stood,
            "proof": proof_of(site, on=on, today=today),
            "on": on,
            "form": form,
            "today": today,
        },
    )


@role_required(*READERS)
@require_GET
def report_list(request: HttpRequest) -> HttpResponse:
    return _list_page(request, ReportForm(today=request.program.today()))


def _list_page(request: HttpRequest, form: ReportForm, status: int = 200) -> HttpResponse:
    reports = Report.objects.readable_by(request.user).defer("content", "figures")
    table = ReportTable(reports.select_related("agency"))
    RequestConfig(request, paginate={"per_page": 25}).configure(table)
    under_way = reports.filter(state__in=UNDER_WAY).count()
    return render(
        request,
        "reports/list.html",
        {"table": table, "form": form, "under_way": under_way},
        status=status,
    )


@coordinator_required
@require_POST
def new(request: HttpRequest) -> HttpResponse:
    today = request.program.today()
    form = ReportForm(request.POST, today=today)
    if form.is_valid():
        try:
            services.request_report(today=today, by=request.user, **form.cleaned_data)
        except Refused as refusal:
            form.add_error("ends_on", str(refusal))
        else:
            messages.success(
                request, _("The report is asked for. It is built within a minute; look again then.")
            )
            return redirect("reports:list")
    return _list_page(request, form, status=422)


def _readable(request: HttpRequest, pk: int) -> Report:
    reports = Report.objects.readable_by(request.user).select_related("agency")
    return get_object_or_404(reports.defer("content"), pk=pk)


def _shown(figure: dict[str, Any], units: str) -> dict[str, Any]:
    """A frozen figure with its value and amounts in words, in the program's units."""
    rows = [
        row | {"text": value_text(row["amount"], figure["unit"], units)} for row in figure["rows"]
    ]
    return figure | {"text": value_text(figure["value"], figure["unit"], units), "rows": rows}


@role_required(*READERS)
@require_GET
def detail(request: HttpRequest, pk: int) -> HttpResponse:
    """A report's state and, once issued, its frozen figures with the rows behind each."""
    report = _readable(request, pk)
    groups = []
    if report.state == ReportState.ISSUED:
        units = request.program.units
        groups = [
            (group["title"], [_shown(figure, units) for figure in group["figures"]])
            for group in report.figures["groups"]
        ]
    return render(request, "reports/detail.html", {"report": report, "groups": groups})


@role_required(*READERS)
@require_GET
def file(request: HttpRequest, pk: int) -> HttpResponse:
    """The PDF as issued."""
    report = _readable(request, pk)
    if report.state != ReportState.ISSUED:
        raise Http404
    name = f"basins-{report.starts_on}-{report.ends_on}-{report.language}.pdf"
    return HttpResponse(
        bytes(report.content),
        content_type="application/pdf",
        headers={"Content-Disposition": f'inline; filename="{name}"'},
    )


@role_required(*READERS)
@require_GET
def rows(request: HttpRequest, pk: int) -> HttpResponse:
    """Every dated row behind the figures of an issued report, as CSV."""
    report = _readable(request, pk)
    if report.state != ReportState.ISSUED:
        raise Http404

    def lines():
        yield ["figure", "basis", "unit", "day", "site", "what", "amount"]
        for group in report.figures["groups"]:
            for figure in group["figures"]:
                for row in figure["rows"]:
                    yield [
                        figure["label"],
                        figure["basis"],
                        figure["unit"],
                        row["day"],
                        row["site"],
                        row["what"],
                        row["amount"],
                    ]

    return csv_response(lines(), name=f"rows-{report.starts_on}-{report.ends_on}")
