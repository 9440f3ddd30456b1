"""The coordinator takes on a household: from the first talk to a signed agreement and a basin that may be built."""

from io import BytesIO

import pytest
from django.utils import timezone
from playwright.sync_api import Page, expect
from pypdf import PdfReader

from people.models import Person
from sites.models import Site
from stewardship.agreements.models import Agreement, Responsibility

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


def press(page: Page, name: str) -> None:
    """The button that says so, in the page's content."""
    page.get_by_role("main").get_by_role("button", name=name, exact=True).click()


def who_it_is(page: Page) -> None:
    page.goto("/onboard/")
    page.get_by_label("Name", exact=True).fill("Oriel")
    page.get_by_label("Family name").first.fill("Sandoval-Pyne")
    page.get_by_label("the owner, living there or not").check()
    page.get_by_label("E-mail", exact=True).first.check()
    page.get_by_label("E-mail addresses").fill("oriel.pyne@example.org")
    press(page, "Save and go on")


def where_it_is(page: Page) -> None:
    expect(page.get_by_role("heading", level=1)).to_contain_text("Where")
    page.get_by_label("Site code").fill("GAL-7")
    page.get_by_label("Street", exact=True).fill("Galleta Street")
    page.get_by_label("Nearest address").fill("7 Galleta Street")
    page.get_by_label("Latitude").fill("34.5215")
    page.get_by_label("Longitude").fill("-106.2450")
    press(page, "Save and go on")


def what_is_built(page: Page) -> None:
    page.get_by_label("Bottom area").fill("30")
    page.get_by_label("Area at the lip").fill("70")
    page.get_by_label("Depth to the lip").fill("8")
    page.get_by_label("Soaking-in rate").fill("2")
    page.get_by_label("Paved catchment (ft²)", exact=True).fill("1000")
    page.get_by_label("Kind").select_option("curb_cut")
    page.get_by_label("Opening width, or diameter of a core").fill("18")
    page.get_by_label("Opening height").fill("6")
    press(page, "Save the basin")
    expect(page.get_by_text("Basin A is saved.")).to_be_visible()
    press(page, "Go on")


def what_they_promise(page: Page) -> None:
    for tick in page.get_by_label("We talked about this").all():
        tick.check()
    press(page, "Save and go on")


def test_from_the_first_talk_to_a_built_basin(page_of):
    page = page_of("coordinator")
    who_it_is(page)
    where_it_is(page)
    what_is_built(page)
    what_they_promise(page)

    press(page, "I sign for the program")
    press(page, "Make the document")
    agreement = Agreement.objects.get(sites__code="GAL-7")
    expect(page.get_by_role("heading", level=1)).to_have_text(agreement.reference)
    expect(page.get_by_role("main")).to_contain_text("The owner’s signature: Oriel Sandoval-Pyne")

    with page.expect_download() as waiting:
        page.get_by_role("link", name="Download the document").click()
    content = waiting.value.path().read_bytes()
    assert content == bytes(agreement.documents.get().content)
    words = " ".join(sheet.extract_text() for sheet in PdfReader(BytesIO(content)).pages)
    assert "Oriel Sandoval-Pyne" in words
    assert "7 Galleta Street" in words

    # An unsigned site does not become built.
    page.goto("/sites/GAL-7/")
    press(page, "Mark as built")
    expect(page.get_by_role("main")).to_contain_text("is not in force. Missing:")
    assert Site.objects.get(code="GAL-7").stage == "proposed"

    for name in ("Oriel Sandoval-Pyne", None):
        page.goto(f"/agreements/{agreement.pk}/")
        link = page.get_by_role("link", name="Record the signature")
        (link.filter(has_text=name) if name else link).first.click()
        page.get_by_label("Day of the signature").fill(timezone.localdate().isoformat())
        page.get_by_label("Where the paper is").fill("blue binder, office")
        press(page, "Record the signature")
    agreement.refresh_from_db()
    assert agreement.state == "in_force"
    expect(page.get_by_role("main")).to_contain_text("Signed by everybody it needs")

    page.goto("/sites/GAL-7/")
    press(page, "Mark as built")
    expect(page.get_by_role("main")).to_contain_text("built")
    site = Site.objects.get(code="GAL-7")
    assert site.stage == "built"
    assert site.basins.get().phase_from == site.built_on
    held = Responsibility.objects.get(site=site, role="does")
    assert held.person == Person.objects.get(family_name="Sandoval-Pyne")
