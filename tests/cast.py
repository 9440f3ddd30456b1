"""The people of the tests: one of each, the same every time. All invented; example.org and 555-01xx only."""

from dataclasses import dataclass
from datetime import date

from people.choices import Channel, Role
from people.models import Agency, Person, Program, User
from sites.models import Site
from tests import factory


@dataclass(frozen=True)
class Cast:
    """Log-ins by what they may do, the people at the basins, and the two sites that they are about.

    `site` is built, stands on the first agency's ground, and its owner owes the work since 1 April 2025. `other_site` is
    built on the other agency's ground, and `other_owner` owes the work there.
    """

    program: Program
    agency: Agency
    other_agency: Agency
    coordinator: User
    reviewer: User
    other_reviewer: User
    volunteer: User
    reader: User
    stranger: User
    owner: Person
    tenant: Person
    other_owner: Person
    site: Site
    other_site: Site

    def user(self, role: str) -> User | None:
        """The log-in of a role by its name here; None for "anonymous"."""
        return None if role == "anonymous" else getattr(self, role)


ROLES = (
    "anonymous",
    "stranger",
    "coordinator",
    "reviewer",
    "other_reviewer",
    "volunteer",
    "reader",
)


def make_cast() -> Cast:
    program = factory.make_program()
    agency = factory.make_agency("streets", "Streets Department", "streets")
    other_agency = factory.make_agency("parks", "Parks Department", "parks")
    owner = factory.make_person(
        "Ines", "Quist", email="ines.quist@example.org", postal="110 Saltbush Street"
    )
    tenant = factory.make_person(
        "Bram", "Okello", email="bram.okello@example.org", phone="505-555-0111"
    )
    other_owner = factory.make_person(
        "Odile", "Farrow", postal="210 Yucca Lane", channel=Channel.LETTER
    )
    helper = factory.make_person("Tomas", "Bell", email="tomas.bell@example.org")
    factory.make_volunteer(helper)
    reader = factory.make_person("Wen", "Salazar", email="wen.salazar@example.org")
    return Cast(
        program=program,
        agency=agency,
        other_agency=other_agency,
        coordinator=factory.make_user(
            Role.COORDINATOR, email="rosa.lind@example.org", name="Rosa Lind"
        ),
        reviewer=factory.make_user(
            Role.REVIEWER, agency, email="sam.orr@example.org", name="Sam Orr"
        ),
        other_reviewer=factory.make_user(
            Role.REVIEWER, other_agency, email="pia.reyes@example.org", name="Pia Reyes"
        ),
        volunteer=factory.make_user(
            Role.VOLUNTEER, email="tomas.bell@example.org", name="Tomas Bell", person=helper
        ),
        reader=factory.make_user(
            Role.READER, email="wen.salazar@example.org", name="Wen Salazar", person=reader
        ),
        stranger=factory.make_user(email="nobody.yet@example.org", name="Nobody Yet"),
        owner=owner,
        tenant=tenant,
        other_owner=other_owner,
        site=factory.make_built_site("OAK-1", owner=owner, on=date(2025, 4, 1), agency=agency),
        other_site=factory.make_built_site(
            "ELM-2", owner=other_owner, on=date(2025, 4, 1), agency=other_agency
        ),
    )
