"""Water that ran though no storm says so: residents', neighbours' and coordinators' reports, and causes that are no rain."""

from datetime import date, timedelta

import pytest
import time_machine

from stewardship.care import links, services
from stewardship.care.choices import DutyState, FlowKind, ReportState
from stewardship.care.models import Answer, Duty, FlowReport, LateNewsRule, Reminder
from stewardship.care.words import reason_text, why_text
from stewardship.common.errors import Refused
from stewardship.outbox.models import Message
from tests import factory
from tests.care.book import TUESDAY, noon, open_duty, rain, revise, sweep

pytestmark = pytest.mark.usefixtures("frozen_day")


@pytest.fixture
def link(cast) -> str:
    """The page behind the link of a letter that the owner got once; nothing is due now."""
    duty = factory.make_duty(
        cast.site, opened_on=date(2026, 6, 20), state="met", closed_on=date(2026, 6, 22)
    )
    return links.path_for(duty=duty, person_pk=cast.owner.pk) + "ran/"


def ran(day: date = TUESDAY, **facts) -> dict:
    return {"ran_on": day.isoformat(), "kind": "rain", "ran_at": "", "note": ""} | facts


def report(cast, **facts) -> FlowReport:
    usual = {"site": cast.site, "kind": "rain", "ran_on": TUESDAY, "at": noon()}
    return services.report_flow(**(usual | facts))


def test_t20_a_resident_whom_nobody_asked_says_that_it_ran_and_a_coordinator_decides(
    client, link, cast, coordinator
):
    said = client.get(link.removesuffix("ran/")).content.decode()
    assert link in said, "the page of the letter's link leads there"
    answer = client.post(link, ran(note="The street was a river", ran_at="16:20"))
    assert answer.status_code == 302
    assert "Thank you, Ines" in client.get(link).content.decode()
    told = FlowReport.objects.get()
    assert (told.person, told.state) == (cast.owner, ReportState.WAITING)
    assert not Duty.objects.open().exists(), "nobody is asked by itself"
    assert "Water ran (rain), says Ines Quist" in coordinator.get("/today/").content.decode()
    assert "The street was a river" in coordinator.get("/care/ran/").content.decode()

    coordinator.post(f"/care/ran/{told.pk}/act/", {f"r{told.pk}-why": "Radar shows a cell there"})
    duty = open_duty(cast.site)
    told.refresh_from_db()
    assert (told.duty, told.decided_by, told.why) == (
        duty,
        cast.coordinator,
        "Radar shows a cell there",
    )
    assert not Duty.objects.open().exclude(site=cast.site).exists(), "at that site only"
    sweep()
    why = Message.objects.get().context["sites"][0]["why"]
    assert why == "it rained there on Tue 14 Jul, as somebody saw on the spot"


def test_t20_a_report_within_a_look_that_is_due_joins_it(cast):
    rain(cast.site, day=TUESDAY)
    sweep()
    duty = open_duty(cast.site)
    due_on = duty.due_on
    told = report(cast, person=cast.owner, kind="hail")
    assert (told.state, told.duty) == (ReportState.ACTED, duty)
    duty.refresh_from_db()
    assert duty.due_on == due_on
    assert [flow["kind"] for flow in duty.reason["flows"]] == ["hail"]
    sweep()
    assert Reminder.objects.count() == 1, "nobody is told again"


def test_t20_a_program_may_let_a_residents_word_act_by_itself(cast):
    services.change_late_news_rule(acts_alone_days=3, reports_act=True, on=factory.TODAY)
    told = report(cast, person=cast.owner)
    assert told.state == ReportState.ACTED
    assert open_duty(cast.site).get_trigger_display() == "After water ran"


@pytest.mark.parametrize("why", ["older than acts by itself", "looked since", "a neighbour's word"])
def test_t20_even_then_some_reports_wait_for_a_person(cast, why):
    services.change_late_news_rule(acts_alone_days=3, reports_act=True, on=factory.TODAY)
    facts = {"person": cast.owner}
    if why == "older than acts by itself":
        facts["ran_on"] = factory.TODAY - timedelta(days=5)
    elif why == "looked since":
        factory.make_visit(cast.site, factory.TODAY)
    else:
        facts = {"told_by": "the woman at 112"}
    assert report(cast, **facts).state == ReportState.WAITING
    assert not Duty.objects.open().exists()


