"""Programs, agencies, persons, log-ins."""

from datetime import date

from people.choices import AgencyKind, Channel, ContactKind, Language, Role, Units
from people.models import Agency, ContactPoint, Membership, Person, Program, User, Volunteer
from tests.factory.times import PASSWORD, ZONE


def make_program(**changes) -> Program:
    facts = {
        "name": "Palo Azul Basin Keepers",
        "town": "Palo Azul",
        "zone": ZONE.key,
        "units": Units.US,
        "phone": "505-555-0100",
        "email": "keepers@example.org",
        "postal_address": "12 Mesquite Row\nPalo Azul, NM 87000",
    }
    return Program.objects.update_or_create(pk=1, defaults=facts | changes)[0]


def make_agency(
    code: str = "streets", name: str = "Streets Department", kind: str = AgencyKind.STREETS
) -> Agency:
    return Agency.objects.create(code=code, name=name, kind=kind)


def make_person(
    given_name: str = "Ines",
    family_name: str = "Quist",
    *,
    email: str = "",
    phone: str = "",
    postal: str = "",
    channel: str = Channel.EMAIL,
    language: str = Language.EN,
    **fields,
) -> Person:
    """A person with the contact points that are named; none are made up."""
    person = Person.objects.create(
        given_name=given_name, family_name=family_name, channel=channel, language=language, **fields
    )
    for kind, value in (
        (ContactKind.EMAIL, email),
        (ContactKind.PHONE, phone),
        (ContactKind.POSTAL, postal),
    ):
        if value:
            point = ContactPoint.objects.filter(
                kind=kind, normal=ContactPoint.normalise(kind, value)
            ).first() or ContactPoint.objects.create(kind=kind, value=value)
            point.people.add(person)
    return person


def make_user(
    role: str | None = None,
    agency: Agency | None = None,
    *,
    email: str = "",
    name: str = "",
    person: Person | None = None,
    password: str = PASSWORD,
    **fields,
) -> User:
    """A log-in with one role, or with none."""
    email = email or f"{role or 'stranger'}{'-' + agency.code if agency else ''}@example.org"
    user = User.objects.create_user(email, password, name=name, person=person, **fields)
    if role:
        Membership.objects.create(
            user=user, role=role, agency=agency if role == Role.REVIEWER else None
        )
    return user


def make_volunteer(person: Person | None = None, **fields) -> Volunteer:
    person = person or make_person("Tomas", "Bell", email="tomas.bell@example.org")
    return Volunteer.objects.create(
        person=person,
        joined_on=fields.pop("joined_on", date(2025, 3, 1)),
        waiver_until=fields.pop("waiver_until", date(2027, 3, 1)),
        **fields,
    )
