"""Taking on a household: one path of five steps, each saved before the next is shown."""

from collections.abc import Callable

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_GET

from people.filters import PersonFilter
from people.models import Person
from stewardship.agreements import services
from stewardship.agreements.models import Agreement
from stewardship.common.access import coordinator_required
from stewardship.front.onboarding import path
from stewardship.front.onboarding.forms import DutiesForm, WhoForm
from stewardship.front.onboarding.offer import agreement_step
from stewardship.front.onboarding.shared import attempt, onward, step_page
from stewardship.front.onboarding.where import where
from stewardship.front.onboarding.works import works

#: How many people a search shows.
FOUND = 12


@coordinator_required
def start(request: HttpRequest) -> HttpResponse:
    """Step 1 of somebody new."""
    return _who(request, None)


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


def _who(request: HttpRequest, agreement: Agreement | None) -> HttpResponse:
    party = path.main_party(agreement) if agreement else None
    person = party.person if party else None
    chosen = request.POST.get("person") or request.GET.get("person", "")
    if chosen.isdecimal():
        person = get_object_or_404(Person, pk=chosen)
    if request.GET.get("person") == "new":
        person = None
    form = WhoForm(
        request.POST or None,
        person=person,
        initial=WhoForm.initial_for(agreement, person),
    )
    if request.method == "POST" and form.is_valid():
        saved = attempt(
            form,
            lambda: path.save_who(
                agreement=agreement,
                person=person,
                facts=form.facts(),
                capacity=form.cleaned_data["capacity"],
                landlord=form.landlord_facts(),
                by=request.user,
            ),
        )
        if saved:
            return onward(request, saved, "who")
    words = request.GET.get("q", "").strip()
    found = PersonFilter({"q": words}, Person.objects.select_related("household")).qs[:FOUND]
    return step_page(
        request,
        agreement,
        "who",
        {"form": form, "person": person, "q": words, "found": found if words else None},
    )


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
    schedule = path.shown_schedule(on=request.program.today(), program=request.program)
    return step_page(request, agreement, "duties", {"form": form, "schedule": schedule})


STEPS: dict[str, Callable[[HttpRequest, Agreement], HttpResponse]] = {
    "who": _who,
    "where": where,
    "works": works,
    "duties": _duties,
    "agreement": agreement_step,
}
