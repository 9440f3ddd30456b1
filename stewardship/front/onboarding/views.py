"""Taking on a household: one path of five steps, each saved before the next is shown."""

from collections.abc import Callable

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_GET

from stewardship.agreements import services
from stewardship.agreements.models import Agreement
from stewardship.care.expected import expected_load
from stewardship.common.access import coordinator_required
from stewardship.front.onboarding import path
from stewardship.front.onboarding.forms import DutiesForm
from stewardship.front.onboarding.offer import agreement_step
from stewardship.front.onboarding.shared import attempt, onward, step_page
from stewardship.front.onboarding.where import where
from stewardship.front.onboarding.who import who
from stewardship.front.onboarding.works import works


@coordinator_required
def start(request: HttpRequest) -> HttpResponse:
    """Step 1 of somebody new."""
    return who(request, None)


@coordinator_required
@require_GET
def resume(request: HttpRequest, reference: str) -> HttpResponse:
    """On to the first step that is not done."""
    agreement = get_object_or_404(Agreement, reference=reference)
    return redirect("onboard_step", reference=reference, step=path.next_step(agreement))


@coordinator_required
def step(request: HttpRequest, reference: str, step: str) -> HttpResponse:
    agreement = get_object_or_404(Agreement.objects.select_related("wording"), reference=reference)
    if agreement.state not in services.OPEN_STATES:
        messages.info(request, _("%s is signed; here is what became of it.") % reference)
        return redirect("agreements:detail", pk=agreement.pk)
    if step not in path.step_names(agreement):
        raise Http404
    return STEPS[step](request, agreement)


def _duties(request: HttpRequest, agreement: Agreement) -> HttpResponse:
    form = DutiesForm(request.POST if request.method == "POST" else None, agreement=agreement)
    if request.method == "POST" and form.is_valid():
        ticked = form.ticked()
        groups = attempt(
            form,
            lambda: services.show_duties(agreement=agreement, groups=ticked, by=request.user),
        )
        if groups is not None:
            left = len(form.fields) - len(ticked)
            if left:
                messages.warning(
                    request,
                    ngettext(
                        "Saved. %d duty has not been talked about yet.",
                        "Saved. %d duties have not been talked about yet.",
                        left,
                    )
                    % left,
                )
            return onward(request, agreement, "duties")
    today = request.program.today()
    return step_page(
        request,
        agreement,
        "duties",
        {
            "form": form,
            "schedule": path.shown_schedule(on=today, program=request.program),
            "loads": [expected_load(site, today) for site in agreement.sites.order_by("code")],
        },
    )


STEPS: dict[str, Callable[[HttpRequest, Agreement], HttpResponse]] = {
    "who": who,
    "where": where,
    "works": works,
    "duties": _duties,
    "agreement": agreement_step,
}
