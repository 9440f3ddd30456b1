"""A file of readings is uploaded, the sweeps run, and those whose site had the rain have a letter, and only they."""

from datetime import timedelta

import pytest
from django.core import mail
from django.core.management import call_command
from playwright.sync_api import Page, expect

from sites.models import Site
from stewardship.care.models import Duty, Reminder
from stewardship.outbox.models import Message
from stewardship.rain.models import SiteRain
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
    page.get_by_role("main").get_by_role("button", name="Import").click()


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
    expect(page.get_by_role("main")).to_contain_text("new readings")
    upload(page, "G2 · Yucca school", hourly(0.0, 0.02, 0.05, 0.0, 0.0))
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
    upload(page, "G1 · Saltbush yard", b"Dear program,\nit rained a lot.\n")
    expect(page.get_by_label("Gauge")).to_have_value(
        page.get_by_role("option", name="G1 · Saltbush yard").get_attribute("value")
    )
    expect(page.get_by_role("main").get_by_role("alert").first).to_be_visible()
    assert not mail.outbox
