"""What is typed into a form is kept on the device until the server has it, on any form that asks for it."""

import pytest
from playwright.sync_api import Page, expect

from people.models import Person
from tests.browser.conftest import TABLET

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
START = "/onboard/"


@pytest.fixture
def page(page_of) -> Page:
    page = page_of("coordinator", TABLET)
    page.goto(START)
    return page


def name(page: Page):
    return page.get_by_label("Name", exact=True).first


def press(page: Page, words: str) -> None:
    page.get_by_role("main").get_by_role("button", name=words, exact=True).click()


def kept(page: Page) -> int:
    return page.evaluate("Object.keys(localStorage).filter(key => key.startsWith('kept/')).length")


def test_leaving_the_page_loses_nothing_and_a_folded_part_opens_again(page):
    name(page).fill("Oriel")
    page.get_by_label("Text message").check()
    page.get_by_text("If they rent: the landlord").click()
    page.locator("[name=landlord-given_name]").fill("Iris")
    page.goto("/agreements/")
    page.goto(START)
    expect(page.locator(".kept")).to_contain_text("is still here. It is not saved yet.")
    assert name(page).input_value() == "Oriel"
    expect(page.get_by_label("Text message")).to_be_checked()
    expect(page.locator("[name=landlord-given_name]")).to_be_visible()


def test_it_can_be_thrown_away(page):
    name(page).fill("Oriel")
    page.reload()
    press(page, "Throw it away")
    assert name(page).input_value() == ""
    assert kept(page) == 0
    page.reload()
    expect(page.locator(".kept")).to_have_count(0)


def test_a_form_that_has_to_be_put_right_is_kept_whole(page):
    """Also what was typed before it was refused, when the connection is lost after that."""
    name(page).fill("Oriel")
    page.get_by_label("E-mail addresses").fill("oriel")
    press(page, "Save and go on")
    expect(page.get_by_text("is not an e-mail address").first).to_be_visible()
    page.get_by_label("E-mail addresses").fill("oriel@example.org")
    page.goto(START)
    assert name(page).input_value() == "Oriel"
    assert page.get_by_label("E-mail addresses").input_value() == "oriel@example.org"


def test_what_was_saved_is_not_offered_for_the_next_household(page):
    name(page).fill("Oriel")
    page.get_by_label("E-mail addresses").fill("oriel@example.org")
    press(page, "Save and go on")
    expect(page.get_by_role("heading", level=1)).to_contain_text("Where")
    page.goto(START)
    assert name(page).input_value() == ""
    expect(page.locator(".kept")).to_have_count(0)
    assert Person.objects.filter(given_name="Oriel").count() == 1


def test_signing_out_leaves_nothing_of_others_on_the_device(page):
    name(page).fill("Oriel")
    page.wait_for_function("Object.keys(localStorage).some(key => key.startsWith('kept/'))")
    page.locator("summary", has_text="Contents").click()
    page.get_by_role("button", name="Sign out").locator("visible=true").click()
    expect(page.get_by_role("heading", level=1)).to_be_visible()
    page.wait_for_url("**/account/**")
    assert kept(page) == 0


def test_without_javascript_the_form_works_as_it_is(page_of, chromium, live_server):
    page = page_of("coordinator")
    state = page.context.storage_state()
    with chromium.new_context(
        base_url=live_server.url, java_script_enabled=False, storage_state=state
    ) as context:
        plain = context.new_page()
        plain.goto(START)
        name(plain).fill("Oriel")
        plain.get_by_label("E-mail addresses").fill("oriel@example.org")
        press(plain, "Save and go on")
        expect(plain.get_by_role("heading", level=1)).to_contain_text("Where")


def test_files_and_passwords_are_never_kept(page_of):
    page = page_of("coordinator")
    page.goto(START)
    page.evaluate(
        """() => {
          const form = document.querySelector("form[data-keep]");
          form.insertAdjacentHTML("beforeend", "<input type=password name=secret><input type=hidden name=quiet value=1>");
        }"""
    )
    page.locator("[name=secret]").fill("rain-on-clay")
    name(page).fill("Oriel")
    page.wait_for_function("Object.keys(localStorage).some(key => key.startsWith('kept/'))")
    said = page.evaluate("Object.values(localStorage).join()")
    assert "Oriel" in said
    assert "rain-on-clay" not in said
    assert "quiet" not in said


def test_after_two_weeks_it_is_forgotten(page_of):
    page = page_of("coordinator")
    page.goto(START)
    page.evaluate(
        """() => {
          const key = `kept/${document.querySelector("script[data-who]").dataset.who}/new-who-new`;
          const fields = { given_name: ["Oriel"] };
          localStorage.setItem(key, JSON.stringify({ at: Date.now() - 15 * 24 * 3600 * 1000, fields }));
        }"""
    )
    page.goto(START)
    assert name(page).input_value() == ""
    assert kept(page) == 0
