"""One person: where they are reached, what they signed, what they owe, what they were told."""

from collections.abc import Iterable
from datetime import date

from django.db.models import Q
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.views.decorators.http import require_GET

from people.forms import ExternalIdForm
from people.merging import merges_of
from people.models import Person, PersonEvent
from people.services import reachable_at
from stewardship.agreements.models import Party, Pause, Responsibility
from stewardship.care.models import Reminder
from stewardship.common.access import coordinator_required

#: How many of the newest messages stand on the page.
SHOWN = 10


def _life(person: Person, today: date) -> dict[str, list]:
    """Who acts for whom and what rests; each row with whether it holds or is to come."""

    def marked(rows: Iterable) -> list[tuple]:
        return [(row, row.ends_on is None or row.ends_on > today) for row in rows]

    pauses = Pause.objects.select_related("site", "person", "cover").order_by("-starts_on", "-pk")
    events = PersonEvent.objects.filter(Q(person=person) | Q(person__merged_into=person))
    return {
        "events": list(events.select_related("by", "person").order_by("-at", "-pk")),
        "agents": marked(person.agents.select_related("agent").order_by("-starts_on", "-pk")),
        "acts_for": marked(person.acts_for.select_related("principal")),
        "speaks_for": marked(person.speaks_for.select_related("organisation")),
        "pauses": marked(pauses.filter(person=person)),
        "covers": marked(pauses.filter(cover=person)),
    }


@coordinator_required
@require_GET
def person(request: HttpRequest, pk: int) -> HttpResponse:
    found = get_object_or_404(
        Person.objects.select_related("household", "agency", "merged_into").prefetch_related(
            "contact_points__people", "external_ids"
        ),
        pk=pk,
    )
    today = request.program.today()
    chain = list(
        Responsibility.objects.filter(person=found)
        .select_related("site", "agreement")
        .order_by("-starts_on", "-pk")
    )
    parties = (
        Party.objects.filter(person=found)
        .select_related("agreement", "signature", "agency")
        .prefetch_related("agreement__sites")
        .order_by("-agreement__created_at", "-pk")
    )
    reminders = (
        Reminder.objects.filter(person=found)
        .select_related("duty__site", "message")
        .defer("message__text", "message__html", "message__context")
        .order_by("-made_at")[:SHOWN]
    )
    return render(
        request,
        "front/person.html",
        {
            "person": found,
            "points": [
                (point, [one for one in point.people.all() if one.pk != found.pk])
                for point in found.contact_points.all()
            ],
            "reached": reachable_at(found),
            "chain": [(row, row.ends_on is None or row.ends_on > today) for row in chain],
            "parties": parties,
            "reminders": reminders,
            "life": _life(found, today),
            "merges": merges_of(found),
            "id_form": ExternalIdForm(),
        },
    )
