"""The rules of storm finding, and storms found again because somebody asks."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_POST

from stewardship.common.access import coordinator_required
from stewardship.common.errors import Refused
from stewardship.common.written import day_text
from stewardship.rain import services
from stewardship.rain.forms.rules import FindAgainForm, RainRuleForm
from stewardship.rain.models import Gauge, RainRule, StormSearch
from stewardship.rain.times import HOUR_S

SHOWN_SEARCHES = 10


@coordinator_required
def rules(request: HttpRequest) -> HttpResponse:
    program = request.program
    form = RainRuleForm(request.POST or None, program=program)
    if request.method == "POST" and form.is_valid():
        try:
            rule = services.add_rain_rule(by=request.user, **form.facts())
        except Refused as refusal:
            form.add_error("starts_on", str(refusal))
        else:
            messages.success(
                request,
                _("The rule holds from %s on. Past storms stay as they are.")
                % day_text(rule.starts_on),
            )
            return redirect("rain:rules")
    rows = RainRule.objects.select_related("by", "withdrawn_by").order_by("-starts_on", "-pk")
    in_force = RainRule.objects.in_force(on=program.today())
    return render(
        request,
        "rain/rules.html",
        {
            "form": form,
            "in_force": in_force,
            "in_force_hours": f"{in_force.dry_gap_s / HOUR_S:g}",
            "rows": [(rule, f"{rule.dry_gap_s / HOUR_S:g}") for rule in rows],
        },
    )


@coordinator_required
@require_POST
def take_out(request: HttpRequest, pk: int) -> HttpResponse:
    rule = get_object_or_404(RainRule, pk=pk)
    try:
        services.withdraw_rain_rule(rule=rule, by=request.user)
    except Refused as refusal:
        messages.error(request, str(refusal))
    else:
        messages.success(request, _("The rule is taken out. Past storms stay as they are."))
    return redirect("rain:rules")


@coordinator_required
def find_again(request: HttpRequest) -> HttpResponse:
    form = FindAgainForm(
        request.POST or None,
        program=request.program,
        initial={name: request.GET.get(name, "") for name in ("since", "why")},
    )
    if request.method == "POST" and form.is_valid():
        try:
            asked = services.find_again(by=request.user, **form.span())
        except Refused as refusal:
            form.add_error(None, str(refusal))
        else:
            messages.success(request, _said(asked))
            return redirect("rain:find_again")
    return render(
        request,
        "rain/find_again.html",
        {
            "form": form,
            "gauge": Gauge.objects.filter(code=request.GET.get("gauge", "")).first(),
            "searches": StormSearch.objects.select_related("by")[:SHOWN_SEARCHES],
        },
    )


def _said(asked: StormSearch) -> str:
    if asked.done_at is None:
        return _("It is long, so it is done piece by piece. Below you see how far it has come.")
    if not asked.storms and not asked.rains:
        return _("All storms of these days were found as they were; nothing changed.")
    storms = ngettext("%d storm changed", "%d storms changed", asked.storms) % asked.storms
    rains = (
        ngettext(
            "rain at sites changed in %d place", "rain at sites changed in %d places", asked.rains
        )
        % asked.rains
    )
    return _("Done: %(storms)s, %(rains)s.") % {"storms": storms, "rains": rains}
