"""Who handles somebody's letters, and who signs for them."""

from collections.abc import Iterable
from datetime import date

from django.db import transaction
from django.db.models import Q
from django.utils.translation import gettext as _

from people.choices import AgentScope
from people.models import Agent, Person
from stewardship.common.errors import Refused


@transaction.atomic
def name_agent(
    *,
    principal: Person,
    agent: Person,
    scope: str,
    starts_on: date,
    authority: str = "",
    ends_on: date | None = None,
) -> Agent:
    """From that day somebody handles things for another. One at a time handles their letters; several may sign.

    Raises
    ------
    Refused : they are one and the same, either of them died, nothing gives the right to sign, the days are the wrong way
        round, or somebody handles it at that time already.
    """
    scope, authority = AgentScope(scope), " ".join(authority.split())
    if agent.pk == principal.pk:
        raise Refused(_("Choose somebody else than %s.") % principal)
    # The principal's row is the lock: two at once must find each other.
    principal = Person.objects.select_for_update(no_key=True).get(pk=principal.pk)
    if principal.died_on:
        raise Refused(
            _("%s died; nobody acts for them any more. Name who answers for the estate.")
            % principal
        )
    if agent.is_silent:
        raise Refused(_("Nobody writes to %s; choose somebody else.") % agent)
    if scope == AgentScope.SIGNS and not authority:
        raise Refused(_("Say by what right they sign, e.g. a power of attorney and its day."))
    if ends_on and ends_on <= starts_on:
        raise Refused(_("The last day is before the first."))
    same = Agent.objects.filter(principal=principal, scope=scope)
    if scope == AgentScope.SIGNS:
        same = same.filter(agent=agent)
    if ends_on:
        same = same.filter(starts_on__lt=ends_on)
    standing = same.filter(Q(ends_on=None) | Q(ends_on__gt=starts_on)).first()
    if standing:
        raise Refused(
            _("%(agent)s does that at that time already; let it end first.")
            % {"agent": standing.agent}
        )
    return Agent.objects.create(
        principal=principal,
        agent=agent,
        scope=scope,
        authority=authority,
        starts_on=starts_on,
        ends_on=ends_on,
    )


@transaction.atomic
def end_agent(*, row: Agent, on: date) -> Agent:
    """It holds no longer from that day; what was done under it stays done.

    Raises
    ------
    Refused : it has ended by then, or the day is before it began.
    """
    row = Agent.objects.select_for_update().get(pk=row.pk)
    if row.ends_on and row.ends_on <= on:
        raise Refused(_("That has ended already."))
    if on < row.starts_on:
        raise Refused(_("It cannot end before it began."))
    row.ends_on = on
    row.save(update_fields=["ends_on"])
    return row


def readers_of(people: Iterable[Person], *, on: date) -> dict[int, Person | None]:
    """Who reads what is written to each of `people` that day: themselves, or whoever handles their letters; None for nobody.

    Readers come with what `people.reach` reads. The number of queries is fixed.
    """
    people = {person.pk: person for person in people}
    agents = {
        row.principal_id: row.agent
        for row in Agent.objects.on(on)
        .filter(principal__in=people, scope=AgentScope.LETTERS, principal__died_on=None)
        .select_related("agent__household")
        .prefetch_related("agent__contact_points")
        .order_by("starts_on", "pk")
        if not row.agent.is_silent
    }
    return {
        pk: agents.get(pk) or (None if person.is_silent else person)
        for pk, person in people.items()
    }
