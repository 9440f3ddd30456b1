"""One person: where they are reached, what they signed, what they owe, what they were told."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.views.decorators.http import require_GET

from people.models import Person
from people.services import reachable_at
from stewardship.agreements.models import Party, Responsibility
from stewardship.care.models import Reminder
from stewardship.common.access import coordinator_required

#: How many of the newest messages stand on the page.
SHOWN = 10


@coordinator_required
@require_GET
def person(request: HttpRequest, pk: int) -> HttpResponse:
    found = get_object_or_404(
        Person.objects.select_related("household", "agency").prefetch_related(
            "contact_points__people"
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
        },
    )
