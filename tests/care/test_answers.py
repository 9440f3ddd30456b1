"""The resident's page: a signed link, three answers, no log-in; a GET changes nothing."""

from datetime import date, timedelta

import pytest
from django.test import Client

from people.choices import Language
from people.services import update_person
from stewardship.care import links, services
from stewardship.care.choices import AnswerKind, CheckReason, DutyState, Evidence, NeedsPerson
from stewardship.care.models import Answer, ContactCheck, Duty, DutyEvent, Reminder, Visit
from stewardship.common.errors import Refused
from stewardship.outbox.models import Message
from tests import factory
from tests.care.book import TUESDAY, letters_to, noon, open_duty, rain, statuses, sweep

pytestmark = pytest.mark.usefixtures("frozen_day")

OWNER = "ines.quist@example.org"


@pytest.fixture
def duty(cast) -> Duty:
    rain(cast.site, water={})
    sweep()
    return open_duty(cast.site)


@pytest.fixture
def path(cast, duty) -> str:
    return links.path_for(duty=duty, person_pk=cast.owner.pk)


def done(day: date = factory.TODAY, **fields) -> dict:
    return {"answer": "done", "done-happened_on": day.isoformat()} | fields


def text(response) -> str:
    return response.content.decode()


def everything() -> list[int]:
    models = (Answer, Visit, Duty, DutyEvent, Reminder, ContactCheck, Message)
    return [model.objects.count() for model in models]


def test_the_page_shows_this_sites_checklist_reason_day_and_cautions(client, path):
    page = text(client.get(path))
    for part in (
        "110 Saltbush Street",
        "0.62 in on Tue 14 Jul, from gauge G1",
        "Sun 19 Jul",
        "Sediment trap: measure from the inlet bottom",
        "Brush debris off the blue grama",
        "Never reach into running water",
        "30 min",
        "water 7.1 in deep",  # the drawing's own words
    ):
        assert part in page


def test_the_page_of_late_work_asks_for_a_day_after_the_newest_rain(client, cast, path):
    rain(cast.site, day=date(2026, 7, 23), depth_in=0.8)
    sweep(date(2026, 7, 24))
    page = text(client.get(path))
    assert "it was due Sun 19 Jul, and it has rained again since" in page
    assert "Sat 25 Jul" in page


def test_opening_the_link_or_each_answers_link_changes_nothing(client, path):
    before = everything()
    for query in ("", "?answer=done", "?answer=cannot", "?answer=not_mine"):
        assert client.get(path + query).status_code == 200
        assert client.head(path + query).status_code == 200
    assert everything() == before


def test_done_records_a_reported_visit_and_meets_the_duty(client, cast, duty, path):
    answer = done(**{"done-minutes": "25", "done-note": "trap was full"})
    page = text(client.post(path, answer, follow=True))
    visit = Visit.objects.get(duty=duty)
    assert (visit.done_by, visit.minutes, visit.note) == (cast.owner, 25, "trap was full")
    assert visit.evidence == Evidence.REPORTED
    duty.refresh_from_db()
    assert (duty.state, duty.closed_on) == (DutyState.MET, factory.TODAY)
    assert "Thank you, Ines." in page and "after the next storm" in page


def test_done_twice_is_one_visit(client, duty, path):
    for _ in range(2):
        client.post(path, done(**{"done-minutes": "25"}))
    assert Visit.objects.filter(duty=duty).count() == 1
    assert Answer.objects.count() == 1


def test_cannot_keeps_the_duty_open_and_puts_it_on_the_coordinators_list(client, duty, path):
    page = text(client.post(path, {"answer": "cannot", "cannot-note": "bad back"}, follow=True))
    duty.refresh_from_db()
    assert duty.state == DutyState.OPEN
    assert duty.needs_person_why == NeedsPerson.CANNOT
    assert Answer.objects.get().note == "bad back"
    assert "Somebody from the program looks for help" in page


def test_whoever_could_not_may_still_report_it_done(client, duty, path):
    client.post(path, {"answer": "cannot"})
    client.post(path, done())
    duty.refresh_from_db()
    assert duty.state == DutyState.MET
    assert [answer.kind for answer in Answer.objects.all()] == ["cannot", "done"]


def test_t35_not_mine_opens_the_job_and_stops_letters_about_this_site(client, cast, duty, path):
    client.post(path, {"answer": "not_mine", "not_mine-note": "sold to the Baca family"})
    check = ContactCheck.objects.get()
    assert (check.person, check.site, check.reason) == (
        cast.owner,
        cast.site,
        CheckReason.NOT_MINE,
    )
    assert "Baca" in check.note
    duty.refresh_from_db()
    assert duty.needs_person_why == NeedsPerson.NOT_MINE
    assert statuses(letters_to(OWNER)) == ["suppressed"]
    for n in range(1, 10):
        sweep(factory.TODAY + timedelta(days=n))
    assert len(letters_to(OWNER)) == 1
    duty.refresh_from_db()
    assert duty.needs_person_why == NeedsPerson.NOT_MINE


