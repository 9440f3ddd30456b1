"""Pictures of pages, letters and PDFs of a freshly loaded demo: `python -m tests.screenshots [NAME …]`.

Pages come at 390 and 1280 px, light and dark; letters and PDFs once, as they are. All land in .screenshots/. With names, only
rows whose name begins with one of them are taken.
"""

import os
import re
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Callable

from playwright.sync_api import Browser, BrowserContext, Page, sync_playwright

from stewardship.management.demo import DEMO_LOGINS
from tests.running_demo import ROOT, RunningDemo, running_demo

OUT = ROOT / ".screenshots"
WIDTHS = {390: 844, 1280: 900}
SCHEMES = ("light", "dark")
CHROMIUM_ARGS = ["--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage"]


Address = str | Callable[[Page], str]


def link(start: Address, selector: str) -> Callable[[Page], str]:
    """The address of the first link on the page `start` that fits the selector."""

    def find(page: Page) -> str:
        page.goto(start if isinstance(start, str) else start(page))
        found = page.locator(selector).first
        return found.get_attribute("href") if found.count() else ""

    return find


def begun(step: str) -> Callable[[Page], str]:
    """A step of the first household that is being taken on."""

    def find(page: Page) -> str:
        path = link("/agreements/", "main a[href^='/onboard/A']")(page)
        return f"{path}{step}/" if path else ""

    return find


def uploaded(page: Page) -> str:
    """The page of a clumsy file that was just uploaded for the demo's first gauge."""
    rows = [f"2026-07-{day:02};{depth}" for day, depth in enumerate(["0,4", "31,0", "x", "-2", "7,6"], 1)]  # fmt: skip
    page.goto("/rain/import/")
    page.get_by_label("Gauge").select_option(index=1)
    page.get_by_label("File").set_input_files(
        {
            "name": "july.csv",
            "mimeType": "text/csv",
            "buffer": "\n".join(["when;rain", *rows]).encode(),
        }
    )
    page.locator("main form button").first.click()
    page.wait_for_url("**/rain/files/**")
    return page.url[page.url.index("/rain/") :]


def undoing(page: Page) -> str:
    """The page that would take the gauge's last batch back."""
    batch = link(GAUGE, "main a[href^='/rain/batches/']")(page)
    return f"{batch}undo/" if batch else ""


#: a gauge of the demo
STORM = link("/rain/storms/", "main tbody a[href^='/rain/storms/']")
GAUGE = "/rain/gauges/porch/"
#: an agreement that waits for signatures
OFFERED = link("/agreements/?state=offered", "main tbody a")
PERSON = link("/people/", "main tbody a")
DUE_SITE = link(link("/care/duties/", "main tbody a"), "main a[href^='/sites/']")