def test_t20_the_same_report_twice_is_one_and_two_people_are_answered_with_one_look(cast):
    first = report(cast, person=cast.owner)
    assert report(cast, person=cast.owner) == first
    second = report(cast, person=cast.tenant)
    assert FlowReport.objects.count() == 2
    duty = services.act_on_flow(report=first, at=noon(), by=cast.coordinator)
    second.refresh_from_db()
    assert second.duty == duty
    with pytest.raises(Refused, match="decided already"):
        services.act_on_flow(report=second, at=noon(), by=cast.coordinator)


def test_t20_one_day_asks_for_one_look_even_after_it_is_done(cast):
    duty = services.act_on_flow(
        report=report(cast, person=cast.owner), at=noon(), by=cast.coordinator
    )
    factory.make_visit(cast.site, TUESDAY)
    Duty.objects.filter(pk=duty.pk).update(state="met", closed_on=TUESDAY)
    late = report(cast, person=cast.tenant, kind="other")
    with pytest.raises(Refused, match="because of that day already: it is met"):
        services.act_on_flow(report=late, at=noon(), by=cast.coordinator)


@pytest.mark.parametrize(
    ("facts", "said"),
    [
        ({"ran_on": date(2026, 5, 1)}, "more than 30 days ago"),
        ({"ran_on": date(2026, 6, 28)}, "Somebody has looked since"),
    ],
)
def test_no_look_is_asked_for_what_is_over(cast, facts, said):
    with pytest.raises(Refused, match=said):
        services.act_on_flow(
            report=report(cast, person=cast.owner, **facts), at=noon(), by=cast.coordinator
        )
    assert FlowReport.objects.waiting().exists()


def test_a_report_is_set_aside_with_a_reason_only(cast, coordinator):
    told = report(cast, person=cast.owner)
    answer = coordinator.post(f"/care/ran/{told.pk}/aside/", {f"r{told.pk}-why": ""})
    assert answer.status_code == 422
    assert "Say why in a few words" in answer.content.decode()
    coordinator.post(f"/care/ran/{told.pk}/aside/", {f"r{told.pk}-why": "A hose, he says"})
    told.refresh_from_db()
    assert (told.state, told.why) == (ReportState.SET_ASIDE, "A hose, he says")


def test_a_day_to_come_is_said_at_the_field_and_nothing_typed_is_lost(client, link):
    answer = client.post(link, ran(factory.TODAY + timedelta(days=1), note="Much water"))
    assert answer.status_code == 422
    said = answer.content.decode()
    assert "That day has not come yet." in said
    assert "Much water" in said
    assert not FlowReport.objects.exists()


def test_opening_the_page_writes_nothing_and_old_or_forged_links_open_nothing(client, link):
    assert client.get(link).status_code == 200
    assert not FlowReport.objects.exists()
    forged = link.replace(":", "x", 1)
    assert client.post(forged, ran()).status_code == 404
    with time_machine.travel(noon() + timedelta(days=links.GOOD_FOR_DAYS + 1), tick=False):
        assert client.post(link, ran()).status_code == 410
    assert not FlowReport.objects.exists()


def test_the_page_speaks_the_persons_language(client, link, cast):
    type(cast.owner).objects.filter(pk=cast.owner.pk).update(language="es")
    assert client.get(link).headers["Content-Language"] == "es"


def test_t21_a_broken_main_opens_looks_at_several_sites_and_letters_name_it(cast, coordinator):
    page = coordinator.get(f"/care/ran/new/?site={cast.site.code}").content.decode()
    assert "A broken water main" in page
    typed = ran(
        kind="water_main",
        note="Corner of Saltbush and Yucca",
        told_by="",
        sites=[cast.site.pk, cast.other_site.pk],
        decision="act",
    )
    coordinator.post("/care/ran/new/", typed)
    assert Duty.objects.open().count() == 2
    duty = open_duty(cast.site)
    assert duty.get_trigger_display() == "After water ran"
    sweep()
    letter = Message.objects.get(to_address="ines.quist@example.org")
    why = letter.context["sites"][0]["why"]
    assert why == "a water main broke on Tue 14 Jul (Corner of Saltbush and Yucca)"
    assert "0." not in why, "no rain depth"
    assert letter.context["sites"][0]["tasks"]
    said = coordinator.get(f"/care/duties/{duty.pk}/").content.decode()
    assert "a water main broke on Tue 14 Jul" in said
    assert "After rain" not in said
    # The same form sent twice: nothing is asked twice.
    coordinator.post("/care/ran/new/", typed)
    assert (FlowReport.objects.count(), Duty.objects.count()) == (2, 2)


