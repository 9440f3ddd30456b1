"""Who is asked about a duty on a day: whoever does the work there, who covers for them, and who reads their letters."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date

from django.db.models import Exists, OuterRef, Q, QuerySet

from people.agents import readers_of
from people.models import Person
from people.organisations import care_contacts
from stewardship.agreements.choices import PauseEffect, PauseKind, ResponsibilityRole
from stewardship.agreements.models import Dispute, Pause, Responsibility
from stewardship.care import rules
from stewardship.care.choices import CheckReason, Judgement, NeedsPerson, RainAsk, Trigger
from stewardship.care.models import ContactCheck, Duty, RainQuestion


@dataclass(frozen=True)
class Asked:
    """One person who is asked; `reader` gets the letter: they themselves, or whoever handles their letters.

    `covers` is the person they stand in for.
    """

    person: Person
    reader: Person
    covers: Person | None = None

    @property
    def agent(self) -> Person | None:
        return None if self.reader.pk == self.person.pk else self.reader


@dataclass
class Asking:
    """A duty, who is asked about it, and why others who owe it are not: they cannot for now, or are not written to."""

    duty: Duty
    asked: list[Asked] = field(default_factory=list)
    missing: set[NeedsPerson] = field(default_factory=set)

    @property
    def people(self) -> list[Person]:
        return [one.person for one in self.asked]


def who_is_asked(duties: Iterable[Duty], *, on: date) -> list[Asking]:
    """Each duty with whoever is asked about it on that day; the number of queries is fixed.

    Of an agency, those who have an office there; of an organisation, those named for its care. Left out: who has said that
    the site is not theirs, until a coordinator has found out.
    """
    duties = list(duties)
    site_pks = {duty.site_id for duty in duties}
    at_site = _doers(site_pks, on=on)
    pauses = person_pauses(site_pks, on=on)
    gone = set(
        ContactCheck.objects.open()
        .filter(reason=CheckReason.NOT_MINE, site__in=site_pks)
        .values_list("site_id", "person_id")
    )
    everybody = [person for found in at_site.values() for person in found]
    covers = [pause.cover for pause in pauses.values() if pause.cover]
    readers = readers_of([*everybody, *covers], on=on)
    found = []
    for duty in duties:
        asking = Asking(duty)
        for person in at_site[duty.site_id]:
            if (duty.site_id, person.pk) in gone:
                continue
            pause = pauses.get((duty.site_id, person.pk))
            asked, stands_in_for = (pause.cover, person) if pause else (person, None)
            reader = readers[asked.pk] if asked else None
            if reader is None:
                asking.missing.add(NeedsPerson.PAUSED if pause else NeedsPerson.SILENT)
            elif asked.pk not in {one.person.pk for one in asking.asked}:
                asking.asked.append(Asked(asked, reader, stands_in_for))
        found.append(asking)
    return found


def by_themselves(people: Iterable[Person], *, on: date) -> list[Asked]:
    """People who are asked in their own right; those whom nobody writes to are left out."""
    people = list(people)
    readers = readers_of(people, on=on)
    return [Asked(person, reader) for person in people if (reader := readers[person.pk])]


def _doers(site_pks: Iterable[int], *, on: date) -> dict[int, list[Person]]:
    """By site: who does the work there that day."""
    held = list(
        Responsibility.objects.as_of(on)
        .filter(role=ResponsibilityRole.DOES, site__in=site_pks)
        .order_by("starts_on", "pk")
    )
    people = {p.pk: p for p in with_addresses({r.person_id for r in held if r.person_id})}
    officers = agency_contacts({r.agency_id for r in held if r.agency_id})
    contacts = care_contacts({r.organisation_id for r in held if r.organisation_id}, on=on)
    at_site: dict[int, dict[int, Person]] = defaultdict(dict)
    for row in held:
        if row.person_id:
            found = [people[row.person_id]]
        elif row.agency_id:
            found = officers[row.agency_id]
        else:
            found = contacts.get(row.organisation_id, [])
        at_site[row.site_id].update((person.pk, person) for person in found)
    return defaultdict(list, {pk: list(found.values()) for pk, found in at_site.items()})


def agency_contacts(agency_pks: Iterable[int]) -> dict[int, list[Person]]:
    """By agency: its people with an office there."""
    contacts: dict[int, list[Person]] = defaultdict(list)
    people = Person.objects.known().filter(agency__in=agency_pks).exclude(agency_office="")
    for person in people.select_related("household").prefetch_related("contact_points"):
        contacts[person.agency_id].append(person)
    return contacts


def with_addresses(person_pks: Iterable[int]) -> QuerySet[Person]:
    """People with what `people.reach` reads."""
    return (
        Person.objects.filter(pk__in=person_pks)
        .select_related("household")
        .prefetch_related("contact_points")
    )


def person_pauses(site_pks: Iterable[int], *, on: date) -> dict[tuple[int, int], Pause]:
    """By site and person: who cannot that day, with who covers."""
    pauses = (
        Pause.objects.on(on)
        .filter(kind=PauseKind.PERSON, site__in=site_pks)
        .select_related("person", "cover__household")
        .prefetch_related("cover__contact_points")
    )
    return {(pause.site_id, pause.person_id): pause for pause in pauses}


def excused_sites(site_pks: Iterable[int], *, on: date) -> dict[int, Pause]:
    """Sites where everybody who does the work is excused that day, with one of the pauses."""
    pauses = person_pauses(site_pks, on=on)
    doers = _doers({site for site, _person in pauses}, on=on)
    found = {}
    for site_pk, people in doers.items():
        own = [pauses.get((site_pk, person.pk)) for person in people]
        if own and all(pause and pause.effect == PauseEffect.EXCUSED for pause in own):
            found[site_pk] = own[0]
    return found


def resting(*, on: date) -> QuerySet[Pause]:
    """Pauses of sites that rest that day: nothing is due there."""
    return Pause.objects.on(on).filter(kind=PauseKind.WORKS)


def days_stood(duties: Iterable[Duty], *, until: date) -> dict[int, int]:
    """By duty: for how many days up to `until` its clocks stood still, because something was disputed at its site."""
    duties = list(duties)
    spans = _disputes(
        {duty.site_id for duty in duties}, Dispute.objects.filter(opened_on__lte=until)
    )
    return {
        duty.pk: rules.days_stood(spans[duty.site_id], since=duty.opened_on, until=until)
        for duty in duties
    }


def moved_days(duty: Duty) -> int:
    """By how many days disputes that are settled have moved the duty's due day."""
    settled = Dispute.objects.filter(closed_on__isnull=False)
    spans = _disputes([duty.site_id], settled)[duty.site_id]
    return rules.days_stood(spans, since=duty.opened_on, until=date.max)


