"""What the database itself refuses of people's lives, and what it lets through."""

from datetime import date

import pytest
from django.db import IntegrityError, transaction

from people.models import Agent, Organisation, OrganisationContact, Person
from stewardship.agreements.models import Dispute, Pause
from stewardship.care.models import Answer, Reminder
from tests import factory
from tests.book import make_message

pytestmark = pytest.mark.usefixtures("frozen_day")

FIRST, SECOND = date(2026, 1, 1), date(2026, 6, 1)


def refused(constraint: str, make) -> None:
    """The database says no, by that constraint's name or (on SQLite, for unique ones) by its columns."""
    with pytest.raises(IntegrityError) as error, transaction.atomic():
        make()
    said = str(error.value)
    assert constraint in said or "UNIQUE constraint failed" in said


@pytest.mark.parametrize(
    ("changes", "constraint"),
    [
        ({"silent_since": FIRST}, "person_silent_since_iff_why"),
        ({"silent_why": "asked"}, "person_silent_since_iff_why"),
        ({"silent_since": FIRST, "silent_why": "whim"}, "person_silent_since_iff_why"),
        ({"died_on": FIRST}, "person_who_died_is_not_written_to"),
    ],
)
def test_silence_has_a_day_and_a_reason_and_the_dead_are_not_written_to(cast, changes, constraint):
    mine = Person.objects.filter(pk=cast.owner.pk)
    refused(constraint, lambda: mine.update(**changes))
    assert mine.update(silent_since=FIRST, silent_why="died", died_on=FIRST) == 1


@pytest.mark.parametrize(
    ("changes", "constraint"),
    [
        ({"kind": "club"}, "organisation_kind_known"),
        ({"name": ""}, "organisation_has_a_name"),
    ],
)
def test_an_organisation_has_a_name_and_a_known_kind(cast, changes, constraint):
    facts = {"name": "Mesa Court Owners", "kind": "condo"}
    refused(constraint, lambda: Organisation.objects.create(**facts | changes))
    Organisation.objects.create(**facts)
    refused("unique", lambda: Organisation.objects.create(**facts))


def test_a_contact_answers_for_one_thing_once_at_a_time(cast):
    body = Organisation.objects.create(name="Mesa Court Owners", kind="condo")
    facts = {"organisation": body, "person": cast.tenant, "role": "care", "starts_on": FIRST}
    OrganisationContact.objects.create(**facts)
    for changes, constraint in (
        ({}, "organisation_contact_open_once"),
        ({"role": "cook"}, "organisation_contact_role_known"),
        ({"ends_on": date(2025, 1, 1)}, "organisation_contact_days_in_order"),
    ):
        refused(constraint, lambda c=changes: OrganisationContact.objects.create(**facts | c))
    OrganisationContact.objects.create(**facts | {"role": "signs"})
    OrganisationContact.objects.create(**facts | {"ends_on": SECOND})


def test_an_agent_is_somebody_else_and_has_the_right_to_sign(cast):
    facts = {"principal": cast.owner, "agent": cast.tenant, "scope": "letters", "starts_on": FIRST}
    Agent.objects.create(**facts)
    for changes, constraint in (
        ({}, "agent_open_once"),
        ({"agent": cast.owner}, "agent_is_somebody_else"),
        ({"scope": "cooks"}, "agent_scope_known"),
        ({"scope": "signs"}, "agent_who_signs_has_authority"),
        ({"ends_on": date(2025, 1, 1)}, "agent_days_in_order"),
    ):
        refused(constraint, lambda c=changes: Agent.objects.create(**facts | c))
    Agent.objects.create(**facts | {"scope": "signs", "authority": "Power of attorney of 3 May"})
    Agent.objects.create(**facts | {"ends_on": SECOND})


def test_a_pause_is_of_a_person_or_of_the_site(cast):
    person = {
        "site": cast.site,
        "kind": "person",
        "person": cast.owner,
        "starts_on": FIRST,
        "effect": "owed",
    }
    Pause.objects.create(**person | {"cover": cast.tenant})
    works = {"site": cast.site, "kind": "works", "starts_on": FIRST, "effect": "excused"}
    Pause.objects.create(**works)
    for facts, changes, constraint in (
        (person, {}, "pause_of_person_open_once"),
        (person, {"cover": cast.owner, "ends_on": SECOND}, "pause_covered_by_another"),
        (person, {"person": None}, "pause_names_who_cannot"),
        (person, {"effect": "lost", "ends_on": SECOND}, "pause_effect_known"),
        (person, {"ends_on": date(2025, 1, 1)}, "pause_days_in_order"),
        (works, {}, "pause_of_works_open_once"),
        (works, {"person": cast.owner, "ends_on": SECOND}, "pause_names_who_cannot"),
        (works, {"cover": cast.owner, "ends_on": SECOND}, "pause_names_who_cannot"),
        (works, {"kind": "nap", "ends_on": SECOND}, "pause_"),
    ):
        refused(constraint, lambda f=facts, c=changes: Pause.objects.create(**f | c))
    Pause.objects.create(**person | {"person": cast.tenant})
    Pause.objects.create(**works | {"ends_on": SECOND})


def test_a_dispute_says_what_and_how_it_was_settled(cast):
    facts = {"site": cast.site, "opened_on": FIRST, "claim": "Not mine."}
    Dispute.objects.create(**facts)
    settled = {"closed_on": SECOND, "outcome": "Theirs after all"}
    for changes, constraint in (
        ({}, "dispute_open_once"),
        ({"claim": ""} | settled, "dispute_says_what"),
        ({"closed_on": SECOND}, "dispute_settled_says_how"),
        ({"outcome": "Theirs", "site": cast.other_site}, "dispute_settled_says_how"),
        (settled | {"closed_on": date(2025, 1, 1)}, "dispute_days_in_order"),
    ):
        refused(constraint, lambda c=changes: Dispute.objects.create(**facts | c))
    Dispute.objects.create(**facts | settled)
    Dispute.objects.create(**facts | {"site": cast.other_site})


def test_nobody_reads_or_answers_for_themselves(cast):
    duty = factory.make_duty(cast.site)
    told = {"duty": duty, "person": cast.owner, "message": make_message()}
    refused(
        "reminder_through_another", lambda: Reminder.objects.create(**told | {"agent": cast.owner})
    )
    Reminder.objects.create(**told | {"agent": cast.tenant})
    said = {"duty": duty, "person": cast.owner, "kind": "done", "about_on": SECOND}
    refused("answer_by_another", lambda: Answer.objects.create(**said | {"agent": cast.owner}))
    Answer.objects.create(**said | {"agent": cast.tenant})
