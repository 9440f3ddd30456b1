"""Two entries beside each other, which of them stays; the list of merges, each with its way back."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_POST

from people import merging
from people.alike import households_alike, people_alike
from people.choices import MergeKind
from people.filters import PersonFilter
from people.models import Household, Merge, Person
from people.words import hanging_on, stayed_words
from stewardship.common.access import coordinator_required
from stewardship.common.errors import Refused
from stewardship.common.written import day_text

#: How many entries a search shows.
FOUND = 12


@dataclass(frozen=True)
class Choice:
    """One entry that may be the same, and why it is offered (empty: it was searched for)."""

    entry: Any
    words: list[Any]


@coordinator_required
def same_person(request: HttpRequest, pk: int) -> HttpResponse:
    """Which other entry is the same person."""
    person = get_object_or_404(Person.objects.known().select_related("household"), pk=pk)
    alike = people_alike(
        given_name=person.given_name,
        family_name=person.family_name,
        contacts=[(point.kind, point.value) for point in person.contact_points.all()],
        but=person,
    )
    words = request.GET.get("q", "").strip()
    known = Person.objects.known().exclude(pk=pk).select_related("household")
    found = PersonFilter({"q": words}, known).qs[:FOUND] if words else []
    return same_page(
        request,
        entry=person,
        known=known,
        key="pk",
        choices=[Choice(one.person, one.words) for one in alike] + [Choice(p, []) for p in found],
        facts=person_facts,
        merge=merging.merge,
        page="person",
        crumb=("people:list", _("People")),
    )


@coordinator_required
def same_household(request: HttpRequest, pk: int) -> HttpResponse:
    """Which other entry is the same household."""
    household = get_object_or_404(Household.objects.known(), pk=pk)
    words = request.GET.get("q", "").strip()
    known = Household.objects.known().exclude(pk=pk)
    alike = households_alike(address=household.address, but=household)
    found = known.filter(name__icontains=words) | known.filter(address__icontains=words)
    return same_page(
        request,
        entry=household,
        known=known,
        key="pk",
        choices=[Choice(one.household, one.words) for one in alike]
        + [Choice(h, []) for h in (found[:FOUND] if words else [])],
        facts=household_facts,
        merge=merging.merge,
        page="people:household",
        crumb=("people:list", _("People")),
    )


def same_page(
    request: HttpRequest,
    *,
    entry: Any,
    known: Any,
    key: str,
    choices: list[Choice],
    facts: Callable[[Any], list[tuple[str, str]]],
    merge: Callable[..., merging.Outcome],
    page: str,
    crumb: tuple[str, str],
) -> HttpResponse:
    """Choose the other entry (`?with=`), see both side by side, say which stays.

    `key` names the field by which the address of an entry's page (`page`) knows it; `facts` gives rows (what, words) of an entry.
    """
    asked = request.POST.get("with") or request.GET.get("with", "")
    other = known.filter(**{key: asked}).first() if asked.isdecimal() or key != "pk" else None
    refused = ""
    if request.method == "POST" and other:
        stays = request.POST.get("stays")
        pair = {str(getattr(entry, key)): (entry, other), str(getattr(other, key)): (other, entry)}
        if stays not in pair:
            refused = _("Say which of the two entries stays.")
        else:
            kept, gone = pair[stays]
            try:
                outcome = merge(kept=kept, gone=gone, by=request.user)
            except Refused as refusal:
                refused = str(refusal)
            else:
                _say_merged(request, outcome, kept, gone)
                return redirect(page, getattr(kept, key))
    sides = [] if other is None else [entry, other]
    names = [str(side) for side in sides]
    if len(set(names)) < len(names):  # of two that read the same
        names = [f"{name} ({number})" for number, name in enumerate(names, start=1)]
    rows = (
        [
            (what, words, words2)
            for (what, words), (_what, words2) in zip(*map(facts, sides), strict=True)
            if words or words2
        ]
        if sides
        else []
    )
    return render(
        request,
        "people/same.html",
        {
            "entry": entry,
            "entry_key": getattr(entry, key),
            "other": other,
            "names": names,
            "other_key": getattr(other, key) if other else None,
            "choices": [(choice, getattr(choice.entry, key)) for choice in choices],
            "q": request.GET.get("q", ""),
            "rows": rows,
            "hanging": _both_hang(*sides) if sides else [],
            "refused": refused,
            "page": page,
            "crumb": crumb,
        },
        status=422 if refused else 200,
    )


def _both_hang(entry: Any, other: Any) -> list[tuple[str, int, int]]:
    """What hangs on either: (what, how many, how many)."""
    mine, theirs = hanging_on(entry), hanging_on(other)
    return [(words, mine.get(words, 0), theirs.get(words, 0)) for words in {**mine, **theirs}]


def _say_merged(request: HttpRequest, outcome: merging.Outcome, kept: Any, gone: Any) -> None:
    messages.success(
        request,
        _("%(gone)s and %(kept)s are one entry now. It can be taken back.")
        % {"gone": gone, "kept": kept},
    )
    if outcome.stayed:
        messages.warning(
            request,
            _("This could not move and stays with the other entry: %s.")
            % "; ".join(stayed_words(outcome.stayed)),
        )


def person_facts(person: Person) -> list[tuple[str, str]]:
    """What is written about a person, as rows to compare."""
    points = [point for point in person.contact_points.all() if not point.dead_since]
    return [
        (_("Name"), person.full_name),
        (_("Household"), str(person.household or "")),
        (_("Agency"), ", ".join(filter(None, [person.agency_office, str(person.agency or "")]))),
        (_("How they want to hear from us"), person.get_channel_display()),
        (_("Addresses"), "; ".join(" ".join(point.value.split()) for point in points)),
        (_("Language"), person.get_language_display()),
        (_("Note"), person.note),
        (_("Not written to"), person.get_silent_why_display()),
        (_("Log-in"), person.user.email if hasattr(person, "user") else ""),
        (_("Entered"), day_text(timezone.localdate(person.created_at))),
    ]


def household_facts(household: Household) -> list[tuple[str, str]]:
    """What is written about a household, as rows to compare."""
    return [
        (_("Name"), household.name),
        (_("Address"), household.address),
        (_("One letter for all of them"), _("yes") if household.one_letter else _("no")),
        (_("Who lives there"), ", ".join(map(str, household.people.known()))),
    ]


@coordinator_required
@require_GET
def merges(request: HttpRequest) -> HttpResponse:
    """Every merge, newest first, those taken back too."""
    rows = Merge.objects.select_related("by", "undone_by")
    return render(request, "people/merges.html", {"merges": rows})


@coordinator_required
@require_POST
def merge_undo(request: HttpRequest, pk: int) -> HttpResponse:
    """Take a merge of people or households back."""
    found = get_object_or_404(Merge.objects.exclude(kind=MergeKind.SITE), pk=pk)
    return undone(request, found, merging.undo_merge)


def undone(request: HttpRequest, merge: Merge, undo: Callable[..., Merge]) -> HttpResponse:
    try:
        undo(merge=merge, by=request.user)
    except Refused as refusal:
        messages.error(request, str(refusal))
    else:
        messages.success(request, _("They are two entries again."))
    return redirect("people:merges")
