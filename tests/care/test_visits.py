"""What really happened: done by is not owed by, happened is not written down, seen is not reported."""

import uuid
from datetime import date, timedelta

import pytest
from django.utils import timezone

from sites.models import SedimentTrap
from stewardship.care import services
from stewardship.care.choices import (
    AnswerKind,
    DutyState,
    Evidence,
    Item,
    Judgement,
    NeedsPerson,
    Outcome,
    Trigger,
)
from stewardship.care.models import CleanOut, Duty, Finding, Visit
from stewardship.care.services import Found, TakenOut
from stewardship.care.words import reason_text
from stewardship.common.errors import Refused
from tests import factory
from tests.care.book import TUESDAY, noon, open_duty, rain, sweep

pytestmark = pytest.mark.usefixtures("frozen_day")


@pytest.fixture
def duty(cast) -> Duty:
    rain(cast.site)
    sweep()
    return open_duty(cast.site)


@pytest.fixture
def page(cast) -> str:
    return f"/care/visits/new/{cast.site.code}/"


def typed(**fields) -> dict:
    return {
        "happened_on": factory.TODAY.isoformat(),
        "outcome": Outcome.DONE,
        "evidence": Evidence.INSPECTED,
        "entry_key": str(uuid.uuid4()),
        "done_by": "",
    } | fields


def test_t24_help_by_a_volunteer_meets_the_owners_duty_and_moves_it_to_nobody(cast, duty):
    helper = cast.volunteer.person
    services.record_visit(site=cast.site, happened_on=factory.TODAY, done_by=helper, minutes=40)
    duty.refresh_from_db()
    assert (duty.state, duty.owed_by.person) == (DutyState.MET, cast.owner)
    assert Visit.objects.get(done_by=helper).minutes == 40


def test_t25_reported_and_inspected_are_kept_apart(cast, duty):
    services.record_answer(duty=duty, person=cast.owner, kind=AnswerKind.DONE, at=noon())
    services.record_visit(
        site=cast.site,
        happened_on=factory.TODAY,
        done_by_agency=cast.agency,
        evidence=Evidence.INSPECTED,
        findings=[Found(Item.TRAP, Judgement.ACT, cast.site.basins.get())],
    )
    said = list(Visit.objects.filter(happened_on=factory.TODAY).order_by("pk"))
    assert [visit.evidence for visit in said] == [Evidence.REPORTED, Evidence.INSPECTED]
    duty.refresh_from_db()
    assert duty.state == DutyState.MET
    assert open_duty(cast.site).trigger == Trigger.FINDING


def test_t27_tried_but_could_not_meets_nothing_and_is_told(cast, duty):
    services.record_visit(
        site=cast.site,
        happened_on=factory.TODAY,
        duty=duty,
        outcome=Outcome.COULD_NOT,
        note="a car stood on it",
    )
    duty.refresh_from_db()
    assert duty.state == DutyState.OPEN
    assert duty.events.last().why == "Tried, could not: a car stood on it"


def test_t27_it_must_be_said_what_kept_one_from_it(coordinator, page):
    answer = coordinator.post(page, typed(outcome=Outcome.COULD_NOT))
    assert answer.status_code == 422
    assert "Say what kept you from it." in answer.content.decode()


def test_t28_what_is_unsafe_is_due_at_once_and_stands_on_the_coordinators_list(cast):
    services.record_visit(
        site=cast.site,
        happened_on=factory.TODAY,
        findings=[Found(Item.EDGE, Judgement.UNSAFE, note="broken curb")],
    )
    follow_up = open_duty(cast.site)
    assert follow_up.due_on == factory.TODAY
    assert follow_up.needs_person_why == NeedsPerson.UNSAFE
    assert reason_text(follow_up.reason, "us") == (
        "Edge and sidewalk: Unsafe, seen on Wed 15 Jul. broken curb"
    )


