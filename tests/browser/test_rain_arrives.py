"""A file of readings is uploaded, the sweeps run, and those whose site had the rain have a letter, and only they."""

from datetime import timedelta

import pytest
from django.core import mail
from django.core.management import call_command
from playwright.sync_api import Page, expect

from sites.models import Site
from stewardship.care.models import Duty, Reminder
from stewardship.outbox.models import Message
from stewardship.rain.models import Reading, SiteRain, Storm
from stewardship.rain.services import files
from tests import factory

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

YESTERDAY = factory.TODAY - timedelta(days=1)
FAR = 0.09  # degrees of latitude: 10 km, twice as far as a gauge speaks for


def hourly(*inches: float) -> bytes:
    """Yesterday afternoon from 3 p.m., hour by hour, as a logger writes it."""
    rows = [f"{YESTERDAY} {15 + n}:00,{depth:.2f}" for n, depth in enumerate(inches, start=1)]
    return "\n".join(["time,rain (in)", *rows]).encode()


def upload(page: Page, gauge: str, content: bytes) -> None:
    page.goto("/rain/import/")
    page.get_by_label("Gauge").select_option(label=gauge)
    page.get_by_label("File").set_input_files(
        {"name": f"{gauge}.csv", "mimeType": "text/csv", "buffer": content}
    )
    page.get_by_role("main").get_by_role("button", name="Look at it").click()


def take_in(page: Page) -> None:
    page.get_by_role("main").get_by_role("button", name="Take it in").click()
    expect(page.get_by_role("main")).to_contain_text("Brought by")


def test_the_right_residents_and_only_they_have_a_letter(page_of, cast):
    factory.make_care_rule(phase="establishing", least_in=0.5)
    factory.make_gauge("G1", name="Saltbush yard")
    factory.make_gauge("G2", name="Yucca school", lat=factory.LAT + FAR)
    Site.objects.filter(pk=cast.other_site.pk).update(lat=factory.LAT + FAR)
    for site in (cast.site, cast.other_site):
        factory.make_visit(
            site, YESTERDAY - timedelta(days=9)
        )  # so that no look by calendar is due

    page = page_of("coordinator")
    upload(page, "G1 · Saltbush yard", hourly(0.0, 0.32, 0.41, 0.0, 0.0))
    take_in(page)
    expect(page.get_by_role("main")).to_contain_text("new readings")
    upload(page, "G2 · Yucca school", hourly(0.0, 0.02, 0.05, 0.0, 0.0))
    take_in(page)
    assert not mail.outbox, "an upload alone tells nobody"

    call_command("run_sweeps")
    assert set(SiteRain.objects.values_list("site__code", "depth_um")) == {
        (cast.site.code, factory.um(0.73)),
        (cast.other_site.code, factory.um(0.07)),
    }
    assert Duty.objects.get().site == cast.site
    assert [one.to for one in mail.outbox] == [["Ines Quist <ines.quist@example.org>"]]
    assert cast.site.address in mail.outbox[0].body
    assert "0.73 in" in mail.outbox[0].body
    assert Reminder.objects.get().person == cast.owner

    call_command("run_sweeps")
    assert len(mail.outbox) == 1, "nobody is told twice"
    assert Message.objects.get().status == "sent"

    page.goto("/letters/")
    expect(page.get_by_role("row").filter(has_text="Ines Quist")).to_have_count(1)
    expect(page.get_by_role("main")).not_to_contain_text("Odile Farrow")
    page.goto("/rain/storms/")
    page.get_by_role("main").get_by_role("link", name="14 Jul").first.click()
    expect(page.get_by_role("main")).to_contain_text(cast.site.code)
    expect(page.get_by_role("main")).to_contain_text("0.73 in")


