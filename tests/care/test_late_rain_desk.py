"""The late rain desk: what came in, what would follow, deciding about some sites or all, the log of decisions."""

import csv
import io
import re
from datetime import date, timedelta

import pytest

from stewardship.care import services
from stewardship.care.choices import DutyState, RainAsk, RainDecision
from stewardship.care.models import CareRule, Duty, LateNewsRule, RainQuestion
from stewardship.outbox.models import Message
from stewardship.rain.choices import Sureness
from stewardship.rain.models import GaugePlace, ReadingBatch, SiteRain, Storm
from stewardship.rain.services import (
    declare_rain,
    find_again,
    find_waiting_storms,
    note_outage,
    withdraw_declared_rain,
)
from tests import factory
from tests.care.book import TUESDAY, decide, noon, open_duty, rain, revise, sweep
from tests.rain.test_storms_found import at
from tests.rain.test_storms_found import rain as read

pytestmark = pytest.mark.usefixtures("frozen_day")

LONG_AGO = factory.TODAY - timedelta(days=9)


def desk(browser) -> str:
    """The words of the page, spaces evened out."""
    said = browser.get("/care/rain/").content.decode()
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", said))


def several(cast, n: int, day: date = LONG_AGO) -> Storm:
    """Late rain of one storm at so many sites."""
    sites = [cast.site, *(factory.make_built_site(f"ASH-{k}") for k in range(2, n + 1))]
    storm = rain(*sites, day=day, depth_in=0.3)
    services.weigh_site_rains(on=factory.TODAY)
    for site in sites:
        revise(storm, site, depth_in=0.6)
        storm.refresh_from_db()
    services.weigh_site_rains(on=factory.TODAY)
    return storm


def test_t18_the_desk_says_what_would_be_added_by_which_rule_and_who_would_be_told(
    cast, coordinator
):
    several(cast, 2)
    said = desk(coordinator)
    assert "Late rain: a look would be due" in said
    row = said[said.index("OAK-1") :]
    for part in ("0.60 in", "0.30 in", "0.50 in", "Ines Quist"):
        assert part in row
    assert not Message.objects.exists()


def test_t18_the_desk_says_what_came_in_from_which_gauge_by_whom(cast, coordinator, frozen_day):
    gauge = factory.make_gauge("G1")
    start = factory.at(LONG_AGO, "15:00")
    read(gauge, start, 0.3)
    services.weigh_site_rains(on=factory.TODAY)
    frozen_day.shift(3600)
    read(gauge, start, 0.7)
    ReadingBatch.objects.filter(corrected=1).update(by=cast.coordinator)
    services.weigh_site_rains(on=factory.TODAY)
    said = desk(coordinator)
    assert "Readings were corrected: G1." in said
    assert f"G1, Typed in , by {cast.coordinator}" in said
    assert RainQuestion.objects.get(site=cast.site).before_um == factory.um(0.3)


def test_t18_told_needlessly_says_what_they_were_told_and_what_they_did(cast, coordinator):
    storm = rain(cast.site, depth_in=0.6)
    sweep()
    duty = open_duty(cast.site)
    services.record_answer(duty=duty, person=cast.owner, kind="cannot", at=noon())
    revise(storm, cast.site, depth_in=0.2)
    sweep()
    said = desk(coordinator)
    assert "The rain was less than first read" in said
    assert re.search(r"Ines Quist: queued, e-?mail", said)
    assert "Ines Quist: Can’t this time" in said
    duty.refresh_from_db()
    assert duty.state == DutyState.OPEN, "nothing is taken back by itself"


def test_t18_some_sites_of_a_storm_are_decided_and_the_others_wait(cast, coordinator):
    several(cast, 3)
    first, second, third = RainQuestion.objects.open().order_by("site__code")
    decide(coordinator, "act", first, second, note="Maren drove by")
    assert RainQuestion.objects.open().get() == third
    assert set(Duty.objects.open().values_list("site__code", flat=True)) == {"ASH-2", "ASH-3"}
    first.refresh_from_db()
    assert (first.note, first.decided_by) == ("Maren drove by", cast.coordinator)
    assert first.duty == open_duty(first.site), "what followed is kept"


