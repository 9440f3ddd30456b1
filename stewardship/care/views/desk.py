"""The late rain desk: what waits, one decision about many sites, the log of decisions, and what acts by itself."""

from typing import Any

from django.contrib import messages
from django.db.models import QuerySet
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.decorators import method_decorator
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_GET, require_POST

from stewardship.care import services
from stewardship.care.choices import RainAsk
from stewardship.care.desk import news
from stewardship.care.filters import DecisionFilter
from stewardship.care.forms.news import LateNewsForm, PickForm
from stewardship.care.models import FlowReport, LateNewsRule, RainQuestion
from stewardship.care.tables import DecisionTable
from stewardship.common.access import coordinator_required
from stewardship.common.lists import FilteredTableView
from stewardship.rain.models import Storm


@coordinator_required
@require_GET
def desk(request: HttpRequest) -> HttpResponse:
    """Late and unknown rain that waits for a decision, storm by storm."""
    return _desk_page(request)


def _desk_page(
    request: HttpRequest,
    *,
    bound: dict[tuple[int, str], PickForm] | None = None,
    rule_form: LateNewsForm | None = None,
    status: int = 200,
) -> HttpResponse:
    bound = bound or {}
    questions = RainQuestion.objects.open().select_related("site", "storm", "duty")
    storms = news(questions, program=request.program)
    parts = []
    for one in storms:
        groups = []
        for group in one.groups:
            key = (one.storm.pk, group.ask)
            form = bound.get(key) or PickForm(
                questions=[row.question for row in group.rows], prefix=_prefix(*key)
            )
            boxes = form.boxes()
            rows = [(row, boxes.get(str(row.question.pk))) for row in group.rows]
            groups.append({"group": group, "form": form, "rows": rows})
        parts.append({"news": one, "groups": groups})
    rule = LateNewsRule.objects.in_force(on=request.program.today())
    context = {
        "parts": parts,
        "rule": rule,
        "rule_form": rule_form
        or LateNewsForm(
            initial={"acts_alone_days": rule.acts_alone_days, "reports_act": rule.reports_act}
        ),
        "reports": FlowReport.objects.waiting().count(),
    }
    return render(request, "care/rain_desk.html", context, status=status)


def _prefix(storm_pk: int, ask: str) -> str:
    return f"s{storm_pk}-{ask}"


@coordinator_required
@require_POST
def decide(request: HttpRequest, storm: int, ask: str) -> HttpResponse:
    """One decision about the ticked sites of one storm, or all of them."""
    decision = request.POST.get("decision")
    if ask not in RainAsk.values or decision not in ("act", "leave"):
        raise Http404
    found = get_object_or_404(Storm, pk=storm)
    # Also those decided meanwhile: they are named instead of spoiling the form.
    questions = RainQuestion.objects.filter(storm=found, ask=ask).select_related("site")
    form = PickForm(request.POST, questions=questions, prefix=_prefix(storm, ask))
    if not form.is_valid():
        return _desk_page(request, bound={(storm, ask): form}, status=422)
    decided = services.decide_rain_questions(
        pks=form.pks,
        act=decision == "act",
        on=request.program.today(),
        by=request.user,
        note=form.cleaned_data["note"],
    )
    if decided.done:
        n = len(decided.done)
        messages.success(request, ngettext("Decided: %s site.", "Decided: %s sites.", n) % n)
    for question, why in decided.refused:
        messages.error(request, f"{question.site.code}: {why}")
    return redirect("care:rain_questions")


@coordinator_required
@require_POST
def late_news(request: HttpRequest) -> HttpResponse:
    """What acts by itself from today on."""
    form = LateNewsForm(request.POST)
    if not form.is_valid():
        return _desk_page(request, rule_form=form, status=422)
    services.change_late_news_rule(on=request.program.today(), **form.cleaned_data)
    messages.success(request, _("That holds from today on. What was decided stays as it is."))
    return redirect("care:rain_questions")


@method_decorator(coordinator_required, name="dispatch")
class DecisionLog(FilteredTableView):
    """Who decided what about late rain, when, why, and what followed."""

    model = RainQuestion
    table_class = DecisionTable
    filterset_class = DecisionFilter
    template_name = "care/rain_log.html"
    export_name = "late-rain-decisions"

    def get_queryset(self) -> QuerySet[RainQuestion]:
        return RainQuestion.objects.exclude(decided_at=None).select_related(
            "site", "storm", "duty", "decided_by"
        )

    def get_table_kwargs(self) -> dict[str, Any]:
        return {"program": self.request.program}
