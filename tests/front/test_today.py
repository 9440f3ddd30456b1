"""What needs the coordinator: each kind, its place in the order, why, and the action."""

from datetime import date, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from stewardship.agreements.models import Agreement, Party
from stewardship.care.choices import CheckReason, RainAsk
from stewardship.care.models import Answer, ContactCheck, RainQuestion, Reminder
from stewardship.rain.models import GaugeOutage
from tests import factory
from tests.book import make_message

TODAY = reverse("today")


@pytest.fixture(autouse=True)
def _day(frozen_day):
    pass


@pytest.fixture
def sections(cast, coordinator):
    """sections() → what stands on the page by key, in order."""

    def read() -> dict:
        response = coordinator.get(TODAY)
        assert response.status_code == 200
        return {section.key: section for section in response.context["sections"]}

    return read


def only(sections: dict, key: str):
    assert list(sections) == [key]
    (need,) = sections[key].needs
    return need


def test_with_nothing_to_do_the_page_says_so_kindly(cast, coordinator):
    response = coordinator.get(TODAY)
    assert response.context["sections"] == []
    page = response.content.decode()
    assert "Nothing needs you today." in page
    assert "No storm has been found yet." in page


def test_a_built_site_where_nobody_is_responsible_comes_first(cast, sections):
    held = cast.site.responsibilities.get()
    held.ends_on, held.ended_why = date(2026, 6, 1), "Moved away"
    held.save()
    factory.make_duty(cast.site)  # owed by nobody
    need = only(sections(), "nobody")
    assert need.title == "OAK-1 · 110 Saltbush Street"
    assert "1 duty is open" in need.why
    assert need.action_url == reverse("site", args=["OAK-1"])


def test_an_unsafe_finding_stands_before_one_that_only_asks_for_work(cast, sections):
    for site, judgement in ((cast.site, "act"), (cast.other_site, "unsafe")):
        factory.make_duty(
            site,
            trigger="finding",
            reason={"item": "inlet", "judgement": judgement, "day": "2026-07-10"},
        )
    found = sections()["found"].needs
    assert [need.state for need in found] == ["unsafe", "open"]
    assert "Inlet: Unsafe, seen on Fri 10 Jul" in found[0].why


def test_an_answer_of_cannot_says_why_it_is_on_the_list(cast, sections):
    duty = factory.make_duty(
        cast.site, needs_person_since=date(2026, 7, 15), needs_person_why="cannot"
    )
    need = only(sections(), "listed")
    assert "0.62 in on Tue 14 Jul" in need.why
    assert "Can’t this time, since Wed 15 Jul" in need.why
    assert "owed by Ines Quist" in need.why
    assert need.action_url == reverse("care:duty", args=[duty.pk])


def test_somebody_to_find_again(cast, sections):
    ContactCheck.objects.create(
        person=cast.owner, site=cast.site, reason=CheckReason.NOT_MINE, note="Says she sold"
    )
    need = only(sections(), "checks")
    assert need.title == "Ines Quist"
    assert "Said it is not theirs any more" in need.why
    assert "Says she sold" in need.why


def test_a_late_duty_says_since_when_and_whether_anybody_answered(cast, sections):
    duty = factory.make_duty(cast.site, opened_on=date(2026, 7, 1), due_on=date(2026, 7, 6))
    Reminder.objects.create(
        duty=duty,
        person=cast.owner,
        message=make_message(status="sent", sent_at=factory.at(date(2026, 7, 2))),
    )
    need = only(sections(), "late")
    assert (need.state, need.state_words) == ("overdue", "late, was due Mon 6 Jul")
    assert "told, no answer yet" in need.why


def test_a_duty_that_is_merely_open_does_not_need_the_coordinator(cast, sections):
    factory.make_duty(cast.site)
    assert sections() == {}


def test_a_duty_stands_in_one_place_only(cast, sections):
    factory.make_duty(
        cast.site,
        opened_on=date(2026, 7, 1),
        due_on=date(2026, 7, 6),
        needs_person_since=date(2026, 7, 10),
        needs_person_why="no_answer",
    )
    assert list(sections()) == ["listed"]


def test_letters_to_print_failed_and_held(cast, sections):
    make_message("a", channel="letter", to_address="110 Saltbush Street")
    make_message("b", channel="letter", to_address="210 Yucca Lane")
    make_message("c", status="failed", error="The mail server said no.")
    make_message("d", status="unsure")
    make_message("e", status="held", channel="text", to_address="5055550111")
    needs = sections()["letters"].needs
    assert needs[0].title == "2 letters to print and post"
    assert {need.state for need in needs[1:3]} == {"failed", "unsure"}
    assert any(need.why == "The mail server said no." for need in needs)
    assert needs[3].title == "1 message is held"


def test_t11_agreements_that_lack_a_signature_or_end_soon(cast, sections):
    draft = Agreement.objects.create(
        reference="A-77",
        instrument="care_agreement",
        wording=cast.site.agreements.get().wording,
        state="offered",
    )
    draft.sites.add(factory.make_site("ASH-9"))
    Party.objects.create(agreement=draft, person=cast.tenant, capacity="tenant")
    for code, ends in (("ELM-2", 60), ("OAK-1", 61)):
        agreement = Agreement.objects.get(sites__code=code)
        agreement.ends_on = factory.TODAY + timedelta(days=ends)
        agreement.save()
    offered, ending = sections()["agreements"].needs
    assert offered.title == "A-77"
    assert offered.why == (
        "Incomplete: missing the landlord’s consent (nobody is named yet); the program’s signature "
        "(nobody is named yet); the tenant’s acknowledgement; asked: Bram Okello."
    )
    assert ending.title == Agreement.objects.get(sites__code="ELM-2").reference
    assert "Ends on Sun 13 Sep" in ending.why