def test_t18_all_of_a_group_are_decided_at_once_but_only_those_that_were_shown(cast, coordinator):
    storm = several(cast, 3)
    shown = RainQuestion.objects.open().order_by("pk")[:2]
    prefix = f"s{storm.pk}-add"
    typed = {
        f"{prefix}-all": "on",
        f"{prefix}-seen": " ".join(str(one.pk) for one in shown),
        f"{prefix}-note": "",
        "decision": "leave",
    }
    coordinator.post(f"/care/rain/{storm.pk}/add/", typed)
    assert RainQuestion.objects.open().count() == 1
    assert not Duty.objects.exists()


def test_t18_one_that_cannot_be_decided_is_named_and_stops_no_other(cast, coordinator):
    several(cast, 3)
    first, second, third = RainQuestion.objects.open().order_by("site__code")
    services.decide_rain_question(question=second, act=False, on=factory.TODAY)
    answer = decide(coordinator, "act", first, second, third)
    said = coordinator.get(answer.url).content.decode()
    assert "Decided: 2 sites." in said
    assert f"{second.site.code}: This has been decided already." in said
    assert Duty.objects.open().count() == 2


def test_t18_the_same_decision_sent_twice_does_nothing_twice(cast, coordinator):
    several(cast, 2)
    questions = list(RainQuestion.objects.open())
    decide(coordinator, "act", *questions)
    before = list(RainQuestion.objects.values_list("decided_at", flat=True))
    answer = decide(coordinator, "act", *questions)
    assert "decided already" not in coordinator.get(answer.url).content.decode()
    assert Duty.objects.count() == 2
    assert list(RainQuestion.objects.values_list("decided_at", flat=True)) == before


def test_no_site_ticked_is_said_and_decides_nothing(cast, coordinator):
    storm = several(cast, 2)
    answer = coordinator.post(
        f"/care/rain/{storm.pk}/add/", {"decision": "act", f"s{storm.pk}-add-note": "all dry"}
    )
    assert answer.status_code == 422
    said = answer.content.decode()
    assert "Tick the sites that you decide about." in said
    assert "all dry" in said
    assert RainQuestion.objects.open().count() == 2


@pytest.mark.parametrize("path", ["/care/rain/999999/add/", "/care/rain/{storm}/whim/"])
def test_a_group_that_is_not_there_is_not_found(cast, coordinator, path):
    storm = several(cast, 1)
    answer = coordinator.post(path.format(storm=storm.pk), {"decision": "act"})
    assert answer.status_code == 404


def test_t18_the_log_says_who_decided_what_why_and_what_followed(cast, coordinator):
    several(cast, 2)
    first, second = RainQuestion.objects.open().order_by("site__code")
    decide(coordinator, "act", first, note="The trap was full")
    decide(coordinator, "leave", second)
    said = coordinator.get("/care/rain/log/").content.decode()
    assert "The trap was full" in said
    assert f'href="/care/duties/{open_duty(first.site).pk}/"' in said
    only = coordinator.get("/care/rain/log/?decision=leave").content.decode()
    assert second.site.code in only
    assert "The trap was full" not in only
    sheet = b"".join(coordinator.get("/care/rain/log/?_export=csv&decision=act")).decode(
        "utf-8-sig"
    )
    row = next(csv.DictReader(io.StringIO(sheet)))
    assert (row["Site"], row["By"], row["Why"]) == (
        first.site.code,
        str(cast.coordinator),
        "The trap was full",
    )
    assert row["What followed"] == "a look was asked for"


def test_t18_how_recent_acts_by_itself_is_a_dated_setting(cast, coordinator):
    coordinator.post("/care/rain/by-itself/", {"acts_alone_days": "10"})
    rule = LateNewsRule.objects.get()
    assert (rule.starts_on, rule.acts_alone_days) == (factory.TODAY, 10)
    several(cast, 1)
    assert open_duty(cast.site)
    assert not RainQuestion.objects.open().exists()


