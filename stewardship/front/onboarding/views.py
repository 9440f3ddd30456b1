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
from sites import services as site_services
from sites.forms import SiteForm
from sites.models import Site
from stewardship.agreements import services
from stewardship.agreements.models import Agreement
from stewardship.common.access import coordinator_required
from stewardship.front.onboarding import path
from stewardship.front.onboarding.forms import DutiesForm, TakeSiteForm, WhoForm
from stewardship.front.onboarding.offer import agreement_step
from stewardship.front.onboarding.shared import attempt, onward, step_page, told
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


def _where(request: HttpRequest, agreement: Agreement) -> HttpResponse:
    sites = list(agreement.sites.all())
    asked = request.GET.get("site", "")
    site = next((one for one in sites if one.code == asked), None)
    if site is None and asked != "new" and sites:
        site = sites[0]
    units = request.program.units
    does = request.POST.get("do", "")
    take = TakeSiteForm(request.POST if does == "take" else None, sites=path.free_sites(agreement))
    form = SiteForm(
        request.POST if request.method == "POST" and not does else None,
        instance=Site.objects.get(pk=site.pk) if site else None,
        initial={} if site else {"code": path.suggested_code()},
        units=units,
    )
    if does == "take" and take.is_valid():
        if attempt(
            take,
            lambda: path.take_site(
                agreement=agreement, site=take.cleaned_data["existing"], by=request.user
            ),
        ):
            return onward(request, agreement, "where")
    elif does == "leave":
        leaving = get_object_or_404(agreement.sites, code=request.POST.get("site", ""))
        if told(
            request, lambda: path.leave_site(agreement=agreement, site=leaving, by=request.user)
        ):
            messages.success(request, _("%s is no longer part of this agreement.") % leaving.code)
        return redirect("onboard_step", reference=agreement.reference, step="where")
    elif form.is_bound and form.is_valid():
        saved = attempt(form, lambda: _save_site(request, agreement, site, form))
        if saved:
            if not saved.has_place:
                messages.warning(
                    request,
                    _(
                        "%s has no coordinates yet: the rain there cannot be worked out until it has."
                    )
                    % saved.code,
                )
            return onward(request, agreement, "where")
    return step_page(
        request, agreement, "where", {"form": form, "take": take, "sites": sites, "site": site}
    )


def _save_site(
    request: HttpRequest, agreement: Agreement, site: Site | None, form: SiteForm
) -> Site:
    if site:
        return site_services.update_site(site=site, by=request.user, **form.facts())
    made = site_services.create_site(by=request.user, **form.facts())
    path.take_site(agreement=agreement, site=made, by=request.user)
    return made


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
    "where": _where,
    "works": works,
    "duties": _duties,
    "agreement": agreement_step,
}