def test_t35_letters_about_another_site_still_reach_them(client, cast, path):
    client.post(path, {"answer": "not_mine"})
    second = factory.make_built_site("ASH-3", owner=cast.owner)
    factory.make_visit(second, date(2026, 7, 1))
    rain(second)
    sweep()
    assert [r.duty.site for r in Reminder.objects.filter(person=cast.owner)] == [cast.site, second]


def test_work_done_before_the_newest_rain_leaves_one_more_look(client, cast, duty, path):
    rain(cast.site, day=factory.TODAY, clock="06:00")
    sweep()
    page = text(client.post(path, done(TUESDAY), follow=True))
    duty.refresh_from_db()
    assert duty.state == DutyState.OPEN
    assert Visit.objects.filter(duty=duty).count() == 1
    assert "rained here again" in page
    client.post(path, done(factory.TODAY))
    duty.refresh_from_db()
    assert duty.state == DutyState.MET
    assert Visit.objects.filter(duty=duty).count() == 2


def test_t23_two_neighbours_who_cleaned_it_the_same_day_are_both_credited(cast, duty):
    neighbour = factory.make_person("Rob", "Amaro", email="rob.amaro@example.org")
    for person, minutes in ((cast.owner, 20), (neighbour, 15)):
        services.record_answer(
            duty=duty, person=person, kind=AnswerKind.DONE, minutes=minutes, at=noon()
        )
    visits = Visit.objects.filter(duty=duty)
    assert {visit.done_by for visit in visits} == {cast.owner, neighbour}
    assert sum(visit.minutes for visit in visits) == 35
    assert duty.events.filter(became=DutyState.MET).count() == 1


def test_t24_the_owner_sees_that_somebody_else_has_done_it(client, cast, duty, path):
    helper = cast.volunteer.person
    services.record_visit(site=cast.site, happened_on=factory.TODAY, done_by=helper)
    duty.refresh_from_db()
    assert duty.state == DutyState.MET
    assert duty.owed_by.person == cast.owner
    assert duty.events.last().why == "Done by others"
    page = text(client.get(path))
    assert "looked after already" in page
    assert "Tomas" not in page


def test_cannot_is_refused_once_it_is_done(cast, duty):
    services.record_visit(site=cast.site, happened_on=factory.TODAY)
    with pytest.raises(Refused, match="looked after already"):
        services.record_answer(duty=duty, person=cast.owner, kind=AnswerKind.CANNOT, at=noon())


def test_a_late_cannot_from_an_open_page_is_answered_in_words(client, cast, duty, path):
    services.record_visit(site=cast.site, happened_on=factory.TODAY)
    response = client.post(path, {"answer": "cannot", "cannot-note": "no"})
    assert response.status_code == 409
    assert "looked after already" in text(response)


def test_a_day_to_come_is_refused_at_its_field_and_nothing_typed_is_lost(client, path):
    response = client.post(
        path, done(factory.TODAY + timedelta(days=1), **{"done-note": "will do it tomorrow"})
    )
    page = text(response)
    assert "That day has not come yet." in page
    assert "will do it tomorrow" in page
    assert not Answer.objects.exists()


def test_minutes_that_cannot_be_are_refused_at_their_field(client, path):
    page = text(client.post(path, done(**{"done-minutes": "6000"})))
    assert "600" in page
    assert not Answer.objects.exists()


def test_an_answer_that_is_none_changes_nothing(client, path):
    before = everything()
    assert client.post(path, {"answer": "burn it"}).status_code == 200
    assert everything() == before


def test_an_answer_needs_the_pages_own_form(path):
    browser = Client(enforce_csrf_checks=True)
    assert browser.post(path, done()).status_code == 403
    assert not Answer.objects.exists()


def test_the_page_speaks_the_persons_language_not_the_browsers(client, cast, path):
    cast.owner.language = Language.ES
    cast.owner.save()
    response = client.get(path, headers={"accept-language": "en"})
    assert response.headers["Content-Language"] == "es"
    assert '<html lang="es">' in text(response)
    cast.owner.language = Language.EN
    cast.owner.save()
    assert '<html lang="en">' in text(client.get(path, headers={"accept-language": "es"}))


def test_what_happened_is_written_in_the_books_language_whoever_answers(client, cast, duty, path):
    cast.owner.language = Language.ES
    cast.owner.save()
    client.post(path, done())
    assert duty.events.last().why == "Done"


def test_the_page_is_kept_by_nobody(client, path):
    response = client.get(path)
    assert "no-store" in response.headers["Cache-Control"]
    assert response.headers["X-Robots-Tag"] == "noindex"


