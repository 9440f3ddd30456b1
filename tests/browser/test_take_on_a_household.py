"""The coordinator takes on a household: from the first talk to a signed agreement and a basin that may be built."""

from io import BytesIO

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.utils import timezone
from playwright.sync_api import Page, expect
from pypdf import PdfReader

from people.models import Person
from sites.models import Site
from stewardship.agreements.models import Agreement, Responsibility
from tests import factory
from tests.browser.conftest import TABLET
from tests.browser.test_every_page import RULES

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


def press(page: Page, name: str) -> None:
    """The button that says so, in the page's content."""
    page.get_by_role("main").get_by_role("button", name=name, exact=True).click()


def stands(page: Page, heading: str) -> None:
    """The page with that heading is there."""
    expect(page.get_by_role("heading", level=1)).to_contain_text(heading)


def who_it_is(page: Page) -> None:
    page.goto("/onboard/")
    page.get_by_label("Name", exact=True).first.fill("Oriel")
    page.get_by_label("Family name").first.fill("Sandoval-Pyne")
    page.get_by_label("the owner, living there or not").check()
    page.get_by_label("E-mail", exact=True).first.check()
    page.get_by_label("E-mail addresses").fill("oriel.pyne@example.org")
    press(page, "Save and go on")


def where_it_is(page: Page) -> None:
    stands(page, "Where")
    page.get_by_label("Site code").fill("GAL-7")
    page.get_by_label("Street", exact=True).fill("Galleta Street")
    page.get_by_label("Nearest address").fill("7 Galleta Street")
    page.get_by_label("Latitude").fill("34.5255")
    page.get_by_label("Longitude").fill("-106.2450")
    press(page, "Save and go on")


def basin_sizes(page: Page) -> None:
    page.get_by_label("Bottom area").fill("30")
    page.get_by_label("Area at the lip").fill("70")
    page.get_by_label("Depth to the lip").fill("8")
    page.get_by_label("Soaking-in rate").fill("2")
    page.get_by_label("Paved catchment (ft²)", exact=True).fill("1000")


def inlet_sizes(page: Page) -> None:
    page.get_by_label("Kind").select_option("curb_cut")
    page.get_by_label("Opening width, or diameter of a core").fill("18")
    page.get_by_label("Opening height").fill("6")


def what_is_built(page: Page) -> None:
    stands(page, "What will be built")
    basin_sizes(page)
    inlet_sizes(page)
    press(page, "Save the basin")
    expect(page.get_by_text("Basin A is saved.")).to_be_visible()
    press(page, "Go on")


def what_they_promise(page: Page) -> None:
    stands(page, "What there is to do")
    for tick in page.get_by_label("We talked about this").all():
        tick.check()
    press(page, "Save and go on")


def test_from_the_first_talk_to_a_built_basin(page_of):
    page = page_of("coordinator")
    who_it_is(page)
    where_it_is(page)
    what_is_built(page)
    what_they_promise(page)

    stands(page, "The agreement")
    press(page, "I sign for the program")
    press(page, "Make the document")
    stands(page, "Who signs next")
    agreement = Agreement.objects.get(sites__code="GAL-7")
    page.goto(f"/agreements/{agreement.pk}/")
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
        expect(page).not_to_have_url("**/sign/")
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


def no_faults(page: Page) -> None:
    """Axe finds nothing, folded parts opened, and nothing has to be scrolled sideways."""
    page.evaluate("document.querySelectorAll('details').forEach(one => { one.open = true })")
    page.evaluate(Axe().axe_script)
    found = page.evaluate("rules => axe.run(document, rules)", RULES)["violations"]
    assert not found, [one["nodes"][0]["html"][:160] for one in found]
    assert page.evaluate("document.documentElement.scrollWidth") <= TABLET["width"]


def test_at_the_kitchen_table_on_a_tablet_whose_connection_drops(page_of, cast):
    """From nothing to an offered agreement; in the middle the connection is lost and somebody presses back."""
    factory.make_gauge("MESA")
    page = page_of("coordinator", TABLET)
    page.goto("/onboard/")
    no_faults(page)
    page.get_by_label("Name", exact=True).first.fill("Oriel")
    page.get_by_label("Family name").first.fill("Sandoval-Pyne")
    page.get_by_label("E-mail addresses").fill("oriel.pyne@example.org")
    page.locator("[name=also0-given_name]").fill("Teo")
    press(page, "Save and go on")

    # A place by a tap: a little east of where the first built site is drawn.
    stands(page, "Where")
    no_faults(page)
    page.get_by_label("Nearest address").fill("7 Galleta Street")
    page.get_by_label("Street", exact=True).fill("Galleta Street")
    page.get_by_label("Site code").fill("GAL-7")
    drawn = page.locator("[data-ground] svg")
    box = drawn.bounding_box()
    drawn.click(position={"x": box["width"] * 0.75, "y": box["height"] * 0.5})
    assert float(page.get_by_label("Longitude").input_value()) > cast.site.lon
    press(page, "Save and go on")

    # The connection goes while the basin is measured. The button says so; nothing is lost.
    stands(page, "What will be built")
    no_faults(page)
    basin_sizes(page)
    page.context.set_offline(True)
    inlet_sizes(page)
    press(page, "Save the basin")
    main = page.get_by_role("main")
    expect(main).to_contain_text("No connection. What you typed is kept on this device")
    assert page.get_by_label("Depth to the lip").input_value() == "8"
    page.context.set_offline(False)
    expect(main).to_contain_text("Connected again.")

    # Somebody presses back, and comes again: what was typed is still there, and says so.
    page.go_back()
    stands(page, "Where")
    page.goto(page.url.replace("/where/", "/works/"))
    expect(main).to_contain_text("is still here. It is not saved yet.")
    assert page.get_by_label("Depth to the lip").input_value() == "8"
    assert page.get_by_label("Opening height").input_value() == "6"
    press(page, "Save the basin")
    expect(page.get_by_text("Basin A is saved.")).to_be_visible()
    assert Site.objects.get(code="GAL-7").basins.count() == 1
    no_faults(page)
    press(page, "Go on")

    # What the server took is not offered again.
    stands(page, "What there is to do")
    no_faults(page)
    page.go_back()
    stands(page, "What will be built")
    expect(page.locator(".kept")).to_have_count(0)
    page.go_forward()
    what_they_promise(page)
    stands(page, "The agreement")
    no_faults(page)
    press(page, "I sign for the program")
    press(page, "Make the document")
    stands(page, "Who signs next")
    agreement = Agreement.objects.get(sites__code="GAL-7")
    assert agreement.state == "offered"
    assert {str(party.person) for party in agreement.parties.filter(capacity="owner")} == {
        "Oriel Sandoval-Pyne",
        "Teo",
    }
    assert page.evaluate("Object.keys(localStorage).filter(key => key.startsWith('kept/'))") == []
