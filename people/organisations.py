"""Bodies that promise care, and who answers for them."""

from collections.abc import Iterable
from datetime import date
from typing import Any

from django.db import IntegrityError, transaction
from django.db.models import Q
from django.utils.translation import gettext as _

from people.choices import ContactRole
from people.models import Organisation, OrganisationContact, Person
from stewardship.common.errors import Refused

#: Who is told about the care, in this order: somebody named for it, else whoever signs.
TOLD_OF_CARE = (ContactRole.CARE, ContactRole.SIGNS)


@transaction.atomic
def write_down_organisation(
    *, organisation: Organisation | None = None, name: str, kind: str, postal_address: str = ""
) -> Organisation:
    """A new organisation, or a corrected one.

    Raises
    ------
    Refused : it has no name, or another of that name is in the book.
    """
    name = " ".join(name.split())
    if not name:
        raise Refused(_("Give it its name."))
    row = organisation or Organisation()
    if Organisation.objects.filter(name__iexact=name).exclude(pk=row.pk).exists():
        raise Refused(_("“%s” is in the book already.") % name)
    row.name, row.kind, row.postal_address = name, kind, postal_address.strip()
    row.save()
    return row


@transaction.atomic
def add_contact(
    *, organisation: Organisation, person: Person, role: str, starts_on: date
) -> OrganisationContact:
    """Somebody answers for the organisation from that day.

    Raises
    ------
    Refused : they do already, or they died.
    """
    if person.died_on:
        raise Refused(_("%s died; choose somebody else.") % person)
    facts: dict[str, Any] = {"organisation": organisation, "person": person, "role": role}
    standing = Q(ends_on=None) | Q(ends_on__gt=starts_on)
    if OrganisationContact.objects.filter(standing, **facts).exists():
        raise Refused(_("%s answers for that already.") % person)
    try:
        with transaction.atomic():
            return OrganisationContact.objects.create(starts_on=starts_on, **facts)
    except IntegrityError as error:
        raise Refused(_("%s answers for that already.") % person) from error


@transaction.atomic
def end_contact(*, contact: OrganisationContact, on: date) -> OrganisationContact:
    """They answer for it no longer from that day.

    Raises
    ------
    Refused : that has ended, or the day is before it began.
    """
    contact = OrganisationContact.objects.select_for_update().get(pk=contact.pk)
    if contact.ends_on and contact.ends_on <= on:
        raise Refused(_("That has ended already."))
    if on < contact.starts_on:
        raise Refused(_("It cannot end before it began."))
    contact.ends_on = on
    contact.save(update_fields=["ends_on"])
    return contact


def care_contacts(organisation_pks: Iterable[int], *, on: date) -> dict[int, list[Person]]:
    """By organisation: who is told about its care on that day."""
    found: dict[int, dict[str, list[Person]]] = {}
    for contact in (
        OrganisationContact.objects.on(on)
        .filter(organisation__in=organisation_pks, role__in=TOLD_OF_CARE)
        .select_related("person__household")
        .prefetch_related("person__contact_points")
    ):
        roles = found.setdefault(contact.organisation_id, {})
        roles.setdefault(contact.role, []).append(contact.person)
    return {
        pk: next((roles[role] for role in TOLD_OF_CARE if role in roles), [])
        for pk, roles in found.items()
    }
