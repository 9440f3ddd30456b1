"""Loads who the demo is about: the program, agencies, households, people, volunteers and log-ins."""

from dataclasses import dataclass

from django.contrib.auth.hashers import make_password

from people.choices import ContactKind
from people.models import (
    Agency,
    ContactPoint,
    Household,
    Membership,
    Person,
    Program,
    User,
    Volunteer,
)
from stewardship.management.demo import LOGINS, PASSWORD, facts, read_table
from stewardship.management.demo.days import Days


@dataclass(frozen=True, slots=True)
class Who:
    """The people of the demo by their keys in the fixtures."""

    agencies: dict[str, Agency]
    people: dict[str, Person]
    coordinator: User


def load_who(days: Days) -> Who:
    Program.objects.update_or_create(pk=1, defaults=facts()["program"])
    agencies = {row["code"]: Agency.objects.create(**row) for row in facts()["agencies"]}
    people = _load_people(agencies, days)
    for row in read_table("volunteers"):
        Volunteer.objects.create(
            person=people[row["person"]],
            joined_on=days.months_ago(row["joined_months_ago"]),
            left_on=days.months_ago(row["left_months_ago"]) if row["left_months_ago"] else None,
            waiver_until=days.months_ago(-int(row["waiver_months_left"])),
            near=row["near"],
        )
    return Who(agencies, people, _load_logins(people, agencies))


def _load_people(agencies: dict[str, Agency], days: Days) -> dict[str, Person]:
    town = facts()["program"]["town"]
    households = {
        row["household"]: Household.objects.create(name=row["name"], address=row["address"])
        for row in read_table("households")
    }
    people: dict[str, Person] = {}
    points: dict[tuple[str, str], ContactPoint] = {}
    for row in read_table("people"):
        household = households.get(row["household"])
        person = people[row["person"]] = Person.objects.create(
            given_name=row["given_name"],
            family_name=row["family_name"],
            household=household,
            agency=agencies.get(row["agency"]),
            agency_office=row["office"],
            language=row["language"],
            channel=row["channel"],
            note=row["note"],
            created_at=days.at(days.first, 10),
        )
        reached_at = [(ContactKind.EMAIL, row["email"]), (ContactKind.PHONE, row["phone"])]
        if row["posts"] == "yes" and household:
            reached_at.append((ContactKind.POSTAL, f"{household.address}\n{town}"))
        for key in reached_at:
            if not key[1]:
                continue
            if key not in points:
                points[key] = ContactPoint.objects.create(kind=key[0], value=key[1])
            points[key].people.add(person)
            if key[0] == row["dead"]:
                ContactPoint.objects.filter(pk=points[key].pk).update(
                    dead_since=days.months_ago(row["dead_months_ago"]), dead_why=row["dead_why"]
                )
    return people


def _load_logins(people: dict[str, Person], agencies: dict[str, Agency]) -> User:
    """All demo log-ins; returns the coordinator's. One hash of the one password serves them all."""
    hashed = make_password(PASSWORD)
    users = {}
    for _who, key, role, agency, email in LOGINS:
        person = people[key]
        users[role] = User.objects.create(
            email=email, name=person.full_name, person=person, password=hashed
        )
        Membership.objects.create(user=users[role], role=role, agency=agencies.get(agency))
    return users["coordinator"]
