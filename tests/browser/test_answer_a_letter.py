"""A resident opens the link of the letter and answers; the agency's pages and the yearly report show it."""

import re
from datetime import timedelta
from io import BytesIO
from urllib.parse import urlsplit

import pytest
from django.core import mail
from django.utils import timezone
from playwright.sync_api import expect
from pypdf import PdfReader

from stewardship.care.models import Answer, Duty, Visit
from stewardship.care.services import sweep
from stewardship.outbox.delivery import deliver_due
from stewardship.reports.models import Report
from stewardship.reports.services import build_requested
from tests import factory
from tests.browser.conftest import PHONE

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

NOTE = "Two half buckets of silt; the lip is level."


@pytest.fixture
def letter(cast, summer_day):
    """Yesterday's storm at the cast's first site, weighed and told of; the letter that the owner has in her mailbox."""
    yesterday = factory.TODAY - timedelta(days=1)
    gauge = factory.make_gauge()
    factory.make_care_rule(phase="establishing", least_in=0.5)
    storm = factory.make_storm(
        factory.at(yesterday, "16:30"), hours=0.75, depth_in=0.62, gauges=[gauge]
    )
    for site in (cast.site, cast.other_site):
        factory.make_site_rain(storm, site, depth_in=0.62, gauge=gauge, water={})
    sweep(at=timezone.now())
    deliver_due()
    return next(one for one in mail.outbox if one.to == ["Ines Quist <ines.quist@example.org>"])


def link_in(letter) -> str:
    return urlsplit(re.search(r"http\S+/care/a/\S+", letter.body)[0]).path


def test_from_the_letter_to_the_agency_and_the_report(page_of, cast, letter):
    page = page_of("anonymous", PHONE)
    page.goto(link_in(letter))
    expect(page.get_by_role("heading", level=1)).to_contain_text(cast.site.address)
    expect(page.get_by_role("main")).to_contain_text("0.62 in")
    assert not Answer.objects.exists(), "opening the link changes nothing"
    assert Duty.objects.get(site=cast.site).state == "open"

    page.get_by_label("How many minutes did it take?").fill("40")
    page.get_by_label("Anything we should know?").first.fill(NOTE)
    page.get_by_role("button", name="It is done").click()
    expect(page.get_by_role("status")).to_contain_text("Thank you, Ines")
    visit = Visit.objects.get()
    assert (visit.minutes, visit.note, visit.done_by) == (40, NOTE, cast.owner)
    assert Duty.objects.get(site=cast.site).state == "met"
    assert Duty.objects.get(site=cast.other_site).state == "open", "nobody answered for that one"

    reviewer = page_of("reviewer")
    reviewer.goto("/reports/compliance/")
    line = reviewer.get_by_role("row").filter(has_text=cast.site.code)
    expect(line).to_contain_text("15 Jul")
    expect(line).to_contain_text("Reported")
    expect(reviewer.get_by_role("main")).not_to_contain_text(cast.other_site.code)
    reviewer.goto(f"/reports/compliance/{cast.site.code}/")
    expect(reviewer.get_by_role("main")).to_contain_text("Reported · 40 min")
    expect(reviewer.get_by_role("row").filter(has_text="Met in time")).to_have_count(1)

    coordinator = page_of("coordinator")
    coordinator.goto("/reports/")
    coordinator.get_by_label("From").fill("2026-01-01")
    coordinator.get_by_label("To", exact=True).fill("2026-12-31")
    coordinator.get_by_role("button", name="Build the report").click()
    expect(coordinator.get_by_role("main")).to_contain_text("is being built")
    assert build_requested() == 1
    report = Report.objects.get()
    coordinator.goto(f"/reports/{report.pk}/")
    with coordinator.expect_download() as waiting:
        coordinator.get_by_role("link", name="All rows as CSV").click()
    rows = waiting.value.path().read_text(encoding="utf-8-sig")
    assert re.search(rf"2026-07-15.*{cast.site.code}", rows)
    words = " ".join(p.extract_text() for p in PdfReader(BytesIO(bytes(report.content))).pages)
    assert "2026" in words


def test_a_changed_link_is_refused_in_plain_words_and_changes_nothing(page_of, letter):
    page = page_of("anonymous", PHONE)
    path = link_in(letter)
    page.goto(path[:-6] + "abcde/")
    expect(page.get_by_role("main")).to_contain_text("link")
    assert not Answer.objects.exists()
