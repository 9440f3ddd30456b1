"""Who: the program itself, agencies, households, persons, their contact points, volunteers, accounts and roles."""

from people.models.accounts import Membership, User
from people.models.persons import (
    Agency,
    ContactPoint,
    Household,
    Person,
    PersonEvent,
    Volunteer,
)
from people.models.program import Program, known_zone
from people.models.ties import (
    Agent,
    Merge,
    OfficeChange,
    Organisation,
    OrganisationContact,
    PersonExternalId,
)

__all__ = [
    "Agency",
    "Agent",
    "ContactPoint",
    "Household",
    "Membership",
    "Merge",
    "OfficeChange",
    "Organisation",
    "OrganisationContact",
    "Person",
    "PersonEvent",
    "PersonExternalId",
    "Program",
    "User",
    "Volunteer",
    "known_zone",
]