def _disputes(
    site_pks: Iterable[int], disputes: QuerySet[Dispute]
) -> dict[int, list[tuple[date, date | None]]]:
    spans: dict[int, list[tuple[date, date | None]]] = defaultdict(list)
    rows = disputes.filter(site__in=site_pks).values_list("site_id", "opened_on", "closed_on")
    for site_pk, first, last in rows:
        spans[site_pk].append((first, last))
    return spans


def disputed(*, on: date) -> QuerySet[Dispute]:
    """For a subquery over duties: a dispute that stands at the duty's site."""
    return Dispute.objects.open(on=on).filter(site=OuterRef("site"))


def tellable(duties: QuerySet[Duty], *, on: date) -> QuerySet[Duty]:
    """Not those that a person has to look at first, nor a calendar round where the rain asks for a look already, nor where
    something is disputed or the site rests."""
    needless = RainQuestion.objects.open().filter(duty=OuterRef("pk"), ask=RainAsk.NEEDLESS)
    rained = Duty.objects.open().filter(site=OuterRef("site"), trigger=Trigger.AFTER_RAIN)
    return (
        duties.filter(~Exists(needless) & ~Exists(disputed(on=on)))
        .filter(~Exists(resting(on=on).filter(site=OuterRef("site"))))
        .exclude(Q(Exists(rained)), trigger=Trigger.CALENDAR)
        .exclude(trigger=Trigger.FINDING, reason__judgement=Judgement.UNSAFE)
    )