@pytest.mark.parametrize("kind", FlowKind.values)
def test_t21_every_cause_has_its_own_words(cast, kind):
    services.record_flow(
        sites=[cast.site], act=True, kind=kind, ran_on=TUESDAY, at=noon(), by=cast.coordinator
    )
    said = reason_text(open_duty(cast.site).reason, "us")
    assert "Tue 14 Jul" in said
    assert ("rained" in said) == (kind == "rain")


def test_t21_a_site_that_cannot_be_asked_about_stops_no_other(cast, coordinator):
    factory.make_visit(cast.other_site, factory.TODAY)
    answer = coordinator.post(
        "/care/ran/new/",
        ran(kind="hail", told_by="", sites=[cast.site.pk, cast.other_site.pk], decision="act"),
        follow=True,
    )
    said = answer.content.decode()
    assert "Written down for 1 site." in said
    assert f"{cast.other_site.code}: Somebody has looked since." in said
    assert FlowReport.objects.waiting().get().site == cast.other_site


def test_only_written_down_asks_nobody(cast, coordinator):
    coordinator.post(
        "/care/ran/new/",
        ran(kind="hail", told_by="the man at 108", sites=[cast.site.pk], decision="note"),
    )
    assert FlowReport.objects.waiting().get().teller == "the man at 108"
    assert not Duty.objects.open().exists()


def test_t21_a_look_after_a_broken_main_is_met_like_any_other(cast):
    services.record_flow(
        sites=[cast.site], act=True, kind="water_main", ran_on=TUESDAY, at=noon(), by=None
    )
    duty = open_duty(cast.site)
    services.record_answer(duty=duty, person=cast.owner, kind="done", at=noon())
    duty.refresh_from_db()
    assert duty.state == DutyState.MET
    assert Answer.objects.count() == 1


def test_a_storm_that_turns_out_less_leaves_a_look_that_has_another_reason(cast):
    storm = rain(cast.site)
    sweep()
    report(cast, person=cast.owner, kind="hail")
    revise(storm, cast.site, depth_in=0.1)
    sweep()
    duty = open_duty(cast.site)
    assert not duty.storms.exists()
    assert not duty.rain_questions.exists(), "it was not told needlessly"
    assert duty.reason["rains"] == []


def test_water_that_ran_after_the_due_day_is_said_in_its_own_words(cast):
    factory.make_care_rule(phase="establishing", least_in=0.5, due_within_days=2)
    rain(cast.site, day=factory.TODAY - timedelta(days=3))
    sweep(factory.TODAY - timedelta(days=3), "23:00")
    duty = open_duty(cast.site)
    Duty.objects.filter(pk=duty.pk).update(due_on=factory.TODAY - timedelta(days=1))
    report(cast, person=cast.owner, kind="water_main", ran_on=factory.TODAY)
    duty.refresh_from_db()
    said = why_text(duty, "us")
    assert "a water main broke on Wed 15 Jul" in said


def test_the_site_page_tells_reports_and_causes(cast, coordinator):
    report(cast, person=cast.owner, kind="snowmelt")
    said = coordinator.get(f"/sites/{cast.site.code}/").content.decode()
    assert "Water ran: Melting snow" in said
    assert "told by Ines Quist" in said


def test_the_list_of_reports_takes_the_same_number_of_queries_for_more(
    cast, coordinator, django_assert_num_queries
):
    report(cast, person=cast.owner)
    coordinator.get("/care/ran/")
    with django_assert_num_queries(6):
        coordinator.get("/care/ran/")
    for n in range(3, 8):
        report(cast, site=factory.make_built_site(f"ASH-{n}"), told_by=f"neighbour {n}")
    with django_assert_num_queries(6):
        coordinator.get("/care/ran/")


def test_a_rule_of_late_news_is_dated_and_changes_nothing_before(cast):
    LateNewsRule.objects.create(starts_on=date(2026, 8, 1), acts_alone_days=10, reports_act=True)
    assert report(cast, person=cast.owner).state == ReportState.WAITING
    assert LateNewsRule.objects.in_force(on=date(2026, 8, 2)).acts_alone_days == 10