#: (name, who of DEMO_LOGINS or "" for nobody, address or a function that finds it on the way)
PAGES: list[tuple[str, str, str | Callable[[Page], str]]] = [
    ("sign-in", "", "/account/login/"),
    ("today", "Coordinator", "/today/"),
    ("sites", "Coordinator", "/sites/"),
    ("site", "Coordinator", link("/sites/", "main tbody a")),
    ("storms", "Coordinator", "/rain/storms/"),
    ("storm", "Coordinator", STORM),
    ("gauges", "Coordinator", "/rain/gauges/"),
    ("gauge", "Coordinator", link("/rain/gauges/", "main tbody a")),
    ("gauge-new", "Coordinator", "/rain/gauges/new/"),
    ("gauge-edit", "Coordinator", link(GAUGE, "main a[href$='/correct/']")),
    ("gauge-move", "Coordinator", link(GAUGE, "main a[href$='/move/']")),
    ("gauge-place", "Coordinator", link(GAUGE, "main a[href*='/places/']")),
    ("gauge-end", "Coordinator", link(GAUGE, "main a[href$='/end/']")),
    ("gauge-readers", "Coordinator", link(GAUGE, "main a[href$='/readers/']")),
    ("gauge-out", "Coordinator", link(GAUGE, "main a[href$='/out/']")),
    ("gauge-doors", "Coordinator", link(GAUGE, "main a[href$='/doors/']")),
    ("write-rain", "Coordinator", "/rain/readings/new/"),
    ("machines", "", "/api/"),
    ("import", "Coordinator", "/rain/import/"),
    ("file", "Coordinator", uploaded),
    ("batch", "Coordinator", link(GAUGE, "main a[href^='/rain/batches/']")),
    ("batch-undo", "Coordinator", undoing),
    ("rules", "Coordinator", "/rain/rules/"),
    ("find-again", "Coordinator", "/rain/storms/again/"),
    ("how-unusual", "Coordinator", "/rain/how-unusual/"),
    ("how-unusual-table", "Coordinator", link("/rain/how-unusual/", "main tbody a")),
    ("agreements", "Coordinator", "/agreements/"),
    ("agreement", "Coordinator", link("/agreements/", "main tbody a")),
    ("signing", "Coordinator", link(OFFERED, "main a[href$='/signing/']")),
    (
        "sign-screen",
        "Coordinator",
        link(link(OFFERED, "main a[href$='/signing/']"), "main a[href$='/screen/']"),
    ),
    ("sign-paper", "Coordinator", link(OFFERED, "main a[href$='/sign/']")),
    ("link-lost", "", "/agreements/by-link/"),
    ("renewals", "Coordinator", "/agreements/renewals/"),
    (
        "sale",
        "Coordinator",
        link(
            link("/agreements/?state=in_force&instrument=covenant", "main tbody a"),
            "main a[href$='/sale/']",
        ),
    ),
    (
        "agreement-end",
        "Coordinator",
        link(link("/agreements/?state=in_force", "main tbody a"), "main a[href$='/end/']"),
    ),
    (
        "agreement-as-built",
        "Coordinator",
        link(link("/agreements/?state=in_force", "main tbody a"), "main a[href$='/as-built/']"),
    ),
    (
        "agreement-terms",
        "Coordinator",
        link(link("/agreements/?state=draft", "main tbody a"), "main a[href$='/terms/']"),
    ),
    (
        "asked",
        "Coordinator",
        link(
            link("/agreements/?missing=recording", "main tbody a"),
            "main a[href^='/agreements/asked/']",
        ),
    ),
    (
        "site-retire",
        "Coordinator",
        link(link("/sites/?stage=built", "main tbody a"), "main a[href$='/retire/']"),
    ),
    (
        "site-rest",
        "Coordinator",
        link(link("/sites/?stage=built", "main tbody a"), "main a[href$='/rest/']"),
    ),
    ("people", "Coordinator", "/people/"),
    ("person", "Coordinator", PERSON),
    ("person-new", "Coordinator", "/people/new/"),
    ("person-same", "Coordinator", link(PERSON, "main a[href$='/same/']")),
    ("person-erase", "Coordinator", link(PERSON, "main a[href$='/erase/']")),
    ("household", "Coordinator", link(PERSON, "main a[href*='/households/']")),
    ("person-died", "Coordinator", link(PERSON, "main a[href$='/died/']")),
    ("person-silent", "Coordinator", link(PERSON, "main a[href$='/silent/']")),
    ("person-pause", "Coordinator", link(PERSON, "main a[href$='/pause/']")),
    ("person-agent", "Coordinator", link(PERSON, "main a[href$='/agents/new/']")),
    ("organisations", "Coordinator", "/people/organisations/"),
    ("organisation-new", "Coordinator", "/people/organisations/new/"),
    ("offices", "Coordinator", "/people/offices/"),
    ("office-change", "Coordinator", "/people/offices/change/"),
    ("rests", "Coordinator", "/rests/"),
    ("dispute-new", "Coordinator", link(DUE_SITE, "main a[href$='/disputed/']")),
    ("merges", "Coordinator", "/people/merges/"),
    ("own-address", "Coordinator", "/account/email/"),
    ("onboard", "Coordinator", "/onboard/"),
    *(
        (f"onboard-{step}", "Coordinator", begun(step))
        for step in ("where", "works", "duties", "agreement")
    ),
    ("duties", "Coordinator", "/care/duties/"),
    ("contacts", "Coordinator", "/care/contacts/"),
    ("late-rain", "Coordinator", "/care/rain/"),
    ("late-rain-log", "Coordinator", "/care/rain/log/"),
    ("water-ran", "Coordinator", "/care/ran/"),
    ("water-ran-new", "Coordinator", "/care/ran/new/"),
    ("declare", "Coordinator", link(STORM, "main a.button[href^='/care/rain/']")),
    ("outbox", "Coordinator", "/letters/"),
    ("message", "Coordinator", link("/letters/", "main tbody a")),
    ("letters-to-post", "Coordinator", "/letters/paper/"),
    ("reports", "Coordinator", "/reports/"),
    ("compliance", "Reviewer, streets", "/reports/compliance/"),
]
#: (name, who, address or a function that finds it)
PDFS: list[tuple[str, str, str | Callable[[Page], str]]] = [
    ("pdf-letters", "Coordinator", "/letters/paper/letters.pdf"),
    (
        "pdf-agreement",
        "Coordinator",
        lambda page: link(
            link("/agreements/", "main tbody a")(page), "a[href^='/agreements/documents/']"
        )(page),
    ),
    ("pdf-blank-form", "Coordinator", "/agreements/wordings/care_agreement/es/blank/"),
    ("pdf-report", "Coordinator", link("/reports/", "a[href$='report.pdf']")),
]


