"""When somebody died: who answers for what they leave. Who really inherits, a court decides."""

from datetime import date

from django.db import transaction
from django.utils.translation import gettext as _

from people.choices import ContactRole, OrganisationKind
from people.models import Organisation, OrganisationContact, Person, User
from stewardship.agreements.models import Responsibility
from stewardship.agreements.services._shared import note, refuse_future
from stewardship.agreements.services.holding import close, hand_over, still_held
from stewardship.common.errors import Refused
from stewardship.common.events import book_language


@transaction.atomic
def name_estate(
    *, person: Person, contact: Person, on: date, by: User | None = None
) -> Organisation:
    """The estate holds from that day what the dead person was responsible for, and somebody answers for it.

    What was signed stays as it was signed; the responsibilities go on under the same agreements.

    Raises
    ------
    Refused : the person is not written down as having died, the contact died or is the same person, or the day is yet to
        come or before the death.
    """
    refuse_future(on, _("That day is yet to come."))
    person = Person.objects.select_for_update().get(pk=person.pk)
    if person.died_on is None:
        raise Refused(_("%s is not written down as having died.") % person)
    if on < person.died_on:
        raise Refused(_("That is before they died."))
    if contact.pk == person.pk or contact.died_on:
        raise Refused(_("%s died; choose somebody else.") % contact)
    estate = _estate_of(person)
    for role in (ContactRole.CARE, ContactRole.NOTICES):
        OrganisationContact.objects.get_or_create(
            organisation=estate, person=contact, role=role, ends_on=None, defaults={"starts_on": on}
        )
    held = Responsibility.objects.select_for_update(of=("self",)).select_related("agreement")
    rows = list(still_held(held.filter(person=person), on=on))
    with book_language():
        close(rows, on=on, why=_("Died; the estate holds it"))
    for row in rows:
        same = Responsibility.objects.filter(
            site_id=row.site_id, role=row.role, organisation=estate
        )
        hand_over(still_held(same, on=on), to=row.agreement, on=on)
        Responsibility.objects.create(
            site_id=row.site_id,
            role=row.role,
            organisation=estate,
            agreement=row.agreement,
            part=row.part,
            starts_on=max(on, row.starts_on),
            ends_on=row.agreement.ends_on,
        )
    for agreement in {row.agreement for row in rows}:
        with book_language():
            note(agreement, why=_("%s holds it now") % estate, by=by)
    return estate


def _estate_of(person: Person) -> Organisation:
    """The estate, written down at first need. A second person of that name gets the day of death along."""
    name = _("Estate of %s") % person
    standing = Organisation.objects.filter(name=name, kind=OrganisationKind.ESTATE).first()
    if standing is None:
        return Organisation.objects.create(name=name, kind=OrganisationKind.ESTATE)
    others = Person.objects.exclude(pk=person.pk).exclude(died_on=None)
    namesake = others.filter(given_name=person.given_name, family_name=person.family_name)
    if not namesake.exists():
        return standing
    return Organisation.objects.get_or_create(
        name=f"{name} ({person.died_on:%Y-%m-%d})", defaults={"kind": OrganisationKind.ESTATE}
    )[0]
