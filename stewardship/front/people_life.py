"""What happens to a person: they died, are not written to, are written to again; who acts for them."""

from collections.abc import Callable
from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from people.agents import end_agent, name_agent
from people.models import Agent, Person
from people.silence import write_again
from stewardship.agreements.services.estates import name_estate
from stewardship.care.services import record_death, stop_writing
from stewardship.care.services.silence import what_would_stop
from stewardship.common.access import coordinator_required
from stewardship.common.errors import Refused
from stewardship.front.life_forms import (
    AgentForm,
    DiedForm,
    EstateForm,
    SilenceForm,
    WriteAgainForm,
)


def form_page(
    request: HttpRequest,
    form: forms.Form,
    write: Callable[[dict[str, Any]], str],
    *,
    template: str,
    done: str,
    context: dict[str, Any],
) -> HttpResponse:
    """A form that one service answers: `write` takes what was typed and gives the sentence to show; `done` is where to go."""
    status = 200
    if request.method == "POST":
        status = 422
        if form.is_valid():
            try:
                said = write(form.cleaned_data)
            except Refused as no:
                form.add_error(None, str(no))
            else:
                messages.success(request, said)
                return redirect(done)
    return render(request, template, {"form": form, "back": done} | context, status=status)


def _person(pk: int) -> Person:
    return get_object_or_404(Person.objects.known().select_related("household", "agency"), pk=pk)


@coordinator_required
def died(request: HttpRequest, pk: int) -> HttpResponse:
    """Says what stops before it is written down."""
    person, today = _person(pk), request.program.today()

    def write(typed: dict[str, Any]) -> str:
        record_death(person=person, by=request.user, **typed)
        return _("Written down. Nothing more is sent to %s.") % person

    return form_page(
        request,
        DiedForm(request.POST or None, initial={"on": today}),
        write,
        template="front/person_stops.html",
        done=person_url(person),
        context={
            "person": person,
            "died": True,
            "stops": what_would_stop(person, on=today),
            "heading": _("%s died") % person,
        },
    )


@coordinator_required
def silence(request: HttpRequest, pk: int) -> HttpResponse:
    person, today = _person(pk), request.program.today()

    def write(typed: dict[str, Any]) -> str:
        stop_writing(person=person, by=request.user, **typed)
        return _("Nobody writes to %s any more.") % person

    return form_page(
        request,
        SilenceForm(request.POST or None, initial={"on": today}),
        write,
        template="front/person_stops.html",
        done=person_url(person),
        context={
            "person": person,
            "died": False,
            "stops": what_would_stop(person, on=today),
            "heading": _("Do not write to %s") % person,
        },
    )


@coordinator_required
def again(request: HttpRequest, pk: int) -> HttpResponse:
    person = _person(pk)

    def write(typed: dict[str, Any]) -> str:
        write_again(person=person, by=request.user, **typed)
        return _("%s is written to again.") % person

    if person.died_on:
        lede = _("For a death that was written down by mistake. What ended with it stays ended.")
    else:
        lede = _("Letters go out again with the next thing that is due.")
    return form_page(
        request,
        WriteAgainForm(request.POST or None),
        write,
        template="front/life_form.html",
        done=person_url(person),
        context={
            "person": person,
            "heading": _("Write to %s again") % person,
            "lede": lede,
            "button": _("Write to them again"),
        },
    )


@coordinator_required
def estate(request: HttpRequest, pk: int) -> HttpResponse:
    person = _person(pk)

    def write(typed: dict[str, Any]) -> str:
        made = name_estate(person=person, by=request.user, **typed)
        return _("%(estate)s holds what %(person)s was responsible for.") % {
            "estate": made,
            "person": person,
        }

    form = EstateForm(request.POST or None, initial={"on": request.program.today()})
    form.fields["contact"].but(person)
    return form_page(
        request,
        form,
        write,
        template="front/life_form.html",
        done=person_url(person),
        context={
            "person": person,
            "heading": _("Who answers for the estate of %s") % person,
            "lede": _(
                "The estate holds the sites under the same agreements until somebody owns them. "
                "Letters about the care go to whom you name. Who inherits, a court decides."
            ),
            "button": _("Name them"),
        },
    )


@coordinator_required
def agent_new(request: HttpRequest, pk: int) -> HttpResponse:
    person = _person(pk)

    def write(typed: dict[str, Any]) -> str:
        row = name_agent(principal=person, **typed)
        return _("%(agent)s %(what)s.") % {
            "agent": row.agent,
            "what": row.get_scope_display(),
        }

    return form_page(
        request,
        AgentForm(
            request.POST or None, principal=person, initial={"starts_on": request.program.today()}
        ),
        write,
        template="front/life_form.html",
        done=person_url(person),
        context={
            "person": person,
            "heading": _("Who acts for %s") % person,
            "lede": _(
                "Letters go to where whoever handles them gets theirs, in their language; what they answer counts."
            ),
            "button": _("Name them"),
        },
    )


@coordinator_required
@require_POST
def agent_end(request: HttpRequest, pk: int) -> HttpResponse:
    row = get_object_or_404(Agent.objects.select_related("principal", "agent"), pk=pk)
    try:
        end_agent(row=row, on=request.program.today())
    except Refused as no:
        messages.error(request, str(no))
    else:
        messages.success(
            request,
            _("%(agent)s does not act for %(person)s any more.")
            % {"agent": row.agent, "person": row.principal},
        )
    return redirect(person_url(row.principal))


def person_url(person: Person) -> str:
    return reverse("person", args=[person.pk])
