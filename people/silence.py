"""Whom nobody writes to any more, and why: somebody died, asked for it, has a lawyer, or must be kept safe."""

from datetime import date

from django.db import transaction
from django.db.models import Q
from django.db.models.functions import Greatest
from django.utils.translation import gettext as _

from people.choices import Silence
from people.models import Agent, OrganisationContact, Person, PersonEvent, Program, User
from stewardship.common.errors import Refused


@transaction.atomic
def fall_silent(
    *, person: Person, why: str, on: date, note: str = "", by: User | None = None
) -> Person:
    """Nobody writes to them from that day. Who handles their letters is written to instead, except for somebody who died:
    what others may do for a person ends with the person.

    Raises
    ------
    Refused : they are not written to already for that reason, they died, or the day is yet to come.
    """
    why = Silence(why)
    if on > Program.get().today():
        raise Refused(_("That day is yet to come."))
    person = Person.objects.select_for_update().get(pk=person.pk)
    if person.died_on:
        raise Refused(_("%s is written down as having died.") % person)
    if person.silent_why == why:
        raise Refused(_("Nobody writes to %s already.") % person)
    was = person.silent_why
    person.silent_why = why
    person.silent_since = on if why == Silence.DIED else person.silent_since or on
    if why == Silence.DIED:
        person.died_on = on
        _end_ties(person, on=on)
    person.save(update_fields=["silent_since", "silent_why", "died_on"])
    PersonEvent.objects.create(person=person, was=was, became=why, why=note.strip()[:400], by=by)
    return person


def _end_ties(person: Person, *, on: date) -> None:
    """What they did for others and others for them ends with that day."""
    for model, mine in (
        (Agent, Q(principal=person) | Q(agent=person)),
        (OrganisationContact, Q(person=person)),
    ):
        standing = model.objects.filter(mine).filter(Q(ends_on=None) | Q(ends_on__gt=on))
        standing.update(ends_on=Greatest("starts_on", on))


@transaction.atomic
def write_again(*, person: Person, why: str, by: User | None = None) -> Person:
    """They are written to again; a death that was no death is taken back. What ended with it stays ended.

    Raises
    ------
    Refused : they are written to already, their data were erased, or no reason is given.
    """
    why = " ".join(why.split())
    if not why:
        raise Refused(_("Say why, in a few words."))
    person = Person.objects.select_for_update().get(pk=person.pk)
    if person.erased_on:
        raise Refused(_("Their data were erased; write them down anew if they come back."))
    if not person.is_silent:
        raise Refused(_("%s is written to already.") % person)
    was = person.silent_why
    person.silent_since, person.silent_why, person.died_on = None, "", None
    person.save(update_fields=["silent_since", "silent_why", "died_on"])
    PersonEvent.objects.create(person=person, was=was, became="", why=why[:400], by=by)
    return person
