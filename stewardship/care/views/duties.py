"""The coordinator's pages of duties, visits and verify-contact jobs. A reviewer sees proof of own sites."""

from collections import defaultdict
from typing import Any

from django.contrib import messages
from django.db.models import QuerySet
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.decorators import method_decorator
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from sites.models import Site
from stewardship.agreements.models import Agreement, Dispute, Responsibility
from stewardship.care import services, words
from stewardship.care.choices import DutyState
from stewardship.care.filters import DutyFilter
from stewardship.care.forms.work import CloseCheckForm, PutToForm, VisitForm, WhyForm
from stewardship.care.models import ContactCheck, Duty, FlowReport, RainQuestion, Reminder, Visit
from stewardship.care.services.asked import person_pauses
from stewardship.care.site_facts import basins_of, sheet_of
from stewardship.care.tables import DutyTable
from stewardship.common.access import coordinator_required, role_required
from stewardship.common.errors import Refused
from stewardship.common.lists import FilteredTableView


@method_decorator(coordinator_required, name="dispatch")
class DutyList(FilteredTableView):
    model = Duty
    table_class = DutyTable
    filterset_class = DutyFilter
    template_name = "care/duties.html"
    export_name = "duties"

    def get_queryset(self) -> QuerySet[Duty]:
        return Duty.objects.select_related(
            "site", "owed_by__person", "owed_by__agency", "owed_by__organisation"
        ).with_latest()

    def get_table_kwargs(self) -> dict[str, Any]:
        return {"today": self.request.program.today(), "units": self.request.program.units}

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        return super().get_context_data(
            checks=ContactCheck.objects.open().count(),
            questions=RainQuestion.objects.open().count(),
            reports=FlowReport.objects.waiting().count(),
            **kwargs,
        )


@coordinator_required
def duty(request: HttpRequest, pk: int) -> HttpResponse:
    return _duty_page(request, _duty_or_404(pk))


def _duty_or_404(pk: int) -> Duty:
    held = Duty.objects.select_related(
        "site", "rule", "owed_by__person", "owed_by__agency", "owed_by__organisation"
    )
    return get_object_or_404(held, pk=pk)


def _duty_page(request: HttpRequest, duty: Duty, *, status: int = 200, **bound) -> HttpResponse:
    program = request.program
    sheet = sheet_of(duty)
    is_open = duty.state == DutyState.OPEN
    today = program.today()
    dispute = Dispute.objects.open(on=today).filter(site=duty.site_id).first()
    context = {
        "duty": duty,
        "is_open": is_open,
        "is_late": is_open and duty.due_on < today and dispute is None,
        "dispute": dispute if is_open else None,
        "pauses": person_pauses([duty.site_id], on=today).values() if is_open else [],
        "why": words.why_text(duty, program.units),
        "rains": [words.rain_text(r, program.units) for r in duty.reason.get("rains", [])],
        "tasks": words.task_texts(sheet.checklist, program.units),
        "hours": sheet.checklist.minutes / 60,
        "reminders": duty.reminders.select_related("person", "agent", "message"),
        "answers": duty.answers.select_related("person", "agent", "visit"),
        "visits": duty.visits.select_related("done_by", "done_by_agency"),
        "events": duty.events.select_related("by"),
        "question": duty.rain_questions.open().first(),
    }
    if is_open:
        context |= {
            "excuse": WhyForm(prefix="excuse"),
            "withdraw": WhyForm(prefix="withdraw"),
            "put_to": PutToForm(duty=duty, on=program.today(), prefix="put_to"),
        }
    return render(request, "care/duty.html", context | bound, status=status)


@coordinator_required
@require_POST
def duty_act(request: HttpRequest, pk: int, action: str) -> HttpResponse:
    """Excuse, withdraw, remind again, put to somebody."""
    duty, today, now = _duty_or_404(pk), request.program.today(), timezone.now()
    if action not in ("excuse", "withdraw", "remind", "put_to"):
        raise Http404
    form = None
    if action in ("excuse", "withdraw"):
        form = WhyForm(request.POST, prefix=action)
    elif action == "put_to":
        form = PutToForm(request.POST, duty=duty, on=today, prefix=action)
    if form is not None and not form.is_valid():
        return _duty_page(request, duty, status=422, **{action: form})
    try:
        if action == "excuse":
            services.excuse_duty(duty=duty, why=form.cleaned_data["why"], on=today, by=request.user)
            told = _("Excused. Letters that still waited are taken back.")
        elif action == "withdraw":
            services.withdraw_duty(
                duty=duty, why=form.cleaned_data["why"], on=today, by=request.user
            )
            told = _("Withdrawn. Letters that still waited are taken back.")
        elif action == "remind":
            services.remind_again(duty=duty, at=now, by=request.user)
            told = _("Another letter is in the outbox.")
        else:
            person = form.cleaned_data["person"]
            services.put_to(duty=duty, person=person, at=now, by=request.user)
            told = _("%s is asked; the letter is in the outbox.") % person
    except Refused as error:
        messages.error(request, str(error))
    else:
        messages.success(request, told)
    return redirect("care:duty", pk=pk)


