"""What a reminder tells: the context of its templates, in words of the recipient's language."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from django.utils import translation

from people.models import Person, Program
from stewardship.care import links, words
from stewardship.care.choices import Trigger
from stewardship.care.models import Duty
from stewardship.care.site_facts import sheet_of
from stewardship.common.written import day_text, hours_text

#: Rounds of reminders. Those asked for by hand after the second are counted on from here.
FIRST, SECOND, AGENCY = 1, 2, 3
TEMPLATES = {FIRST: "reminder-first", SECOND: "reminder-second", AGENCY: "reminder-agency"}


@dataclass(frozen=True)
class Telling:
    """That one person is told of one duty."""

    duty: Duty
    person: Person


def template_of(round: int) -> str:
    return TEMPLATES.get(round, TEMPLATES[SECOND])


def reminder_context(tellings: Sequence[Telling], *, program: Program) -> dict[str, Any]:
    """The context of one message to one address: everybody who reads it there, and each duty once.

    A duty's link carries the name of the first of its people at this address. A look by calendar is not asked for beside
    one after rain at the same site.
    """
    people = list(dict.fromkeys(telling.person for telling in tellings))
    rained = {t.duty.site_id for t in tellings if t.duty.trigger == Trigger.AFTER_RAIN}
    firsts: dict[int, Telling] = {}
    for telling in tellings:
        if telling.duty.trigger != Trigger.CALENDAR or telling.duty.site_id not in rained:
            firsts.setdefault(telling.duty.pk, telling)
    with translation.override(people[0].language):
        sites = [_site(telling, program) for telling in firsts.values()]
        return {
            "names": words.and_list(person.given_name for person in people),
            "full_names": words.and_list(person.full_name for person in people),
            "sites": sites,
            "order": sites[0]["order"],
        }


def link_context(duty: Duty, person: Person, *, program: Program) -> dict[str, Any]:
    """The context of the letter that somebody asked for because their link had grown old."""
    return reminder_context([Telling(duty, person)], program=program)


def _site(telling: Telling, program: Program) -> dict[str, Any]:
    duty = telling.duty
    sheet = sheet_of(duty)
    checklist = sheet.checklist
    return {
        "duty": duty.pk,
        "address": duty.site.address,
        "code": duty.site.code,
        "order": f"{duty.site.street} {duty.site.address}",
        "basins": len(sheet.drawings),
        "after_rain": duty.trigger == Trigger.AFTER_RAIN,
        "why": words.why_text(duty, program.units),
        "opened": day_text(duty.opened_on),
        "due": day_text(duty.ask_by),
        "was_due": day_text(duty.due_on),
        "minutes": hours_text(checklist.minutes / 60),
        "tasks": words.task_texts(checklist, program.units),
        "bring": words.and_list(words.bring_texts(checklist.bring)),
        "silt": words.silt_text(checklist.silt),
        "cautions": words.caution_texts(checklist.cautions),
        "path": links.path_for(duty=duty, person_pk=telling.person.pk),
    }
