"""Step 1 of taking on a household: who they are, who signs with or for them, who lets them the place."""

from typing import Any

from django.contrib import messages
from django.db import transaction
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.utils.translation import gettext as _

from people import services as people
from people.agents import name_agent
from people.choices import AgentScope, ContactRole
from people.filters import PersonFilter
from people.models import Agent, Organisation, OrganisationContact, Person, Program, User
from people.organisations import add_contact, write_down_organisation
from stewardship.agreements import services
from stewardship.agreements.choices import Capacity
from stewardship.agreements.models import Agreement, Party
from stewardship.front.onboarding import path
from stewardship.front.onboarding.shared import attempt, onward, step_page, told
from stewardship.front.onboarding.who_page import Acts, WhoPage

#: How many people a search shows.
FOUND = 12
Somebody = Person | dict[str, Any]


def who(request: HttpRequest, agreement: Agreement | None) -> HttpResponse:
    if agreement and request.POST.get("do") == "unname":
        return _take_out(request, agreement)
    party = path.main_party(agreement) if agreement else None
    person = party.person if party else None
    chosen = request.POST.get("person") or request.GET.get("person", "")
    if chosen.isdecimal():
        person = get_object_or_404(Person.objects.known(), pk=chosen)
    if request.GET.get("person") == "new":
        person = None
    page = WhoPage(request.POST if request.method == "POST" else None, agreement, person)
    if request.method == "POST" and page.is_valid():
        saved = attempt(page.main, lambda: save_who(agreement, person, page, by=request.user))
        if saved and request.POST.get("then") == "another":
            return redirect("onboard_step", reference=saved.reference, step="who")
        if saved:
            return onward(request, saved, "who")
    words = request.GET.get("q", "").strip()
    found = PersonFilter({"q": words}, Person.objects.known().select_related("household")).qs
    return step_page(
        request,
        agreement,
        "who",
        {
            "page": page,
            "person": person,
            "beside": path.beside_parties(agreement) if agreement else [],
            "agents": Agent.objects.on(request.program.today())
            .filter(principal=person)
            .select_related("agent")
            if person
            else [],
            "q": words,
            "found": found[:FOUND] if words else None,
        },
    )


def _take_out(request: HttpRequest, agreement: Agreement) -> HttpResponse:
    asked = request.POST.get("party", "")
    party = get_object_or_404(agreement.parties, pk=asked if asked.isdecimal() else None)
    if told(request, lambda: services.remove_party(party=party, by=request.user)):
        messages.success(request, _("%s does not sign any more.") % party.person)
    return redirect("onboard_step", reference=agreement.reference, step="who")


@transaction.atomic
def save_who(
    agreement: Agreement | None, person: Person | None, page: WhoPage, *, by: User
) -> Agreement:
    """Write down everybody on the page, and name them in the agreement. Begins the draft at the first time.

    Raises
    ------
    Refused : as the services of people and agreements.
    """
    facts, capacity = page.main.facts(), page.capacity
    if person is None:
        person = people.add_person(**facts)
    else:
        person = people.update_person(person=person, **facts)
    body = _body(page.main.body(), person)
    if agreement is None:
        agreement = services.draft_agreement(
            instrument=path.OFFERS[Capacity(capacity)][0], language=person.language, by=by
        )
    agreement = _name_main(agreement, person, capacity, body, by=by)
    _name_landlord(agreement, page.landlord_who(), by=by)
    for one in page.also_who() if capacity in (Capacity.OWNER, Capacity.TENANT) else []:
        services.add_party(agreement=agreement, person=_saved(one), capacity=capacity, by=by)
    acts = page.acts()
    if acts:
        _name_agent(agreement, person, acts, by=by)
    return Agreement.objects.get(pk=agreement.pk)


def _saved(one: Somebody) -> Person:
    return one if isinstance(one, Person) else people.add_person(**one)


def _body(body: Organisation | tuple[str, str] | None, person: Person) -> Organisation | None:
    """The organisation, written down if it is new, with the person as one who signs for it."""
    if body is None:
        return None
    if isinstance(body, tuple):
        body = write_down_organisation(name=body[0], kind=body[1])
    today = Program.get().today()
    signing = OrganisationContact.objects.on(today).filter(
        organisation=body, person=person, role=ContactRole.SIGNS
    )
    if not signing.exists():
        add_contact(organisation=body, person=person, role=ContactRole.SIGNS, starts_on=today)
    return body


def _name_main(
    agreement: Agreement,
    person: Person,
    capacity: str,
    body: Organisation | None,
    *,
    by: User,
) -> Agreement:
    """The main party as it is now; if it was another, those beside it are named again behind it, in the new capacity."""
    before = path.main_party(agreement)
    kept = (
        before is not None
        and (before.person, before.capacity) == (person, capacity)
        and before.organisation_id == (body.pk if body else None)
    )
    if kept:
        return agreement
    beside = path.beside_parties(agreement)
    leaving: list[Party] = [*beside, *([before] if before else [])]
    if capacity != Capacity.TENANT:
        leaving += agreement.parties.filter(capacity=Capacity.LANDLORD)
    for party in leaving:
        services.remove_party(party=party, by=by)
    if agreement.instrument not in path.OFFERS[Capacity(capacity)]:
        agreement = services.change_draft(
            agreement=agreement, instrument=path.OFFERS[Capacity(capacity)][0], by=by
        )
    services.add_party(
        agreement=agreement, person=person, capacity=capacity, organisation=body, by=by
    )
    if capacity in (Capacity.OWNER, Capacity.TENANT):
        for party in beside:
            if party.person != person:
                services.add_party(
                    agreement=agreement,
                    person=party.person,
                    capacity=capacity,
                    organisation=party.organisation,
                    by=by,
                )
    return agreement


def _name_landlord(agreement: Agreement, landlord: Somebody | None, *, by: User) -> None:
    if landlord is None:
        return
    before = path.landlord_party(agreement)
    if before and before.person == landlord:
        return
    if before:
        services.remove_party(party=before, by=by)
    services.add_party(
        agreement=agreement, person=_saved(landlord), capacity=Capacity.LANDLORD, by=by
    )


def _name_agent(agreement: Agreement, person: Person, acts: Acts, *, by: User) -> None:
    agent, today = _saved(acts.who), Program.get().today()
    if acts.letters:
        name_agent(principal=person, agent=agent, scope=AgentScope.LETTERS, starts_on=today)
    if acts.signs:
        name_agent(
            principal=person,
            agent=agent,
            scope=AgentScope.SIGNS,
            authority=acts.authority,
            starts_on=today,
        )
        party = path.main_party(agreement)
        if party:
            services.let_sign(party=party, agent=agent, by=by)