def test_a_link_works_for_45_days_and_then_says_so(client, path, frozen_day):
    frozen_day.move_to(noon() + timedelta(days=44), tick=False)
    assert client.get(path).status_code == 200
    frozen_day.move_to(noon() + timedelta(days=46), tick=False)
    response = client.get(path)
    assert response.status_code == 410
    assert "too old" in text(response)
    assert "Send me a new link" in text(response)
    assert client.post(path, done()).status_code == 410
    assert not Answer.objects.exists()


def test_an_old_link_is_renewed_to_the_known_address_once_a_day(client, path, frozen_day):
    frozen_day.move_to(noon() + timedelta(days=46), tick=False)
    token = path.rstrip("/").rsplit("/", 1)[1]
    for _ in range(3):
        page = text(client.post("/care/new-link/", {"token": token}))
    assert "on its way" in page
    (letter,) = [m for m in letters_to(OWNER) if m.template == "reminder-link"]
    assert client.get(letter.context["sites"][0]["path"]).status_code == 200


@pytest.mark.parametrize("token", ["nonsense", "WzEsMV0:1abcde:forged-signature", "WzEsMV0"])
def test_a_forged_link_is_refused_in_plain_words(client, duty, token):
    response = client.get(f"/care/a/{token}/")
    assert response.status_code == 404
    assert "This link does not work" in text(response)
    assert "Saltbush" not in text(response)


def test_a_link_with_another_persons_number_under_the_same_signature_is_refused(client, path):
    token = path.rstrip("/").rsplit("/", 1)[1]
    _payload, rest = token.split(":", 1)
    assert client.get(f"/care/a/WzEsMl0:{rest}/").status_code == 404


def test_asking_for_a_link_tells_nobody_who_is_in_the_book(client, duty):
    known = client.post("/care/new-link/", {"email": "Ines.Quist@example.org"})
    unknown = client.post("/care/new-link/", {"email": "nobody@example.org"})
    forged = client.post("/care/new-link/", {"token": "nonsense"})

    def words_of(response):
        return text(response).split("<main")[1].split("</main>")[0]

    assert words_of(known) == words_of(unknown) == words_of(forged)
    assert [m.template for m in letters_to(OWNER)] == ["reminder-first", "reminder-link"]
    assert not letters_to("nobody@example.org")


def test_a_new_link_comes_to_the_address_that_was_typed_however_one_was_told(client, cast, duty):
    reached = [("email", OWNER), ("postal", "110 Saltbush Street")]
    update_person(person=cast.owner, channel="letter", contacts=reached)
    client.post("/care/new-link/", {"email": OWNER})
    assert [m.template for m in letters_to(OWNER)] == ["reminder-first", "reminder-link"]


def test_asking_with_what_is_no_address_says_so_at_the_field(client, duty):
    response = client.post("/care/new-link/", {"email": "ines"})
    assert response.status_code == 422
    assert "ines" in text(response) and "e-mail" in text(response).lower()


def test_a_withdrawn_duty_asks_for_nothing(client, duty, path):
    services.withdraw_duty(duty=duty, why="gauge was wrong", on=factory.TODAY)
    page = text(client.get(path))
    assert "You need do nothing" in page
    assert "<form" not in page.split("<main")[1].split("</main>")[0]


def test_the_number_of_queries_is_the_same_for_many_basins_and_storms(
    client, cast, django_assert_num_queries
):
    # program, duty, person, basins, inlets, plants, storms, their rain here, waters, measured drops, answers, visits
    big = factory.make_built_site("ASH-3", basins=5)
    for day in (12, 13, 14):
        rain(big, day=date(2026, 7, day), water={})
    rain(cast.site, water={})
    sweep()
    owner = big.responsibilities.get().person
    for site, person in ((cast.site, cast.owner), (big, owner)):
        path = links.path_for(duty=open_duty(site), person_pk=person.pk)
        with django_assert_num_queries(12):
            client.get(path)


def test_whoever_said_it_is_not_theirs_is_thanked_and_asked_for_nothing(client, cast, path):
    page = text(client.post(path, {"answer": "not_mine"}, follow=True))
    main = page[page.index("<main") : page.index("</main")]
    assert "Thank you, Ines." in main and "Pressed by mistake? Call us: 505-555-0100" in main
    for gone in ("Please look after it", "What to do", "Sun 19 Jul", "<form"):
        assert gone not in main
    # a letter's own link still takes another answer
    assert "It is done" in text(client.get(path + "?answer=done"))


def test_whoever_cannot_finds_the_list_folded(client, path):
    page = text(client.post(path, {"answer": "cannot"}, follow=True))
    assert "Please look after it" not in page
    folded = page[page.index("<details><summary>What to do") :]
    assert "Sun 19 Jul" in folded and "Take care" in folded
    assert "It is done" in page
