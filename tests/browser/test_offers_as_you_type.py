"""While a coordinator types, whoever or whatever is perhaps in the book already is offered beside the field."""

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import expect

from tests.browser.conftest import PHONE

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


def test_t38_somebody_is_offered_by_name_by_address_and_goes_when_the_words_change(page_of, cast):
    page = page_of("coordinator", PHONE)
    page.goto("/people/new/")
    offer = page.locator(".alike").first
    page.get_by_label("Name", exact=True).fill("Inés")
    page.get_by_label("Family name").fill("Qiust")
    expect(offer).to_contain_text("Perhaps in the book already")
    expect(offer).to_contain_text("Ines Quist")
    expect(offer).to_contain_text("spelled nearly the same")
    expect(offer).to_have_attribute("role", "status")
    found = Axe().run(page)
    assert not found.response["violations"], found.generate_report()
    with page.context.expect_page() as beside:
        offer.get_by_role("link").first.click()
    expect(beside.value.get_by_role("heading", level=1)).to_have_text("Ines Quist")
    # what was typed is still there
    expect(page.get_by_label("Family name")).to_have_value("Qiust")

    page.get_by_label("Name", exact=True).fill("Xanthe")
    page.get_by_label("Family name").fill("Yarrow")
    expect(offer).to_be_empty()
    page.get_by_label("E-mail addresses").fill("BRAM.okello@example.org")
    expect(offer).to_contain_text("Bram Okello")
    expect(offer).to_contain_text("perhaps one household")


def test_a_site_is_offered_by_its_address_and_by_its_place(page_of, cast):
    page = page_of("coordinator")
    page.goto("/sites/new/")
    page.get_by_label("Nearest address").fill("110 saltbush st")
    offer = page.locator(".alike")
    expect(offer).to_contain_text(cast.site.code)
    page.get_by_label("Nearest address").fill("9 Corner Row")
    expect(offer).to_be_empty()
    page.get_by_label("Latitude").fill(str(cast.site.lat))
    page.get_by_label("Longitude").fill(str(cast.site.lon))
    expect(offer).to_contain_text("close by")


def test_a_site_being_corrected_is_not_offered_to_itself(page_of, cast):
    page = page_of("coordinator")
    page.goto(f"/sites/{cast.site.code}/edit/")
    with page.expect_response(lambda answer: "/sites/alike/" in answer.url) as asked:
        page.get_by_label("Nearest address").fill(cast.site.address + " ")
        page.get_by_label("Nearest address").press("End")
    assert cast.site.code not in asked.value.text()