def test_a_setting_that_is_no_number_of_days_is_refused_in_place(cast, coordinator):
    answer = coordinator.post("/care/rain/by-itself/", {"acts_alone_days": "400"})
    assert answer.status_code == 422
    assert not LateNewsRule.objects.exists()


def test_the_desk_takes_the_same_number_of_queries_for_more_sites(
    cast, coordinator, django_assert_num_queries
):
    several(cast, 2)
    coordinator.get("/care/rain/")
    with django_assert_num_queries(18):
        coordinator.get("/care/rain/")
    sites = [factory.make_built_site(f"FIR-{k}") for k in range(2, 7)]
    rain(*sites, day=LONG_AGO - timedelta(days=2), depth_in=0.9)
    services.weigh_site_rains(on=factory.TODAY)
    assert RainQuestion.objects.open().count() == 7
    with django_assert_num_queries(18):
        coordinator.get("/care/rain/")


# -- whatever changes the rain comes to the desk ---------------------------------------------------------------
def test_t15_declared_rain_is_what_is_due_and_the_reason_names_it(cast, coordinator):
    gauge = factory.make_gauge("G1")
    factory.make_gauge("G2", lat=factory.LAT + 0.3)
    read(gauge, at("15:00"), None)
    read(factory.make_gauge("G3", lat=factory.LAT + 0.31), at("15:00"), 0.9)
    sweep()
    assert RainQuestion.objects.open().get(site=cast.site).ask == RainAsk.UNKNOWN
    storm = Storm.objects.get()
    page = coordinator.get(f"/care/rain/{storm.pk}/?site=OAK-1").content.decode()
    assert "Say what it was here" in page
    typed = {"depth": "0.62", "reason": "A jar by the mailbox", "sites": [cast.site.pk]}
    coordinator.post(f"/care/rain/{storm.pk}/", typed)
    sweep()
    duty = open_duty(cast.site)
    assert duty.reason["rains"][0]["sureness"] == Sureness.DECLARED
    why = Message.objects.get(to_address="ines.quist@example.org").context["sites"][0]["why"]
    author = str(cast.coordinator)
    assert why == f"0.62 in on Tue 14 Jul, declared by {author}: A jar by the mailbox"
    question = RainQuestion.objects.get(site=cast.site)
    assert question.decision == RainDecision.OVERTAKEN, "it is known now"
    for path in (f"/rain/storms/{storm.pk}/", f"/sites/{cast.site.code}/"):
        said = coordinator.get(path).content.decode()
        assert f"Declared by {author}: A jar by the mailbox" in said
        assert "Declared by a person" in said


def test_t15_a_declaration_taken_back_is_a_question_not_a_silent_withdrawal(cast, coordinator):
    read(factory.make_gauge("G1"), at("15:00"), 0.1)
    storm = Storm.objects.get()
    said = declare_rain(
        storm=storm,
        site=cast.site,
        depth_um=factory.um(0.9),
        typed="0.9 in",
        reason="A bucket",
        by=cast.coordinator,
    )
    sweep()
    duty = open_duty(cast.site)
    coordinator.post(f"/care/declared/{said.pk}/withdraw/")
    sweep()
    question = RainQuestion.objects.open().get(site=cast.site)
    assert (question.ask, question.duty) == (RainAsk.NEEDLESS, duty)
    assert "taken back" in desk(coordinator)
    withdraw_declared_rain(declared=said, by=cast.coordinator)
    assert RainQuestion.objects.open().count() == 1


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ({"depth": "-1", "reason": "x"}, "At least 0"),
        ({"depth": "a lot", "reason": "Seen"}, "Enter a number, e.g. 2.5."),
        ({"depth": "0.5", "reason": ""}, "Fill this in."),
    ],
)
def test_a_declaration_that_cannot_be_read_is_said_in_place(cast, coordinator, typed, said):
    read(factory.make_gauge("G1"), at("15:00"), 0.1)
    storm = Storm.objects.get()
    answer = coordinator.post(f"/care/rain/{storm.pk}/", typed | {"sites": [cast.site.pk]})
    assert answer.status_code == 422
    assert said in answer.content.decode()