class Album:
    """One browser for all pictures, one signed-in session per person."""

    def __init__(self, demo: RunningDemo, browser: Browser) -> None:
        self.demo, self.browser = demo, browser
        self.sessions: dict[str, dict] = {"": {}}
        self.missing: list[str] = []

    def context(self, who: str, **options) -> BrowserContext:
        if who not in self.sessions:
            self.sessions[who] = self.sign_in(who)
        options.setdefault("viewport", {"width": 1280, "height": 900})
        return self.browser.new_context(
            base_url=self.demo.url, storage_state=self.sessions[who] or None, **options
        )

    def sign_in(self, who: str) -> dict:
        address, password = next((e, p) for name, e, p in DEMO_LOGINS if name == who)
        with self.browser.new_context(base_url=self.demo.url) as context:
            page = context.new_page()
            page.goto("/account/login/")
            page.fill("input[name=login]", address)
            page.fill("input[name=password]", password)
            page.locator("main form button").first.click()
            page.wait_for_load_state()
            return context.storage_state()

    def find(self, name: str, who: str, where: str | Callable[[Page], str]) -> str:
        if isinstance(where, str):
            return where
        with self.context(who) as context:
            address = where(context.new_page())
        if not address:
            self.missing.append(name)
        return address

    def page(self, name: str, who: str, where: str | Callable[[Page], str]) -> None:
        address = self.find(name, who, where)
        if not address:
            return
        for width, height in WIDTHS.items():
            for scheme in SCHEMES:
                size = {"width": width, "height": height}
                with self.context(who, viewport=size, color_scheme=scheme) as context:
                    page = context.new_page()
                    answer = page.goto(address)
                    if answer is None or answer.status >= 400:
                        self.missing.append(f"{name}: {answer and answer.status}")
                        return
                    page.screenshot(path=OUT / f"{name}-{width}-{scheme}.png", full_page=True)

    def pdf(self, name: str, who: str, where: str | Callable[[Page], str]) -> None:
        address = self.find(name, who, where)
        if not address:
            return
        with self.context(who) as context:
            answer = context.request.get(address)
            if not answer.headers.get("content-type", "").startswith("application/pdf"):
                self.missing.append(f"{name}: {answer.status}, no PDF")
                return
            content = answer.body()
        with tempfile.NamedTemporaryFile(suffix=".pdf") as file:
            file.write(content)
            file.flush()
            subprocess.run(
                ["pdftoppm", "-r", "80", "-l", "6", "-png", file.name, OUT / name], check=True
            )

    def letter(self, name: str, html: str) -> None:
        """An e-mailed letter as mail programs show it, wide and narrow, and the page that its link leads to."""
        for width in WIDTHS:
            with self.context("", viewport={"width": width, "height": 900}) as context:
                page = context.new_page()
                page.set_content(html)
                page.screenshot(path=OUT / f"{name}-{width}.png", full_page=True)
        if found := re.search(r"https?://[^/]+(/care/a/[^\s\"<>]+)", html):
            self.page(name.replace("letter", "answer"), "", found.group(1))
            self.page(name.replace("letter", "ran"), "", f"{found.group(1).split('?')[0]}ran/")


def letters(demo: RunningDemo) -> dict[str, str]:
    """The newest e-mailed letter of each template and language, as `letter-<template>-<language>`."""
    os.environ |= {
        "DJANGO_SETTINGS_MODULE": "stewardship.settings",
        "RILLBOOK_VAR": str(demo.var),
        "SITE_URL": demo.url,
    }
    import django

    django.setup()
    from stewardship.outbox.models import Message
    from stewardship.outbox.writing import write

    newest = Message.objects.filter(channel="email").order_by("due_at", "pk")
    return {f"letter-{m.template}-{m.language}": m.html or write(m).html for m in newest}


def main(*names: str) -> None:
    wanted = tuple(names) or ("",)
    if not names:
        shutil.rmtree(OUT, ignore_errors=True)
    OUT.mkdir(exist_ok=True)
    found = [os.environ.get("CHROMIUM"), shutil.which("chromium"), shutil.which("chromium-browser")]
    executable = next(filter(None, found), None)
    if executable is None:
        raise SystemExit("There is no Chromium on this machine; CHROMIUM may name one.")
    with running_demo(PORT="8092") as demo:
        by_mail = letters(demo)
        with sync_playwright() as play:
            browser = play.chromium.launch(executable_path=executable, args=CHROMIUM_ARGS)
            album = Album(demo, browser)
            for row in PAGES:
                if row[0].startswith(wanted):
                    album.page(*row)
            for row in PDFS:
                if row[0].startswith(wanted):
                    album.pdf(*row)
            for name, html in by_mail.items():
                if name.startswith(wanted):
                    album.letter(name, html)
            browser.close()
    print(f"{len(list(OUT.glob('*.png')))} pictures in {OUT.relative_to(ROOT)}")
    for name in album.missing:
        print(f"missing: {name}")


if __name__ == "__main__":
    main(*sys.argv[1:])
