"""The coordinator's pages: duties, one duty and what can be done with it, contacts, questions about rain."""

import csv
import io
from datetime import date, timedelta

import pytest

from stewardship.care import services
from stewardship.care.choices import AnswerKind, CheckReason, DutyState
from stewardship.care.models import Duty, RainQuestion, Reminder
from stewardship.outbox.writing import write
from tests import factory
from tests.care.book import decide, letters_to, noon, open_duty, rain, sweep

pytestmark = pytest.mark.usefixtures("frozen_day")


@pytest.fixture
def duty(cast) -> Duty:
    rain(cast.site, water={})
    sweep()
    return open_duty(cast.site)


def page(browser, path: str) -> str:
    answer = browser.get(path)
    assert answer.status_code == 200
    return answer.content.decode()


def test_the_list_tells_why_who_owes_who_was_told_and_what_they_said(cast, coordinator, duty):
    services.record_answer(duty=duty, person=cast.owner, kind=AnswerKind.CANNOT, at=noon())
    said = page(coordinator, "/care/duties/")
    for part in ("OAK-1", "0.62 in on Tue 14 Jul", "Ines Quist", "Queued", "Can’t this time"):
        assert part in said


def test_the_list_finds_late_ones_those_that_need_a_person_and_those_nobody_owes(
    cast, coordinator, duty
):
    late = factory.make_duty(
        cast.other_site, opened_on=date(2026, 6, 1), owed_by=None, reason={"every_days": 60}
    )

    def found(query):
        answer = coordinator.get(f"/care/duties/?{query}")
        return [row.record for row in answer.context["table"].rows]

    assert found("") == [late, duty]
    assert found("list=late") == [late]
    assert found("list=nobody") == [late]
    assert found("list=needs_person") == []
    services.record_answer(duty=duty, person=cast.owner, kind=AnswerKind.CANNOT, at=noon())
    assert found("list=needs_person") == [duty]
    assert found("q=saltbush+OAK") == [duty]
    assert found("state=met") == []
    assert found("trigger=after_rain&state=open") == [late, duty]


def test_the_list_begins_with_open_ones_and_asks_nothing_of_a_person_about_closed_ones(
    cast, coordinator, duty
):
    services.record_answer(duty=duty, person=cast.owner, kind=AnswerKind.CANNOT, at=noon())
    services.record_visit(site=cast.site, happened_on=factory.TODAY)
    other = factory.make_duty(cast.other_site)

    def rows(query):
        answer = coordinator.get(f"/care/duties/{query}")
        return {row.record.pk: row.get_cell("list") for row in answer.context["table"].rows}

    assert set(rows("")) == set(rows("?page=1")) == {other.pk}
    assert set(rows("?state=")) == {duty.pk, other.pk}
    assert rows("?state=met") == {duty.pk: "–"}


def test_the_list_can_be_taken_along_as_csv(coordinator, duty):
    answer = coordinator.get("/care/duties/?_export=csv")
    rows = list(csv.reader(io.StringIO(answer.getvalue().decode("utf-8-sig"))))
    row = dict(zip(rows[0], rows[1], strict=True))
    assert row["Due"] == "2026-07-19"
    assert row["Why"] == "0.62 in on Tue 14 Jul, from gauge G1"
    assert row["State"] == "Open"


def test_the_list_takes_the_same_number_of_queries_for_more_duties(
    cast, coordinator, duty, django_assert_num_queries
):
    # session, user, program, count, page of duties, contacts to verify, questions about rain, reports, roles, agencies
    coordinator.get("/care/duties/")
    with django_assert_num_queries(9):
        coordinator.get("/care/duties/")
    for n in range(3, 9):
        site = factory.make_built_site(f"ASH-{n}")
        factory.make_duty(site)
    with django_assert_num_queries(9):
        coordinator.get("/care/duties/")


def test_a_duty_tells_who_was_told_what_they_answered_and_what_happened(cast, coordinator, duty):
    services.record_answer(
        duty=duty, person=cast.owner, kind=AnswerKind.CANNOT, note="bad back", at=noon()
    )
    said = page(coordinator, f"/care/duties/{duty.pk}/")
    for part in (
        "Opened after rain",
        "First letter to Ines Quist",
        "bad back",
        "On your list",
        "Clear leaves",
        "Sun 19 Jul",
    ):
        assert part in said


def test_a_duty_is_excused_with_a_reason(cast, coordinator, duty):
    empty = coordinator.post(f"/care/duties/{duty.pk}/excuse/", {"excuse-why": ""})
    assert empty.status_code == 422
    coordinator.post(f"/care/duties/{duty.pk}/excuse/", {"excuse-why": "street closed"})
    duty.refresh_from_db()
    assert (duty.state, duty.closed_on) == (DutyState.EXCUSED, factory.TODAY)
    event = duty.events.last()
    assert (event.why, event.by) == ("street closed", cast.coordinator)


def test_a_duty_is_withdrawn_with_a_reason_and_its_letter_is_taken_back(coordinator, duty):
    coordinator.post(f"/care/duties/{duty.pk}/withdraw/", {"withdraw-why": "gauge was wrong"})
    duty.refresh_from_db()
    assert duty.state == DutyState.WITHDRAWN
    assert letters_to("ines.quist@example.org")[0].status == "suppressed"