def test_t18_late_rain_waits_for_a_decision_storm_by_storm(cast, sections):
    storm = factory.make_storm(factory.at(date(2026, 7, 10)))
    for site, ask in ((cast.site, RainAsk.ADD), (cast.other_site, RainAsk.UNKNOWN)):
        RainQuestion.objects.create(site=site, storm=storm, ask=ask, storm_revision=2)
    need = only(sections(), "rain")
    assert need.title == "Storm of Fri 10 Jul"
    assert need.why == "1 site would get a duty, rain is not known at 1 site"


def test_t15_a_gauge_that_fell_silent_or_is_out(cast, sections):
    noon = factory.at(factory.TODAY)
    fresh, stale = factory.make_gauge("G1"), factory.make_gauge("G2")
    daily = factory.make_gauge("D3", kind="daily")
    only_rain = factory.make_gauge("T4", kind="tipping", lists_dry=False)
    out = factory.make_gauge("G5")
    for gauge, ago in (
        (fresh, timedelta(hours=1)),
        (stale, timedelta(hours=25)),
        (daily, timedelta(hours=47)),
        (only_rain, timedelta(days=20)),
        (out, timedelta(hours=1)),
    ):
        factory.make_readings(gauge, noon - ago - factory.QUARTER, factory.QUARTER, [0.1])
    GaugeOutage.objects.create(gauge=out, start_s=factory.seconds(noon) - 3600, why="Battery flat")
    factory.make_gauge("G6", ended_on=date(2026, 1, 1))
    needs = sections()["gauges"].needs
    assert [need.title[:2] for need in needs] == ["G2", "G5"]
    assert "Last reading Tue 14 Jul" in needs[0].why
    assert "Out: Battery flat." in needs[1].why


def test_a_long_section_is_cut_and_says_how_many_more(cast, coordinator):
    for n in range(9):
        ContactCheck.objects.create(
            person=factory.make_person("Person", f"No {n}"), reason=CheckReason.BOUNCED
        )
    page = coordinator.get(TODAY).content.decode()
    assert "and 3 more" in page
    assert "No 5" in page
    assert "No 6" not in page


def test_the_last_storm_in_a_few_numbers(cast, coordinator):
    storm = factory.make_storm(factory.at(date(2026, 7, 14), "16:00"))
    factory.make_site_rain(storm, cast.site, depth_in=0.62)
    factory.make_site_rain(storm, cast.other_site, depth_in=None)
    duty = factory.make_duty(cast.site, storms=[storm])
    message = make_message(status="sent", sent_at=factory.at(date(2026, 7, 14), "18:00"))
    for round in (1, 2):  # told twice is told
        Reminder.objects.create(duty=duty, person=cast.owner, message=message, round=round)
    for kind in ("cannot", "done"):  # the latest of two answers is one answered duty
        Answer.objects.create(duty=duty, person=cast.owner, kind=kind, about_on=date(2026, 7, 14))
    response = coordinator.get(TODAY)
    short = response.context["short"]
    assert short.tally == [("answered, still open", 1)]
    assert (short.sites, short.unknown) == (2, 1)
    page = response.content.decode()
    assert "Tue 14 Jul, 4 p.m. – 6 p.m." in page
    assert "At one site of 2 the rain is not known." in page


def test_the_page_asks_a_fixed_number_of_queries(cast, coordinator):
    def fill(prefix: str, count: int) -> None:
        for n in range(count):
            code = f"{prefix}-{n}"
            site = factory.make_built_site(code, owner=cast.owner)
            factory.make_duty(site, opened_on=date(2026, 7, 1), due_on=date(2026, 7, 3))
            factory.make_duty(site, trigger="finding", reason={"item": "inlet", "judgement": "act"})
            factory.make_duty(
                site,
                trigger="calendar",
                reason={"every_days": 30},
                needs_person_since=date(2026, 7, 1),
                needs_person_why="cannot",
            )
            ContactCheck.objects.create(person=cast.owner, site=site, reason="bounced")
            make_message(code, status="failed")
            storm = factory.make_storm(factory.at(date(2026, 6, 1) + timedelta(days=n)))
            factory.make_site_rain(storm, site)
            RainQuestion.objects.create(site=site, storm=storm, ask="add", storm_revision=1)
            factory.make_gauge(f"G{prefix}{n}")
            agreement = Agreement.objects.create(
                reference=f"D-{code}",
                instrument="care_agreement",
                wording=site.agreements.get().wording,
            )
            agreement.sites.add(site)
            Party.objects.create(agreement=agreement, person=cast.owner, capacity="owner")
            nobody = factory.make_built_site(f"{prefix}N-{n}", owner=cast.owner)
            nobody.responsibilities.update(ends_on=date(2026, 7, 1))
            factory.make_duty(nobody)

    fill("FIR", 1)
    with CaptureQueriesContext(connection) as few:
        coordinator.get(TODAY)
    fill("YEW", 8)
    with CaptureQueriesContext(connection) as many:
        coordinator.get(TODAY)
    assert len(many) == len(few)
