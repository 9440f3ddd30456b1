"""Every page, for each role that may open it: WCAG 2.2 AA as far as a machine can tell, and nothing to scroll sideways.

The rules are those of axe-core with the tags of WCAG 2.0, 2.1 and 2.2, levels A and AA; reflow is WCAG 2.2 criterion 1.4.10
(a width of 320 CSS pixels).
"""

from collections.abc import Iterator

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.urls import reverse
from playwright.sync_api import Page

from tests.book import Book, make_book
from tests.browser.conftest import DESK, PHONE
from tests.test_access import ROWS

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

RULES = {
    "resultTypes": ["violations"],
    "runOnly": {"type": "tag", "values": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]},
}
NARROW = {"width": 320, "height": 640}
#: Addresses that give a file or a piece of a page.
FILES = {
    "agreements:blank",
    "agreements:document",
    "agreements:link_document",
    "agreements:list_faults",
    "api:openapi-json",
    "outbox:enclosure",
    "outbox:print",
    "people:alike",
    "rain:file_rejected",
    "reports:file",
    "reports:rows",
    "sites:alike",
}
SIGNED_OUT = (
    "account_login",
    "account_reset_password",
    "account_reset_password_done",
    "account_request_login_code",
)
SIGNED_IN = ("account_email", "account_change_password", "account_logout", "mfa_index")
ROLES = ("anonymous", "coordinator", "reviewer", "volunteer", "reader")


def addresses(role: str, book: Book) -> Iterator[str]:
    """Every page that this role may open."""
    for name, (keys, allowed, code) in sorted(ROWS.items()):
        if role in allowed and code == 200 and name not in FILES:
            yield reverse(name, args=[getattr(book, key) for key in keys])
    yield "/no-such-page/"
    for name in SIGNED_OUT if role == "anonymous" else SIGNED_IN:
        yield reverse(name)


@pytest.fixture
def book(cast, summer_day) -> Book:
    return make_book(cast)


def open_up(page: Page, address: str) -> None:
    """The page with everything that folds unfolded, so that all of it is looked at."""
    page.goto(address)
    page.evaluate("document.querySelectorAll('details').forEach(one => { one.open = true })")


@pytest.mark.parametrize("role", ROLES)
def test_pages_have_no_fault_that_axe_finds(page_of, book, role):
    page, axe = page_of(role), Axe()
    faults = []
    for address in addresses(role, book):
        page.set_viewport_size(PHONE)
        open_up(page, address)
        page.evaluate(axe.axe_script)
        for viewport in (PHONE, DESK):
            page.set_viewport_size(viewport)
            for scheme in ("light", "dark"):
                page.emulate_media(color_scheme=scheme)
                found = page.evaluate("rules => axe.run(document, rules)", RULES)["violations"]
                faults += [
                    f"{address} {viewport['width']} {scheme}: {one['id']} {one['nodes'][0]['html'][:160]}"
                    for one in found
                ]
    assert not faults, "\n".join(faults)


@pytest.mark.parametrize("role", ROLES)
def test_pages_reflow_at_320_pixels(page_of, book, role):
    page = page_of(role, NARROW)
    wide = []
    for address in addresses(role, book):
        open_up(page, address)
        needed = page.evaluate("document.documentElement.scrollWidth")
        if needed > NARROW["width"]:
            wide.append(f"{address} needs {needed} px")
    assert not wide, "\n".join(wide)