def test_a_closed_duty_is_not_closed_again(cast, coordinator, duty):
    services.record_visit(site=cast.site, happened_on=factory.TODAY)
    answer = coordinator.post(
        f"/care/duties/{duty.pk}/excuse/", {"excuse-why": "too late"}, follow=True
    )
    assert "not open any more" in answer.content.decode()
    duty.refresh_from_db()
    assert duty.state == DutyState.MET


def test_another_letter_by_hand_goes_to_those_who_have_not_answered(cast, coordinator, duty):
    coordinator.post(f"/care/duties/{duty.pk}/remind/")
    coordinator.post(f"/care/duties/{duty.pk}/remind/")
    assert [r.round for r in Reminder.objects.filter(duty=duty)] == [1, 2, 4]
    services.record_answer(duty=duty, person=cast.owner, kind=AnswerKind.CANNOT, at=noon())
    answer = coordinator.post(f"/care/duties/{duty.pk}/remind/", follow=True)
    assert "all have answered" in answer.content.decode()
    assert Reminder.objects.filter(duty=duty).count() == 3


def test_a_letter_by_hand_takes_the_place_of_the_automatic_second_one(coordinator, duty):
    coordinator.post(f"/care/duties/{duty.pk}/remind/")
    sweep(factory.TODAY + timedelta(days=5))
    assert [r.round for r in Reminder.objects.filter(duty=duty, person__given_name="Ines")] == [
        1,
        2,
    ]


def test_a_duty_can_be_put_to_a_volunteer_without_moving_it(cast, coordinator, duty):
    helper = cast.volunteer.person
    for _ in range(2):
        coordinator.post(f"/care/duties/{duty.pk}/put_to/", {"put_to-person": helper.pk})
    (letter,) = letters_to("tomas.bell@example.org")
    assert "Please look after the basin at 110 Saltbush Street" in write(letter).text
    duty.refresh_from_db()
    assert duty.owed_by.person == cast.owner


def test_a_stranger_to_the_program_is_not_offered(cast, coordinator, duty):
    answer = coordinator.post(f"/care/duties/{duty.pk}/put_to/", {"put_to-person": cast.tenant.pk})
    assert answer.status_code == 422
    assert not letters_to("bram.okello@example.org")


def test_there_is_no_other_action(coordinator, duty):
    assert coordinator.post(f"/care/duties/{duty.pk}/delete/").status_code == 404
    assert coordinator.get(f"/care/duties/{duty.pk}/excuse/").status_code == 405


def test_the_list_points_to_contacts_and_questions_that_wait(cast, coordinator, duty):
    assert "to verify" not in page(coordinator, "/care/duties/")
    services.open_contact_check(person=cast.owner, site=None, reason=CheckReason.NO_CHANNEL)
    rain(cast.other_site, depth_in=None)
    sweep()
    said = page(coordinator, "/care/duties/")
    assert "1 contact to verify" in said and "1 question about rain" in said


def test_a_note_that_is_too_long_loses_neither_itself_nor_the_question(cast, coordinator):
    rain(cast.site, depth_in=None)
    sweep()
    question = RainQuestion.objects.get()
    answer = decide(coordinator, "leave", question, note="the reader was away " * 20)
    assert answer.status_code == 422
    assert "the reader was away" in answer.content.decode()
    assert RainQuestion.objects.open().exists()


def test_pages_without_anything_say_so(cast, coordinator):
    assert "Everybody can be reached" in page(coordinator, "/care/contacts/")
    assert "Nothing to decide." in page(coordinator, "/care/rain/")
    assert "No duty fits." in page(coordinator, "/care/duties/")


def test_the_visit_form_asks_only_about_what_the_site_has(cast, coordinator):
    cast.site.basins.get().inlets.get().trap.delete()
    said = page(coordinator, "/care/visits/new/OAK-1/")
    assert "Silt taken out" not in said
    assert "Spillway and rock" in said


@pytest.mark.parametrize("role", ["stranger", "reviewer", "volunteer", "reader"])
def test_duties_are_the_coordinators_own(client_of, duty, role):
    browser = client_of(role)
    for path in ("/care/duties/", f"/care/duties/{duty.pk}/", "/care/contacts/", "/care/rain/"):
        assert browser.get(path).status_code == 404
    assert browser.post(f"/care/duties/{duty.pk}/remind/").status_code == 404


def test_enter_in_the_note_of_a_rain_question_leaves_everything_as_it_is(cast, coordinator):
    rain(cast.site, day=factory.TODAY - timedelta(days=9), depth_in=0.6)
    sweep()
    said = page(coordinator, "/care/rain/")
    assert said.index('value="leave"') < said.index('value="act"')


def test_a_visit_form_begins_with_reported_and_says_its_range_of_minutes(cast, coordinator):
    path = f"/care/visits/new/{cast.site.code}/"
    said = page(coordinator, path)
    assert '<option value="reported" selected>' in said
    assert "The agency reads the remarks" in said
    answer = coordinator.post(path, {"minutes": "0"})
    assert answer.status_code == 422
    assert "Minutes are a whole number from 1 to 6000." in answer.content.decode()