@coordinator_required
@require_POST
def came_back(request: HttpRequest, pk: int) -> HttpResponse:
    """Somebody holds a letter that came back."""
    reminder = get_object_or_404(Reminder.objects.select_related("message"), pk=pk)
    services.came_back(
        message=reminder.message, on=request.program.today(), note=_("The letter came back")
    )
    messages.success(
        request, _("The address gets no more letters, and there is a job to find them.")
    )
    return redirect("care:duty", pk=reminder.duty_id)


@coordinator_required
def visit_new(request: HttpRequest, code: str) -> HttpResponse:
    site = get_object_or_404(Site, code=code)
    basins = basins_of(site)
    form = VisitForm(
        request.POST or None,
        site=site,
        basins=basins,
        on=request.program.today(),
        units=request.program.units,
        initial={"duty": request.GET.get("duty")},
    )
    status = 200
    if request.method == "POST":
        if form.is_valid():
            try:
                visit = services.record_visit(site=site, by=request.user, **form.facts())
            except Refused as error:
                form.add_error(None, str(error))
            else:
                messages.success(request, _("The visit is written down."))
                return redirect("care:visit", pk=visit.pk)
        status = 422
    return render(request, "care/visit_new.html", {"site": site, "form": form}, status=status)


@role_required("coordinator", "reviewer")
def visit(request: HttpRequest, pk: int) -> HttpResponse:
    """What a visit found. A reviewer sees those at own sites, without who did it and without its note.

    The remarks on findings are for the agency; the form says so.
    """
    visits = Visit.objects.select_related("site", "duty", "done_by", "done_by_agency", "entered_by")
    sees_all = request.user.is_coordinator
    if not sees_all:
        visits = visits.filter(site__in=Site.objects.of_agencies(request.user.agencies()))
    visit = get_object_or_404(visits, pk=pk)
    context = {
        "visit": visit,
        "sees_all": sees_all,
        "findings": visit.findings.select_related("basin"),
        "clean_outs": visit.clean_outs.select_related("trap__inlet__basin"),
        "entered_later": visit.entered_at.astimezone(request.program.tz).date() > visit.happened_on,
    }
    return render(request, "care/visit.html", context)


@coordinator_required
def checks(request: HttpRequest) -> HttpResponse:
    return _checks_page(request)


def _checks_page(request: HttpRequest, *, bound: dict | None = None, status: int = 200):
    bound = bound or {}
    open_checks = ContactCheck.objects.open().select_related("person", "site")
    held = (
        Responsibility.objects.as_of(request.program.today())
        .filter(person__in=open_checks.values("person"), site__in=open_checks.values("site"))
        .select_related("agreement")
        .order_by("agreement_id")
    )
    under: dict[tuple[int, int], dict[int, Agreement]] = defaultdict(dict)
    for one in held:
        under[one.person_id, one.site_id][one.agreement_id] = one.agreement
    jobs = [
        {
            "check": check,
            "form": bound.get(check.pk) or CloseCheckForm(prefix=f"c{check.pk}"),
            "agreements": list(under[check.person_id, check.site_id].values()),
        }
        for check in open_checks.prefetch_related("person__contact_points")
    ]
    closed = ContactCheck.objects.exclude(closed_at=None).select_related("person", "closed_by")
    context = {"jobs": jobs, "closed": closed.order_by("-closed_at")[:10]}
    return render(request, "care/checks.html", context, status=status)


@coordinator_required
@require_POST
def check_close(request: HttpRequest, pk: int) -> HttpResponse:
    check = get_object_or_404(ContactCheck, pk=pk)
    form = CloseCheckForm(request.POST, prefix=f"c{pk}")
    if not form.is_valid():
        return _checks_page(request, bound={pk: form}, status=422)
    try:
        services.close_contact_check(
            check=check, outcome=form.cleaned_data["outcome"], by=request.user
        )
    except Refused as error:
        messages.error(request, str(error))
    else:
        messages.success(request, _("Settled: %s.") % check.person)
    return redirect("care:checks")