def test_a_file_that_is_no_table_is_refused_in_a_sentence(page_of):
    factory.make_gauge("G1", name="Saltbush yard")
    page = page_of("coordinator")
    upload(page, "G1 · Saltbush yard", b"Dear program:\nit rained a lot.\n")
    expect(page.get_by_label("Gauge")).to_have_value(
        page.get_by_role("option", name="G1 · Saltbush yard").get_attribute("value")
    )
    expect(page.get_by_role("main").get_by_role("alert").first).to_be_visible()
    assert not mail.outbox


def test_a_clumsy_file_is_looked_at_put_right_taken_in_and_taken_back(page_of):
    """A logger set to another country: day before month, millimetres, a decimal comma, and two rows that say nothing."""
    gauge = factory.make_gauge("G1", name="Saltbush yard")
    rows = [f"05/07/2026 {hour:02}:00;{depth}" for hour, depth in enumerate(["0,0", "12,4", "7,6", "0,2", "broken", "1,0", "-3"], 13)]  # fmt: skip
    page = page_of("coordinator")
    upload(page, "G1 · Saltbush yard", "\n".join(["when;rain", *rows]).encode())
    main = page.get_by_role("main")
    expect(main).to_contain_text("Dates read as month/day/year.")
    expect(main).to_contain_text("depths from “rain” in inches")
    expect(main).to_contain_text("G1 would have 21.20 in on Thu 7 May, which is hardly ever seen.")
    expect(main).to_contain_text("“broken” is not a depth.")
    expect(main).to_contain_text("Look twice")
    assert not Reading.objects.exists()

    page.get_by_label("Dates are").select_option("dmy")
    page.get_by_label("Unit").select_option("mm")
    page.get_by_label("Time zone").fill("Denver")
    main.get_by_role("button", name="Look again").click()
    expect(main.get_by_role("alert")).to_contain_text("“Denver” is not a time zone")
    expect(page.get_by_label("Dates are")).to_have_value("dmy")
    expect(page.get_by_label("Unit")).to_have_value("mm")
    page.get_by_label("Time zone").fill("-07:00")
    main.get_by_role("button", name="Look again").click()
    expect(main).to_contain_text("Dates read as day/month/year.")
    expect(main.get_by_role("row").filter(has_text="05/07/2026 14:00;12,4")).to_contain_text("0.49 in")  # fmt: skip
    expect(main.get_by_role("row").filter(has_text="05/07/2026 19:00;-3")).to_contain_text(
        "below zero"
    )
    assert not Reading.objects.exists()

    page.goto("/today/")
    page.get_by_role("main").get_by_role("link", name="G1 · Saltbush yard.csv", exact=True).click()
    take_in(page)
    assert sorted(gauge.readings.values_list("depth_um", flat=True)) == [0, 200, 1000, 7600, 12400]
    call_command("run_sweeps")
    assert Storm.objects.standing().count() == 1

    main.get_by_role("link", name="Take this file back").click()
    main.get_by_role("button", name="Take it back").click()
    assert gauge.readings.count() == 5, "a reason is asked for first"
    page.get_by_label("Why").fill("It was the other logger’s card")
    main.get_by_role("button", name="Take it back").click()
    expect(main).to_contain_text("It was the other logger’s card")
    assert not Reading.objects.exists()
    call_command("run_sweeps")
    assert not Storm.objects.standing().exists()


def test_a_file_for_the_worker_shows_by_itself_when_it_is_done(page_of, monkeypatch):
    monkeypatch.setattr(files, "AT_ONCE_BYTES", 0)
    factory.make_gauge("G1", name="Saltbush yard")
    page = page_of("coordinator")
    upload(page, "G1 · Saltbush yard", hourly(0.0, 0.32, 0.41))
    main = page.get_by_role("main")
    expect(main).to_contain_text("The whole file is being looked through")
    call_command("run_sweeps")
    main.get_by_role("button", name="Take it in").click()
    expect(main).to_contain_text("The file is being taken in.")
    call_command("run_sweeps")
    expect(main).to_contain_text("in the book")
