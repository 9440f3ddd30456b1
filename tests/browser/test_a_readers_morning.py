"""A reader's morning on a phone: by log-in and by a link, with a slip put right, a day filled in, and a doubt asked about."""

import re

import pytest
from playwright.sync_api import expect

from stewardship.rain.choices import GaugeKind
from stewardship.rain.models import Reading, ReadingBatch
from tests import factory
from tests.browser.conftest import PHONE

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def school(cast):
    gauge = factory.make_gauge("school", name="Tarweed school", kind=GaugeKind.DAILY)
    gauge.readers.add(cast.reader.person)
    return gauge


def fits(page) -> bool:
    """What is needed for this morning is on the first screen, and nothing runs out at the side."""
    wide = page.evaluate("document.documentElement.scrollWidth")
    last = page.get_by_role("button", name="Nobody looked").bounding_box()
    return wide <= PHONE["width"] and last["y"] + last["height"] <= PHONE["height"]


def test_this_morning_a_slip_and_a_missed_day_by_log_in(page_of, school, cast):
    page = page_of("reader", PHONE)
    page.goto("/")
    main = page.get_by_role("main")
    expect(main).to_contain_text("Tarweed school: the 24 hours until 7 this morning")
    assert fits(page)
    amount = page.get_by_label("How much (inches)")
    assert amount.get_attribute("inputmode") == "decimal"

    # the return key writes down what is in the box, and presses no other button
    amount.fill("0.26")
    amount.press("Enter")
    expect(main).to_contain_text("the 24 hours until 7 this morning: 0.26 in. Thank you.")

    # 0.62, not 0.26
    page.get_by_text("Correct it").click()
    page.get_by_label("How much (inches)").fill("0.62")
    page.get_by_role("button", name="Write down").click()
    expect(main).to_contain_text("0.26 in → 0.62 in")
    expect(main).to_contain_text("Before: 0.26 in")

    # the day before yesterday nobody looked; a tap says it
    page.get_by_role("link", name=re.compile("Mon 13 Jul")).click()
    expect(main).to_contain_text("the 24 hours until Mon 13 Jul, 7 a.m.")
    page.get_by_role("button", name="Nobody looked").click()
    expect(page.get_by_role("link", name=re.compile("Mon 13 Jul"))).to_contain_text("Missing")
    said = Reading.objects.order_by("start_s").values_list("kind", "depth_um")
    assert list(said) == [("missing", None), ("measured", factory.um(0.62))]


def test_a_link_that_the_coordinator_made_opens_the_same_on_a_phone(
    page_of, school, cast, settings, live_server
):
    settings.SITE_URL = live_server.url
    desk = page_of("coordinator")
    desk.goto("/rain/gauges/school/")
    desk.get_by_role("link", name="Readers’ links").click()
    desk.get_by_role("button", name="Make a link for Wen Salazar").click()
    address = desk.get_by_role("status").locator("code").inner_text()
    desk.reload()

    phone = page_of("anonymous", PHONE)
    phone.goto(address)
    main = phone.get_by_role("main")
    expect(main).to_contain_text("This link is for Wen Salazar alone")
    assert fits(phone)

    # 6.2 is asked about, with the number still in the box; it should have been 0.62
    phone.get_by_label("How much (inches)").fill("6.2")
    phone.get_by_role("button", name="Write down").click()
    expect(main).to_contain_text("6.20 in is a great deal of rain. Is that right?")
    expect(phone.get_by_label("How much (inches)")).to_have_value("6.2")
    phone.get_by_label("How much (inches)").fill("0.62")
    phone.get_by_role("button", name="I have corrected it").click()
    expect(main).to_contain_text("the 24 hours until 7 this morning: 0.62 in. Thank you.")
    batch = ReadingBatch.objects.get()
    assert (batch.by, batch.by_person) == (None, cast.reader.person)

    desk.goto(f"/rain/batches/{batch.pk}/")
    expect(desk.get_by_role("main")).to_contain_text("Wen Salazar")
    desk.goto("/rain/gauges/school/doors/")
    desk.get_by_role("button", name="Withdraw the link of Wen Salazar").click()
    expect(desk.get_by_role("main")).to_contain_text("opens nothing any more")
    phone.goto(address)
    expect(main).to_contain_text("call 505-555-0100 for a new link")