def test_a_declaration_for_no_site_asks_where(cast, coordinator):
    read(factory.make_gauge("G1"), at("15:00"), 0.1)
    storm = Storm.objects.get()
    answer = coordinator.post(f"/care/rain/{storm.pk}/", {"depth": "0.5", "reason": "Seen"})
    assert "Tick at least one site." in answer.content.decode()


def test_t18_an_outage_found_later_asks_about_what_was_told(cast, coordinator):
    gauge = factory.make_gauge("G1")
    read(gauge, at("15:00"), 0.9)
    sweep()
    duty = open_duty(cast.site)
    note_outage(
        gauge=gauge,
        start_s=factory.seconds(at("14:00")),
        end_s=factory.seconds(at("20:00")),
        why="A sprinkler hit it",
        by=cast.coordinator,
    )
    find_waiting_storms()
    sweep()
    duty.refresh_from_db()
    assert duty.state == DutyState.OPEN
    assert RainQuestion.objects.open().get(site=cast.site).duty == duty


def test_t18_a_gauge_found_to_have_stood_elsewhere_brings_its_sites_to_the_desk(cast, coordinator):
    """Storms are found again on request; nobody is told by that."""
    gauge = factory.make_gauge("G1", lat=factory.LAT + 0.3)
    nearer = factory.make_gauge("G2")
    start = factory.at(LONG_AGO, "15:00")
    read(gauge, start, 0.9)
    read(nearer, start, 0.1)
    sweep()
    assert not RainQuestion.objects.exists()
    GaugePlace.objects.filter(gauge=gauge).update(lat=factory.LAT + 0.001)
    span = {"start_s": factory.seconds(start) - 3600, "end_s": factory.seconds(start) + 9000}
    find_again(**span, why="It stood at the corner all along", by=cast.coordinator)
    sweep()
    asked = RainQuestion.objects.open().get(site=cast.site)
    assert (asked.ask, asked.before_um) == (RainAsk.ADD, factory.um(0.1))
    assert not Message.objects.exists()
    assert "OAK-1" in desk(coordinator)


def test_t22_a_threshold_changed_in_the_middle_of_the_season_leaves_past_storms_as_they_were(cast):
    """The agency asks for looks from 0.25 in on; the storm of the day before the change stays under the old 0.5 in."""
    changed = factory.TODAY
    past = rain(cast.site, day=TUESDAY, depth_in=0.3)
    sweep()
    old = CareRule.objects.get(trigger="after_rain", phase="establishing", ends_on=None)
    old.ends_on = changed
    old.save()
    CareRule.objects.create(
        trigger="after_rain",
        phase="establishing",
        least_depth_um=factory.um(0.25),
        starts_on=changed,
    )
    SiteRain.objects.filter(storm=past).update(weighed_at=None)
    sweep()
    assert not Duty.objects.filter(trigger="after_rain").exists()
    assert not RainQuestion.objects.exists(), "nothing is asked about the past either"
    rain(cast.site, day=changed, clock="08:00", depth_in=0.3)
    sweep()
    duty = open_duty(cast.site)
    assert [one["day"] for one in duty.reason["rains"]] == [changed.isoformat()]
    assert duty.rule.least_depth_um == factory.um(0.25)


def test_t22_asked_for_by_a_person_a_past_storm_may_still_be_looked_after(cast, coordinator):
    several(cast, 1)
    old = CareRule.objects.get(trigger="after_rain", phase="establishing", ends_on=None)
    old.ends_on = factory.TODAY
    old.save()
    decide(coordinator, "act", RainQuestion.objects.open().get())
    assert open_duty(cast.site).rule == old, "under the rule of its day"
