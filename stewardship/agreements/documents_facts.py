"""Who signs what, and on what terms, gathered for the papers of an agreement in the active language."""

from datetime import date

from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import ngettext, pgettext

from people.choices import AgentScope, ContactKind
from people.models import Agent, Person, Program
from sites.models import Site
from stewardship.agreements import instruments
from stewardship.agreements.choices import Capacity, Sharing
from stewardship.agreements.documents_sheet import PartyLine, joined
from stewardship.agreements.models import Agreement, Party

#: Who may promise the work.
DOERS = (Capacity.OWNER, Capacity.TENANT, Capacity.LANDLORD)


def long_date(day: date) -> str:
    return date_format(day, pgettext("date in a document: Django date format", "j F Y"))


def party_lines(agreement: Agreement, *, on: date) -> list[PartyLine]:
    rows = agreement.parties.select_related(
        "person", "agency", "organisation", "signs_by"
    ).prefetch_related("person__contact_points")
    return [_party_line(party, on) for party in rows]


def _party_line(party: Party, on: date) -> PartyLine:
    return PartyLine(
        name=party.person.full_name,
        capacity=str(Capacity(party.capacity).label),
        holder=_holder(party),
        by=signed_for(party, on=on),
        part=party.part,
        address=_address(party),
        must_sign=party.must_sign,
        landlord=party.capacity == Capacity.LANDLORD,
    )


def _holder(party: Party) -> str:
    if party.agency:
        return joined([party.person.agency_office, party.agency.name])
    return party.organisation.name if party.organisation else ""


def _address(party: Party) -> str:
    """One line: the organisation's, else the person's first postal address that still reaches them."""
    if party.organisation and party.organisation.postal_address:
        return _one_line(party.organisation.postal_address)
    return _postal(party.person)


def _postal(person: Person) -> str:
    return next(
        (
            _one_line(point.value)
            for point in person.contact_points.all()
            if point.kind == ContactKind.POSTAL and not point.dead_since
        ),
        "",
    )


def _one_line(text: str) -> str:
    return ", ".join(line.strip() for line in text.splitlines() if line.strip())


def signed_for(party: Party, *, on: date) -> str:
    """Who signs in their place on that day, and by what right; empty when they sign themselves."""
    if party.signs_by is None:
        return ""
    right = (
        Agent.objects.on(on)
        .filter(principal=party.person_id, agent=party.signs_by_id, scope=AgentScope.SIGNS)
        .values_list("authority", flat=True)
        .last()
    )
    return joined([party.signs_by.full_name, right])


def term_words(instrument: str) -> str:
    """How long the instrument runs: "for 5 years"."""
    years = instruments.INSTRUMENTS[instrument].term_years
    if not years:
        return _("until it is ended in writing")
    return ngettext("for %d year", "for %d years", years) % years


def contact_words(program: Program) -> str:
    """How the program is reached."""
    return joined([program.phone, program.email]) or program.name


def begins_words(agreement: Agreement) -> str:
    if agreement.begins_on:
        return long_date(agreement.begins_on)
    return _("the day of the last signature")


def cure_days(agreement: Agreement) -> int:
    """Days to put a fault right: this agreement's own, else as usual for the instrument."""
    if agreement.cure_days is not None:
        return agreement.cure_days
    return instruments.INSTRUMENTS[agreement.instrument].cure_days


def terms(agreement: Agreement, parties: list[PartyLine]) -> list[tuple[str, str]]:
    """What was settled for this agreement, as name and words."""
    found = [
        (_("Begins"), begins_words(agreement)),
        (_("Runs"), term_words(agreement.instrument)),
    ]
    days = cure_days(agreement)
    if days:
        found.append((_("To put a fault right"), ngettext("%d day", "%d days", days) % days))
    if agreement.notices_by:
        found.append((_("Notices are given"), str(agreement.get_notices_by_display())))
    doers = agreement.parties.filter(capacity__in=DOERS, must_sign=True)
    if agreement.sharing == Sharing.PARTS or doers.count() > 1:
        found.append((_("Who does what"), _sharing(agreement, parties)))
    if agreement.supersedes:
        before = agreement.supersedes
        found.append(
            (
                _("Takes the place of"),
                _("agreement %(reference)s, from the day this one begins")
                % {"reference": before.reference},
            )
        )
    needed = [
        _("%(what)s, by %(day)s") % {"what": one, "day": long_date(one.due_on)}
        if one.due_on
        else str(one)
        for one in agreement.requirements.all()
    ]
    if needed:
        found.append((_("Needed besides"), "; ".join(needed)))
    return found


def _sharing(agreement: Agreement, parties: list[PartyLine]) -> str:
    said = str(agreement.get_sharing_display())
    parts = [f"{party.name}: {party.part}" for party in parties if party.part]
    return ". ".join([said, "; ".join(parts)]) if parts else said


def wording_values(
    agreement: Agreement, program: Program, parties: list[PartyLine], sites: list[Site]
) -> dict[str, str]:
    """What stands for each placeholder of a wording."""
    return {
        "program": program.name,
        "town": program.town,
        "contact": contact_words(program),
        "parties": "; ".join(
            f"{p.name} ({joined([p.capacity.lower(), p.holder])})" for p in parties
        ),
        "sites": "; ".join(f"{site.address} ({site.code})" for site in sites),
        "reference": agreement.reference,
        "begins": begins_words(agreement),
        "term": term_words(agreement.instrument),
        "cure_days": str(cure_days(agreement)),
    }