def test_t30_a_paper_form_of_last_month_tells_both_times_and_meets_nothing_newer(
    cast, coordinator, duty, page
):
    basin = cast.site.basins.get()
    answer = coordinator.post(
        page,
        typed(happened_on="2026-06-10", **{f"j-{basin.pk}-litter": Judgement.GOOD}),
        follow=True,
    )
    visit = Visit.objects.get(happened_on=date(2026, 6, 10))
    assert visit.entered_at == timezone.now()
    assert visit.entered_by == cast.coordinator
    duty.refresh_from_db()
    assert duty.state == DutyState.OPEN
    assert "later than it happened" in answer.content.decode()


def test_t30_a_duty_met_long_before_it_was_written_down_was_met_on_that_day(cast, duty):
    services.record_visit(
        site=cast.site, happened_on=factory.TODAY, at=noon(factory.TODAY + timedelta(days=20))
    )
    duty.refresh_from_db()
    assert duty.closed_on == factory.TODAY


def test_a_visit_meets_what_was_due_by_calendar_too(unseen):
    services.open_calendar_duties(on=TUESDAY)
    services.record_visit(site=unseen.site, happened_on=factory.TODAY)
    assert not Duty.objects.open().filter(site=unseen.site).exists()


def test_a_visit_written_late_shows_that_a_calendar_round_was_not_due(unseen):
    services.open_calendar_duties(on=factory.TODAY)
    services.record_visit(site=unseen.site, happened_on=factory.TODAY - timedelta(days=20))
    assert Duty.objects.get(site=unseen.site).state == DutyState.MET


def test_a_visit_of_long_ago_does_not(unseen):
    services.open_calendar_duties(on=factory.TODAY)
    services.record_visit(site=unseen.site, happened_on=factory.TODAY - timedelta(days=61))
    assert open_duty(unseen.site)


def test_what_was_found_wanting_opens_one_follow_up_until_it_is_seen_good(cast):
    basin = cast.site.basins.get()
    act = [Found(Item.SPILLWAY, Judgement.ACT, basin, "rock moved")]
    services.record_visit(site=cast.site, happened_on=TUESDAY, findings=act)
    services.record_visit(site=cast.site, happened_on=factory.TODAY, findings=act)
    follow_up = open_duty(cast.site)
    # 14 days for work after a finding: common practice, no source
    assert follow_up.due_on == TUESDAY + timedelta(days=14)
    good = [Found(Item.SPILLWAY, Judgement.GOOD, basin)]
    services.record_visit(site=cast.site, happened_on=factory.TODAY, findings=good)
    follow_up.refresh_from_db()
    assert follow_up.state == DutyState.MET


def test_a_visit_that_did_not_look_at_it_leaves_the_follow_up_open(cast):
    act = [Found(Item.SPILLWAY, Judgement.ACT, cast.site.basins.get())]
    services.record_visit(site=cast.site, happened_on=TUESDAY, findings=act)
    services.record_visit(site=cast.site, happened_on=factory.TODAY)
    assert open_duty(cast.site).trigger == Trigger.FINDING


def test_emptying_the_trap_answers_the_follow_up_about_it(cast):
    basin = cast.site.basins.get()
    trap = SedimentTrap.objects.get(inlet__basin=basin)
    services.record_visit(
        site=cast.site, happened_on=TUESDAY, findings=[Found(Item.TRAP, Judgement.ACT, basin)]
    )
    services.record_visit(
        site=cast.site, happened_on=factory.TODAY, clean_outs=[TakenOut(trap, litres=12.0)]
    )
    assert not Duty.objects.open().exists()


@pytest.mark.parametrize(
    ("drop_in", "judgement"), [("3.1", "good"), ("3", "good"), ("2.4", "watch"), ("1.5", "act")]
)
def test_a_measured_trap_is_judged_by_its_drop(cast, coordinator, page, drop_in, judgement):
    # 3 in or more good, 2 to 3 in watch, under 2 in act: common practice, no source.
    trap = SedimentTrap.objects.get(inlet__basin__site=cast.site)
    coordinator.post(page, typed(**{f"drop-{trap.pk}": drop_in}))
    finding = Finding.objects.get(item=Item.TRAP)
    assert finding.judgement == judgement
    assert finding.measured_m == pytest.approx(float(drop_in) * 0.0254)
    assert Duty.objects.open().filter(trigger=Trigger.FINDING).exists() is (judgement == "act")


