"""A reading is corrected days after the storm: the coordinator finds it on the desk, decides part of it, and finds that in the log."""

from datetime import timedelta

import pytest
from django.core import mail
from django.core.management import call_command
from playwright.sync_api import expect

from stewardship.care.models import Duty, RainQuestion
from tests import factory
from tests.rain.test_storms_found import rain as read

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

LAST_WEEK = factory.TODAY - timedelta(days=6)


def test_a_late_correction_is_decided_in_part_and_the_log_keeps_it(page_of, cast):
    factory.make_care_rule(phase="establishing", least_in=0.5)
    gauge = factory.make_gauge("G1", name="Saltbush yard")
    sites = [cast.site, cast.other_site, factory.make_built_site("ASH-3")]
    for site in sites:
        factory.make_visit(site, LAST_WEEK - timedelta(days=3))
    read(gauge, factory.at(LAST_WEEK, "15:00"), 0.31)
    call_command("run_sweeps")
    assert not Duty.objects.exists()
    read(gauge, factory.at(LAST_WEEK, "15:00"), 0.81)
    call_command("run_sweeps")
    assert not mail.outbox, "late rain tells nobody by itself"

    page = page_of("coordinator")
    page.goto("/today/")
    main = page.get_by_role("main")
    expect(main).to_contain_text("3 sites would get a duty")
    main.locator(".entry-actions a", has_text="Decide").click()
    group = page.get_by_role("form", name="Late rain: a look would be due")
    expect(main).to_contain_text("Readings were corrected: G1.")
    row = group.get_by_role("row").filter(has_text=cast.site.code)
    for part in ("0.81 in", "0.31 in", "Ines Quist"):
        expect(row).to_contain_text(part)

    group.get_by_role("button", name="Ask for a look").click()
    expect(main).to_contain_text("Tick the sites that you decide about.")

    group.get_by_label(cast.site.code, exact=True).check()
    group.get_by_label("Note").fill("The trap there was full last month")
    group.get_by_role("button", name="Ask for a look").click()
    expect(page.get_by_text("Decided: 1 site.")).to_be_visible()
    expect(group.get_by_role("row").filter(has_text=cast.site.code)).to_have_count(0)
    assert Duty.objects.get().site == cast.site

    group.get_by_label("All of them (2)").check()
    group.get_by_role("button", name="Leave it").click()
    expect(main).to_contain_text("Nothing to decide.")
    assert Duty.objects.count() == 1
    assert not RainQuestion.objects.open().exists()

    main.get_by_role("link", name="What was decided").click()
    row = page.get_by_role("row").filter(has_text=cast.site.code)
    for part in ("The trap there was full last month", str(cast.coordinator), "a look was asked"):
        expect(row).to_contain_text(part)
    expect(page.get_by_role("row").filter(has_text="nothing was changed")).to_have_count(2)

    call_command("run_sweeps")
    assert [one.to for one in mail.outbox] == [["Ines Quist <ines.quist@example.org>"]]
    call_command("run_sweeps")
    assert len(mail.outbox) == 1
