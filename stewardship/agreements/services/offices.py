"""An agency's office ends and another takes its place: its people, and with another agency its sites and duties."""

from collections.abc import Collection
from datetime import date

from django.db import transaction
from django.utils.translation import gettext as _

from people.models import Agency, OfficeChange, Person, User
from sites.models import Site, SiteEvent
from stewardship.agreements.models import Responsibility
from stewardship.agreements.services._shared import note, refuse_future
from stewardship.agreements.services.holding import close, hand_over, still_held
from stewardship.common.errors import Refused
from stewardship.common.events import book_language


@transaction.atomic
def change_office(
    *,
    agency: Agency,
    office: str,
    on: date,
    new_agency: Agency,
    new_office: str,
    leaving: Collection[Person] = (),
    takes_sites: bool = False,
    why: str = "",
    by: User | None = None,
) -> OfficeChange:
    """The office became another on that day. Its people go along, but those `leaving` have no office any more.

    With another agency and `takes_sites`, the old agency's sites and responsibilities are the new one's from that day, under
    the same agreements; who signed stays who signed.

    Raises
    ------
    Refused : no name, nothing changes, nobody has that office, the day is yet to come, or it was written down already.
    """
    office, new_office = " ".join(office.split()), " ".join(new_office.split())
    refuse_future(on, _("That day is yet to come; write it down when it is there."))
    if not new_office:
        raise Refused(_("Give the new office its name."))
    if (agency, office) == (new_agency, new_office):
        raise Refused(_("That is the same office; nothing changes."))
    if takes_sites and agency == new_agency:
        raise Refused(_("The sites stay with %s anyway.") % agency)
    # The agency's row is the lock: two changes at once must find each other.
    Agency.objects.select_for_update(no_key=True).get(pk=agency.pk)
    people = list(
        Person.objects.select_for_update()
        .filter(agency=agency, agency_office=office)
        .order_by("pk")
    )
    if OfficeChange.objects.filter(agency=agency, office=office, on=on).exists():
        raise Refused(_("That change is written down already."))
    if not people and not takes_sites:
        raise Refused(_("Nobody has that office at %s.") % agency)
    change = OfficeChange.objects.create(
        agency=agency,
        office=office,
        on=on,
        new_agency=new_agency,
        new_office=new_office,
        why=" ".join(why.split())[:200],
        entered_by=by,
    )
    gone = {person.pk for person in leaving}
    for person in people:
        if person.pk in gone:
            person.agency_office = ""
            change.left.add(person)
        else:
            person.agency, person.agency_office = new_agency, new_office
            change.moved.add(person)
        person.save(update_fields=["agency", "agency_office"])
    if takes_sites:
        _hand_over_sites(change, by=by)
    return change


def _hand_over_sites(change: OfficeChange, *, by: User | None) -> None:
    with book_language():
        words = _("%(new)s in the place of %(old)s") % {
            "new": change.new_agency,
            "old": change.agency,
        }
    for site in Site.objects.select_for_update().filter(agency=change.agency).order_by("pk"):
        site.agency = change.new_agency
        site.save(update_fields=["agency"])
        SiteEvent.objects.create(
            site=site, was=site.stage, became=site.stage, why=words[:400], by=by
        )
    held = Responsibility.objects.select_for_update(of=("self",)).select_related("agreement")
    rows = list(still_held(held.filter(agency=change.agency), on=change.on))
    close(rows, on=change.on, why=words)
    for row in rows:
        same = Responsibility.objects.filter(
            site_id=row.site_id, role=row.role, agency=change.new_agency
        )
        hand_over(still_held(same, on=change.on), to=row.agreement, on=change.on)
        Responsibility.objects.create(
            site_id=row.site_id,
            role=row.role,
            agency=change.new_agency,
            agreement=row.agreement,
            part=row.part,
            starts_on=max(change.on, row.starts_on),
            ends_on=row.agreement.ends_on,
        )
    for agreement in {row.agreement for row in rows}:
        note(agreement, why=words, by=by)


def office_people(agency: Agency, *, on: date) -> list[tuple[Person, str]]:
    """Who had which office of the agency at the end of that day, as far as changes of offices are written down."""
    at: dict[int, tuple[int | None, str]] = {}
    people: dict[int, Person] = {}
    for person in Person.objects.filter(agency=agency).exclude(agency_office=""):
        people[person.pk], at[person.pk] = person, (person.agency_id, person.agency_office)
    later = OfficeChange.objects.filter(on__gt=on).prefetch_related("moved", "left")
    for change in later.order_by("-on", "-pk"):
        for person in [*change.moved.all(), *change.left.all()]:
            people[person.pk] = person
            at[person.pk] = (change.agency_id, change.office)
    found = [
        (people[pk], office) for pk, (agency_pk, office) in at.items() if agency_pk == agency.pk
    ]
    return sorted(found, key=lambda one: (one[1], str(one[0]), one[0].pk))