def test_a_trap_that_was_full_and_emptied_on_the_same_visit_needs_no_follow_up(
    cast, coordinator, page
):
    trap = SedimentTrap.objects.get(inlet__basin__site=cast.site)
    coordinator.post(page, typed(**{f"drop-{trap.pk}": "0.5", f"litres-{trap.pk}": "3"}))
    out = CleanOut.objects.get()
    assert out.litres == pytest.approx(3 * 3.785411784)  # US gallons, as typed
    assert out.drop_before_m == pytest.approx(0.0127)
    assert not Duty.objects.open().exists()


def test_whoever_looked_may_judge_otherwise_than_the_drop(cast, coordinator, page):
    basin = cast.site.basins.get()
    trap = SedimentTrap.objects.get(inlet__basin=basin)
    coordinator.post(page, typed(**{f"drop-{trap.pk}": "1.5", f"j-{basin.pk}-trap": "watch"}))
    assert Finding.objects.get().judgement == Judgement.WATCH


def test_the_form_records_who_was_there(cast, coordinator, page):
    coordinator.post(page, typed(done_by=f"p{cast.volunteer.person.pk}", minutes="30"))
    coordinator.post(page, typed(done_by=f"a{cast.agency.pk}"))
    by_person, by_agency = Visit.objects.filter(happened_on=factory.TODAY).order_by("pk")
    assert by_person.done_by == cast.volunteer.person
    assert by_agency.done_by_agency == cast.agency


def test_the_same_form_sent_twice_is_one_visit(coordinator, page):
    form = typed()
    for _ in range(2):
        coordinator.post(page, form)
    assert Visit.objects.filter(happened_on=factory.TODAY).count() == 1


def test_a_visit_in_the_future_is_refused_and_nothing_typed_is_lost(coordinator, page):
    tomorrow = (factory.TODAY + timedelta(days=1)).isoformat()
    answer = coordinator.post(page, typed(happened_on=tomorrow, note="rocks are fine"))
    said = answer.content.decode()
    assert answer.status_code == 422
    assert "That day has not come yet." in said and "rocks are fine" in said


@pytest.mark.parametrize(
    "wrong",
    [
        {"happened_on": factory.TODAY + timedelta(days=1)},
        {"both": True},
        {"findings": [Found("trap", "good"), Found("trap", "act")]},
    ],
)
def test_the_service_refuses_what_cannot_be_and_writes_nothing(cast, wrong):
    facts = {"site": cast.site, "happened_on": factory.TODAY} | wrong
    if facts.pop("both", False):
        facts |= {"done_by": cast.owner, "done_by_agency": cast.agency}
    before = Visit.objects.count()
    with pytest.raises(Refused):
        services.record_visit(**facts)
    assert Visit.objects.count() == before


def test_a_reviewer_sees_own_visits_without_names_and_notes_and_no_others(
    cast, client_of, coordinator
):
    own = services.record_visit(
        site=cast.site,
        happened_on=factory.TODAY,
        done_by=cast.owner,
        note="key under the pot",
        findings=[Found(Item.LITTER, Judgement.WATCH)],
    )
    other = services.record_visit(site=cast.other_site, happened_on=factory.TODAY)
    reviewer = client_of("reviewer")
    said = reviewer.get(f"/care/visits/{own.pk}/").content.decode()
    assert "Litter" in said and "a resident or volunteer" in said
    assert "Quist" not in said and "key under the pot" not in said
    assert reviewer.get(f"/care/visits/{other.pk}/").status_code == 404
    assert "key under the pot" in coordinator.get(f"/care/visits/{own.pk}/").content.decode()
