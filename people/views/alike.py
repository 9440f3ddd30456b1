"""Who is perhaps in the book already, as a piece of page that a script shows beside the field."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_GET

from people.alike import kind_of_address, people_alike
from people.models import Person
from stewardship.common.access import coordinator_required

#: Longest text [characters] that is looked up of each field.
LONGEST = 300


@coordinator_required
@require_GET
def alike(request: HttpRequest) -> HttpResponse:
    """People like `given`, `family` and any number of `contact`; `but`: the one who is being corrected."""
    asked = request.GET
    typed = [text.strip()[:LONGEST] for text in asked.getlist("contact")]
    but = asked.get("but", "")
    found = people_alike(
        given_name=asked.get("given", "")[:LONGEST],
        family_name=asked.get("family", "")[:LONGEST],
        contacts=[(kind_of_address(text), text) for text in typed if text],
        but=Person.objects.filter(pk=but).first() if but.isdecimal() else None,
    )
    return render(request, "people/_alike.html", {"people": found})
