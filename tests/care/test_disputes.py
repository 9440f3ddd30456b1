"""Somebody says that it is not theirs: clocks stand still in sight, both sides stay, and the days are given back."""

from datetime import date, timedelta

import pytest

from stewardship.agreements.services.disputing import answer_dispute, open_dispute
from stewardship.care import rules, services
from stewardship.care.choices import DutyState
from stewardship.care.models import Duty
from stewardship.common.errors import Refused
from tests import factory
from tests.care.book import TUESDAY, letters_to, noon, open_duty, rain, statuses, sweep

pytestmark = pytest.mark.usefixtures("frozen_day")

OWNER = "ines.quist@example.org"


def day(number: int) -> date:
    """So many days after the frozen day, 15 July."""
    return factory.TODAY + timedelta(days=number)


def dispute(cast, on: date = factory.TODAY, **changes):
    facts = {
        "site": cast.site,
        "person": cast.owner,
        "claim": "You measured my neighbour’s.",
        "answer": "The plate says OAK-1.",
        "on": on,
    }
    return open_dispute(**(facts | changes))


def test_t10_no_letter_no_second_letter_and_no_step_while_it_stands(cast, frozen_day):
    for action, after in (("second_reminder", 3), ("coordinator", 6), ("agency", 8)):
        factory.make_hand_on(action, after)
    rain(cast.site)
    sweep()
    dispute(cast)
    frozen_day.move_to(noon(day(20)), tick=False)
    sweep(day(20))
    duty = open_duty(cast.site)
    assert len(letters_to(OWNER)) == 1 and duty.needs_person_since is None


def test_t10_a_letter_that_waits_is_taken_back_and_goes_out_when_it_is_settled(
    cast, coordinator, frozen_day
):
    frozen_day.move_to(factory.at(factory.TODAY, "20:00"), tick=False)
    rain(cast.site)
    sweep(clock="20:00")
    coordinator.post("/sites/OAK-1/disputed/", {"claim": "Not mine.", "on": "2026-07-15"})
    assert statuses(letters_to(OWNER)) == ["suppressed"]
    held = cast.site.disputes.get()
    services.settle_dispute(dispute=held, on=factory.TODAY, outcome="It is theirs")
    for _ in range(2):
        sweep(clock="20:30")
    assert statuses(letters_to(OWNER)) == ["suppressed", "queued"]


def test_t10_a_duty_that_opens_meanwhile_tells_nobody(cast):
    dispute(cast)
    rain(cast.site)
    sweep()
    assert open_duty(cast.site) and not letters_to(OWNER)


def test_t10_no_day_counts_as_late_while_it_stands(cast, client_of, frozen_day):
    rain(cast.site)
    sweep()
    dispute(cast)
    frozen_day.move_to(noon(day(20)), tick=False)
    duty, coordinator = open_duty(cast.site), client_of("coordinator")
    assert duty not in Duty.objects.late(on=day(20))
    for address in (f"/care/duties/{duty.pk}/", "/care/duties/", "/sites/OAK-1/", "/today/"):
        page = coordinator.get(address).content.decode().casefold()
        assert "disputed" in page, address
        assert "open, late" not in page and "late, was due" not in page, address


def test_t10_compliance_and_proof_name_it_apart_from_what_is_late(cast, client_of, frozen_day):
    rain(cast.site)
    sweep()
    dispute(cast)
    frozen_day.move_to(noon(day(20)), tick=False)
    reviewer = client_of("reviewer")
    page = reviewer.get("/reports/compliance/").content.decode()
    assert "disputed since Wed 15 Jul" in page
    proof = reviewer.get("/reports/compliance/OAK-1/").content.decode()
    assert "Open, disputed" in proof and "Overdue" not in proof
    assert "neighbour" not in page + proof


def test_t10_on_settling_due_days_move_by_the_days_it_stood(cast, frozen_day):
    rain(cast.site)
    sweep()
    before = open_duty(cast.site).due_on
    held = dispute(cast)
    frozen_day.move_to(noon(day(10)), tick=False)
    services.settle_dispute(dispute=held, on=day(10), outcome="It is theirs", by=cast.coordinator)
    duty = open_duty(cast.site)
    assert duty.due_on == before + timedelta(days=10)
    assert "stood still for 10 days" in duty.events.last().why
    # and the steps go on where they stood
    factory.make_hand_on("second_reminder", 3)
    sweep(day(12))
    assert len(letters_to(OWNER)) == 1
    sweep(day(13))
    assert len(letters_to(OWNER)) == 2


