"""Signing at the kitchen table on the coordinator's tablet, and on a phone by the link that came by e-mail; English and Spanish."""

import re
from urllib.parse import urlsplit

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.core import mail
from playwright.sync_api import Locator, Page, expect

from people.models import Person
from people.services import person_of_user
from stewardship.agreements import services
from stewardship.agreements.models import Agreement, Signature
from stewardship.outbox.delivery import deliver_due
from tests import factory
from tests.browser.conftest import PHONE, TABLET
from tests.browser.test_every_page import RULES

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def agreement(cast, summer_day) -> Agreement:
    """Offered today: a tenant who has no e-mail, her landlord who has, and the program after both."""
    site = factory.make_site("ASH-11")
    factory.make_basin(site, plants=False)
    made = services.draft_agreement(instrument="care_agreement", sites=[site])
    for person, capacity in (
        (factory.make_person("Zelda", "Marchetti"), "tenant"),
        (factory.make_person("Anselmo", "Ruvalcaba", email="anselmo@example.org"), "landlord"),
        (person_of_user(cast.coordinator), "program"),
    ):
        services.add_party(agreement=made, person=person, capacity=capacity)
    services.offer_agreement(agreement=made, on=factory.TODAY)
    return made


def faults(page: Page) -> list[str]:
    page.evaluate("document.querySelectorAll('details').forEach(one => { one.open = true })")
    page.evaluate(Axe().axe_script)
    found = []
    for scheme in ("light", "dark"):
        page.emulate_media(color_scheme=scheme)
        violations = page.evaluate("rules => axe.run(document, rules)", RULES)["violations"]
        found += [f"{scheme} {one['id']}: {one['nodes'][0]['html'][:160]}" for one in violations]
    page.emulate_media(color_scheme="light")
    return found


def here(page: Page, name: str) -> Locator:
    return page.get_by_role("link", name=re.compile(f"Sign on this device.*{name}"))


def too_wide(page: Page) -> bool:
    return page.evaluate("document.documentElement.scrollWidth > innerWidth")


@pytest.mark.parametrize("language", ["en", "es"])
def test_on_the_tablet_handed_over(page_of, agreement, language):
    Person.objects.filter(given_name="Zelda").update(language=language)
    page = page_of("coordinator", TABLET)
    page.goto(f"/agreements/{agreement.pk}/signing/")
    here(page, "Zelda Marchetti").click()
    expect(page.locator("html")).to_have_attribute("lang", language)
    expect(page.get_by_role("navigation", name="Contents")).to_have_count(0)
    expect(page.get_by_role("main")).to_contain_text("ASH-11")
    assert faults(page) == []
    assert not too_wide(page)

    # without the tick nothing happens, and the name stays
    page.locator("input[name=typed_name]").fill("Zelda Marchetti")
    page.locator("form.signature-form").evaluate("form => { form.noValidate = true }")
    page.locator("form.signature-form button").click()
    expect(page.get_by_role("alert")).to_be_visible()
    expect(page.locator("input[name=typed_name]")).to_have_value("Zelda Marchetti")
    assert faults(page) == []

    page.locator("input[name=agree]").check()
    page.locator("form.signature-form button").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("Zelda")
    expect(page.locator(".give-back")).to_be_visible()
    assert faults(page) == []
    signature = Signature.objects.get(party__agreement=agreement)
    assert (signature.typed_name, signature.method) == ("Zelda Marchetti", "screen")
    assert signature.document.sha256 == page.locator("code").inner_text()

    page.locator("main a").last.click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Who signs next")
    expect(here(page, "Zelda Marchetti")).to_have_count(0)
    assert faults(page) == []


@pytest.mark.parametrize("language", ["en", "es"])
def test_on_a_phone_by_the_link_and_then_into_force(page_of, agreement, language):
    Person.objects.filter(given_name="Anselmo").update(language=language)
    desk = page_of("coordinator", TABLET)
    desk.goto(f"/agreements/{agreement.pk}/signing/")
    desk.get_by_role("button", name="Send a link to anselmo@example.org").click()
    expect(desk.get_by_role("status")).to_contain_text("anselmo@example.org")
    deliver_due()
    link = urlsplit(re.search(r"http\S+/by-link/\S+", mail.outbox[-1].body)[0]).path

    phone = page_of("anonymous", PHONE)
    phone.goto(link)
    expect(phone.locator("html")).to_have_attribute("lang", language)
    assert faults(phone) == []
    assert not too_wide(phone)
    other = {"en": "Español", "es": "English"}[language]
    phone.get_by_role("link", name=other).click()
    expect(phone.locator("html")).not_to_have_attribute("lang", language)
    assert not Signature.objects.filter(party__agreement=agreement).exists()
    phone.locator("input[name=typed_name]").fill("Anselmo Ruvalcaba")
    phone.locator("input[name=agree]").check()
    phone.locator("form.signature-form button").click()
    expect(phone.get_by_role("heading", level=1)).to_contain_text("Anselmo")
    expect(phone.locator(".give-back")).to_have_count(0)
    assert faults(phone) == []
    file = phone.locator("main a[href*='/document/']").get_attribute("href")
    kept = Signature.objects.get(party__agreement=agreement).document
    assert phone.request.get(file).body() == bytes(kept.content)

    for name in ("Zelda Marchetti", "Rosa Lind"):
        desk.goto(f"/agreements/{agreement.pk}/signing/")
        here(desk, name).click()
        desk.get_by_label("Your name").fill(name)
        desk.locator("input[name=agree]").check()
        desk.get_by_role("button", name="I sign", exact=True).click()
    expect(desk.get_by_role("main")).to_contain_text("Everybody has signed")
    agreement.refresh_from_db()
    assert agreement.state == "in_force"


def test_on_a_phone_with_a_link_that_was_cut_short(page_of, agreement):
    page = page_of("anonymous", PHONE)
    page.goto("/agreements/by-link/abc/")
    expect(page.get_by_role("heading", level=1)).to_have_text("This link does not work")
    page.get_by_label("Your e-mail address").fill("anselmo@example.org")
    page.get_by_role("button", name="Send me a new link").click()
    expect(page.get_by_role("main")).to_contain_text("is on its way")
    assert faults(page) == []
