"""What stands still: pauses of people and sites, and disputes."""

from typing import Any

from django.contrib import messages
from django.db.models import Q
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_POST

from people.models import Person
from sites.models import Site
from stewardship.agreements.models import Dispute, Pause
from stewardship.agreements.services.disputing import answer_dispute, open_dispute
from stewardship.agreements.services.pausing import end_pause, pause_person
from stewardship.care.models import Duty
from stewardship.care.services import settle_dispute
from stewardship.care.services.pauses import follow_pauses
from stewardship.common.access import coordinator_required
from stewardship.common.errors import Refused
from stewardship.front.life_forms import (
    AnswerDisputeForm,
    DisputeForm,
    PauseForm,
    SettleForm,
    sites_of,
)
from stewardship.front.people_life import form_page, person_url

#: How many that are over stand below those that are not.
SHOWN = 15


@coordinator_required
@require_GET
def rests(request: HttpRequest) -> HttpResponse:
    """All pauses and disputes: those that stand or come first, then the newest that are over."""
    today = request.program.today()
    pauses = Pause.objects.select_related("site", "person", "cover")
    disputes = Dispute.objects.select_related("site", "person")
    standing = Q(ends_on=None) | Q(ends_on__gt=today)
    context = {
        "today": today,
        "pauses": pauses.filter(standing).order_by("starts_on", "pk"),
        "past_pauses": pauses.exclude(standing).order_by("-ends_on", "-pk")[:SHOWN],
        "disputes": disputes.filter(closed_on=None).order_by("opened_on", "pk"),
        "past_disputes": disputes.exclude(closed_on=None).order_by("-closed_on", "-pk")[:SHOWN],
    }
    return render(request, "front/rests.html", context)


@coordinator_required
def pause_new(request: HttpRequest, pk: int) -> HttpResponse:
    person = get_object_or_404(Person.objects.known(), pk=pk)
    today = request.program.today()

    def write(typed: dict[str, Any]) -> str:
        pause = pause_person(person=person, by=request.user, **typed)
        follow_pauses(on=today)
        if pause.cover:
            return _("%(cover)s covers for %(person)s.") % {
                "cover": pause.cover,
                "person": person,
            }
        return _("The pause of %s is written down.") % person

    initial = {"starts_on": today, "site": request.GET.get("site")}
    return form_page(
        request,
        PauseForm(request.POST or None, person=person, on=today, initial=initial),
        write,
        template="front/life_form.html",
        done=person_url(person),
        context={
            "person": person,
            "heading": _("%s cannot for a time") % person,
            "lede": _("When it is over, everything is as before by itself."),
            "button": _("Write the pause down"),
            "nothing": ""
            if sites_of(person, on=today).exists()
            else _("%s does the work at no site.") % person,
        },
    )


@coordinator_required
@require_POST
def pause_end(request: HttpRequest, pk: int) -> HttpResponse:
    pause = get_object_or_404(Pause.objects.select_related("site", "person"), pk=pk)
    today = request.program.today()
    try:
        end_pause(pause=pause, on=today, by=request.user)
    except Refused as no:
        messages.error(request, str(no))
    else:
        follow_pauses(on=today)
        messages.success(
            request, _("The pause of %s has ended.") % (pause.person or pause.site.code)
        )
    if pause.person:
        return redirect(person_url(pause.person))
    return redirect("site", code=pause.site.code)


@coordinator_required
def dispute_new(request: HttpRequest, code: str) -> HttpResponse:
    site = get_object_or_404(Site, code=code)
    today = request.program.today()

    def write(typed: dict[str, Any]) -> str:
        open_dispute(site=site, by=request.user, **typed)
        follow_pauses(on=today)
        return _("Written down. The clocks of %s stand still until it is settled.") % site.code

    return form_page(
        request,
        DisputeForm(request.POST or None, site=site, on=today, initial={"on": today}),
        write,
        template="front/life_form.html",
        done=reverse("site", args=[code]),
        context={
            "site": site,
            "heading": _("Something is disputed at %s") % site.code,
            "lede": _(
                "Until it is settled nobody is reminded, nothing is handed on, and no day counts as late. "
                "Both sides are kept."
            ),
            "button": _("Write it down"),
        },
    )


@coordinator_required
def dispute(request: HttpRequest, pk: int) -> HttpResponse:
    """Both sides, what stands still, and how to settle it."""
    found = get_object_or_404(Dispute.objects.select_related("site", "person", "entered_by"), pk=pk)
    today, does = request.program.today(), request.POST.get("does")
    answer = AnswerDisputeForm(
        request.POST if does == "answer" else None, initial={"answer": found.answer}
    )
    settle = SettleForm(request.POST if does == "settle" else None, initial={"on": today})
    status = 200
    if does in ("answer", "settle"):
        form = answer if does == "answer" else settle
        status = 422
        if form.is_valid():
            try:
                if does == "answer":
                    answer_dispute(dispute=found, **form.cleaned_data)
                    said = _("What we say is written down.")
                else:
                    settle_dispute(dispute=found, by=request.user, **form.cleaned_data)
                    said = _("Settled. Open duties are due so many days later as it stood.")
            except Refused as no:
                form.add_error(None, str(no))
            else:
                messages.success(request, said)
                return redirect("dispute", pk=pk)
    context = {
        "dispute": found,
        "answer": answer,
        "settle": settle,
        "duties": Duty.objects.open().filter(site=found.site) if not found.closed_on else [],
        "days": ((found.closed_on or today) - found.opened_on).days,
    }
    return render(request, "front/dispute.html", context, status=status)