def test_t10_a_later_storm_does_not_take_the_days_away(cast, frozen_day):
    rain(cast.site)
    sweep()
    held = dispute(cast)
    frozen_day.move_to(noon(day(10)), tick=False)
    services.settle_dispute(dispute=held, on=day(10), outcome="It is theirs")
    moved = open_duty(cast.site).due_on
    rain(cast.site, day=day(9))
    sweep(day(10))
    assert open_duty(cast.site).due_on == moved


def test_what_is_done_while_it_stands_is_judged_without_those_days(cast, frozen_day):
    rain(cast.site)
    sweep()
    duty = open_duty(cast.site)
    dispute(cast)
    frozen_day.move_to(noon(day(9)), tick=False)
    services.record_visit(site=cast.site, happened_on=day(9))
    duty.refresh_from_db()
    assert duty.state == DutyState.MET and duty.closed_on <= duty.due_on


def test_a_duty_that_opened_while_it_stood_gets_only_its_own_days(cast, frozen_day):
    held = dispute(cast, on=date(2026, 7, 1))
    rain(cast.site)
    sweep()
    before = open_duty(cast.site).due_on
    frozen_day.move_to(noon(day(4)), tick=False)
    services.settle_dispute(dispute=held, on=day(4), outcome="It is theirs")
    assert open_duty(cast.site).due_on == before + timedelta(days=4)


def test_t10_both_sides_are_kept_and_the_page_settles_it(cast, coordinator):
    rain(cast.site)
    sweep()
    typed = {"person": cast.owner.pk, "claim": "Not mine.", "answer": "", "on": "2026-07-15"}
    empty = coordinator.post("/sites/OAK-1/disputed/", typed | {"claim": " "})
    assert empty.status_code == 422
    assert coordinator.post("/sites/OAK-1/disputed/", typed).status_code == 302
    twice = coordinator.post("/sites/OAK-1/disputed/", typed)
    assert twice.status_code == 422 and "disputed at OAK-1 already" in twice.content.decode()
    held = cast.site.disputes.get()
    address = f"/rests/disputes/{held.pk}/"
    coordinator.post(address, {"does": "answer", "answer": "The plan shows it."})
    unsettled = coordinator.post(address, {"does": "settle", "on": "2026-07-15", "outcome": ""})
    assert unsettled.status_code == 422
    coordinator.post(address, {"does": "settle", "on": "2026-07-15", "outcome": "Theirs after all"})
    page = coordinator.get(address).content.decode()
    for words in ("Not mine.", "The plan shows it.", "Theirs after all"):
        assert words in page


def test_reminding_by_hand_is_refused_in_words(cast):
    rain(cast.site)
    sweep()
    dispute(cast)
    with pytest.raises(Refused, match="disputed"):
        services.remind_again(duty=open_duty(cast.site), at=noon())


def test_orders_that_cannot_be(cast):
    with pytest.raises(Refused, match="yet to come"):
        dispute(cast, on=day(1))
    held = dispute(cast)
    with pytest.raises(Refused, match="before it began"):
        services.settle_dispute(dispute=held, on=TUESDAY, outcome="x")
    with pytest.raises(Refused, match="what we say"):
        answer_dispute(dispute=held, answer=" ")
    services.settle_dispute(dispute=held, on=factory.TODAY, outcome="x")
    with pytest.raises(Refused, match="settled already"):
        services.settle_dispute(dispute=held, on=factory.TODAY, outcome="x")


@pytest.mark.parametrize(
    ("spans", "days"),
    [
        ([], 0),
        ([(date(2026, 7, 1), date(2026, 7, 4))], 0),  # over before
        ([(date(2026, 7, 8), date(2026, 7, 12))], 2),  # began before
        ([(date(2026, 7, 12), None)], 8),  # stands still
        ([(date(2026, 7, 10), date(2026, 7, 11)), (date(2026, 7, 15), date(2026, 7, 30))], 6),
        ([(date(2026, 7, 25), None)], 0),  # begins after
    ],
)
def test_days_for_which_clocks_stood_still(spans, days):
    since, until = date(2026, 7, 10), date(2026, 7, 20)
    assert rules.days_stood(spans, since=since, until=until) == days
