"""What a reminder tells: the context of its templates, in words of the recipient's language."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from django.utils import translation
from django.utils.translation import gettext as _

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
    """That one person is told of one duty: through whoever handles their letters (`agent`), or in the place of somebody who
    cannot (`covers`)."""

    duty: Duty
    person: Person
    agent: Person | None = None
    covers: Person | None = None

    @property
    def reader(self) -> Person:
        """Whose name stands on the letter, and in whose language it is."""
        return self.agent or self.person


def template_of(round: int) -> str:
    return TEMPLATES.get(round, TEMPLATES[SECOND])


def reminder_context(tellings: Sequence[Telling], *, program: Program) -> dict[str, Any]:
    """The context of one message to one address: everybody who reads it there, and each duty once.

    A duty's link carries the name of the first of its people at this address. A look by calendar is not asked for beside
    one after rain at the same site.
    """
    readers = list(dict.fromkeys(telling.reader for telling in tellings))
    rained = {t.duty.site_id for t in tellings if t.duty.trigger == Trigger.AFTER_RAIN}
    of_duty: dict[int, list[Telling]] = {}
    for telling in tellings:
        if telling.duty.trigger != Trigger.CALENDAR or telling.duty.site_id not in rained:
            of_duty.setdefault(telling.duty.pk, []).append(telling)
    with translation.override(readers[0].language):
        sites = [_site(alike, program) for alike in of_duty.values()]
        return {
            "names": words.and_list(person.given_name for person in readers),
            "full_names": words.and_list(person.full_name for person in readers),
            "sites": sites,
            "order": sites[0]["order"],
        }


def _instead(tellings: Sequence[Telling]) -> str:
    """For whom the reader does this, in one sentence; "" where everybody is told in their own right."""
    principals = dict.fromkeys(t.person.full_name for t in tellings if t.agent)
    absent = dict.fromkeys(t.covers.full_name for t in tellings if t.covers)
    said = []
    if principals:
        said.append(
            _("You get this for %s, whose letters you handle.") % words.and_list(principals)
        )
    if absent:
        said.append(_("You cover for %s here.") % words.and_list(absent))
    return " ".join(said)


def _site(tellings: Sequence[Telling], program: Program) -> dict[str, Any]:
    telling = tellings[0]
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
        "instead": _instead(tellings),
        "opened": day_text(duty.opened_on),
        "due": day_text(duty.ask_by),
        "was_due": day_text(duty.due_on),
        "minutes": hours_text(checklist.minutes / 60),
        "tasks": words.task_texts(checklist, program.units),
        "bring": words.and_list(words.bring_texts(checklist.bring)),
        "silt": words.silt_text(checklist.silt),
        "cautions": words.caution_texts(checklist.cautions),
        "path": links.path_for(
            duty=duty,
            person_pk=telling.person.pk,
            agent_pk=telling.agent.pk if telling.agent else None,
        ),
        "good_for_days": links.GOOD_FOR_DAYS,
    }
