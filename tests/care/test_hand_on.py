"""What happens next when nobody acts: the defaults are day 4, 6 (agency ground) and 8 (program defaults, no source)."""

from datetime import date, timedelta

import pytest

from stewardship.care import services
from stewardship.care.choices import AnswerKind, HandOnAction, NeedsPerson
from stewardship.care.models import Duty, HandOnStep
from stewardship.outbox.writing import write
from tests import factory
from tests.care.book import TUESDAY, letters_to, noon, open_duty, rain, revise, statuses, sweep

pytestmark = pytest.mark.usefixtures("frozen_day")

OWNER, OFFICER = "ines.quist@example.org", "nia.holt@example.org"


def days_on(n: int) -> date:
    return factory.TODAY + timedelta(days=n)


@pytest.fixture
def told(cast):
    """It rained on Tuesday; the owner was told on Wednesday, the day the duty opened."""
    factory.make_person(
        "Nia", "Holt", email=OFFICER, agency=cast.agency, agency_office="Maintenance"
    )
    rain(cast.site, day=TUESDAY)
    sweep()
    return open_duty(cast.site)


def test_a_second_letter_goes_out_on_the_fourth_day_and_only_once(told):
    sweep(days_on(3))
    assert len(letters_to(OWNER)) == 1
    for n in (4, 4, 5):
        sweep(days_on(n))
    assert [letter.template for letter in letters_to(OWNER)] == [
        "reminder-first",
        "reminder-second",
    ]


def test_whoever_answered_gets_no_second_letter(cast, told):
    services.record_answer(duty=told, person=cast.owner, kind=AnswerKind.CANNOT, at=noon())
    sweep(days_on(5))
    assert len(letters_to(OWNER)) == 1


def test_the_agency_whose_ground_it_is_hears_on_the_sixth_day(told):
    sweep(days_on(5))
    assert not letters_to(OFFICER)
    sweep(days_on(6))
    sweep(days_on(7))
    (letter,) = letters_to(OFFICER)
    assert (
        "Nobody has looked after the basin at 110 Saltbush Street since Wed 15 Jul"
        in write(letter).text
    )


def test_a_letter_to_the_agency_names_only_what_is_late_when_it_is_written(told):
    Duty.objects.update(due_on=days_on(6))
    sweep(days_on(6))
    assert not letters_to(OFFICER)
    sweep(days_on(7))
    (letter,) = letters_to(OFFICER)
    assert "it was due Tue 21 Jul" in write(letter).text


def test_a_waiting_letter_to_the_agency_is_taken_back_when_its_duty_is_not_late_after_all(told):
    sweep(days_on(6))
    assert statuses(letters_to(OFFICER)) == ["queued"]
    first = told.storms.get()
    rain(told.site, day=days_on(5))
    sweep(days_on(6))
    assert statuses(letters_to(OFFICER)) == ["queued"]
    revise(first, told.site, depth_in=0.1)
    sweep(days_on(6))
    (letter,) = letters_to(OFFICER)
    assert (letter.status, letter.error) == ("suppressed", "Nothing in it is late.")


def test_a_household_frontage_is_no_matter_of_an_agency(cast):
    site = factory.make_built_site("ASH-3")
    rain(site)
    sweep()
    sweep(days_on(20))
    templates = [message.template for message in letters_to("owner-ash-3@example.org")]
    assert templates == ["reminder-first", "reminder-second"]


def test_the_coordinator_has_it_on_the_list_from_the_eighth_day(told):
    sweep(days_on(7))
    told.refresh_from_db()
    assert told.needs_person_since is None
    sweep(days_on(8))
    sweep(days_on(9))
    told.refresh_from_db()
    assert (told.needs_person_why, told.needs_person_since) == (
        NeedsPerson.NO_ANSWER,
        days_on(8),
    )


def test_an_agency_without_a_contact_is_on_the_list_at_once(cast):
    cast.site.responsibilities.update(person=None, agency=cast.agency)
    rain(cast.site)
    sweep()
    assert open_duty(cast.site).needs_person_why == NeedsPerson.NO_CHANNEL


def test_nothing_more_happens_once_the_duty_is_met(told):
    services.record_visit(site=told.site, happened_on=factory.TODAY)
    sweep(days_on(20))
    assert len(letters_to(OWNER)) == 1
    assert not letters_to(OFFICER)


def test_a_worker_that_slept_for_weeks_takes_every_step_once(told):
    sweep(days_on(20))
    sweep(days_on(20))
    assert len(letters_to(OWNER)) == 2
    assert len(letters_to(OFFICER)) == 1
    told.refresh_from_db()
    assert told.needs_person_since == days_on(20)


def test_steps_have_dates(cast, told):
    HandOnStep.objects.filter(action=HandOnAction.SECOND_REMINDER).update(ends_on=days_on(2))
    HandOnStep.objects.create(
        action=HandOnAction.SECOND_REMINDER, after_days=2, starts_on=days_on(2)
    )
    sweep(days_on(1))
    assert len(letters_to(OWNER)) == 1
    sweep(days_on(2))
    assert len(letters_to(OWNER)) == 2


def test_what_is_unsafe_is_told_to_no_resident(cast):
    services.record_visit(
        site=cast.site,
        happened_on=factory.TODAY,
        findings=[services.Found("edge", "unsafe", note="broken curb")],
    )
    sweep()
    sweep(days_on(5))
    assert open_duty(cast.site).needs_person_why == NeedsPerson.UNSAFE
    assert not letters_to(OWNER)
