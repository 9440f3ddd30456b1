"""Sweeps over the whole house: every page, every table, every template, every file."""

import re
import subprocess
from html.parser import HTMLParser
from pathlib import Path

import pytest
from django.conf import settings
from django.core.management import call_command
from django.template.loader import get_template
from django_tables2 import Table

from tests.book import Book, make_book
from tests.test_access import ROWS, address

ROOT = Path(settings.BASE_DIR)
#: Longest files: what does not fit in a head is two things.
MOST_LINES = {"product": 400, "tests": 600}
PAGES = sorted(
    name
    for name, (_keys, _allowed, code) in ROWS.items()
    if code == 200
    and name
    not in (
        # files, and parts of a page that a script asks for
        "reports:file",
        "reports:rows",
        "outbox:print",
        "rain:file_rejected",
        "people:alike",
        "sites:alike",
    )
)


@pytest.fixture
def book(cast, frozen_day) -> Book:
    return make_book(cast)


def reader_of(name: str, client_of):
    _keys, allowed, _code = ROWS[name]
    return client_of("coordinator" if "coordinator" in allowed else sorted(allowed)[0])


class Outline(HTMLParser):
    """Counts headings and remembers what an assistive reader would trip over."""

    def __init__(self) -> None:
        super().__init__()
        self.levels: list[int] = []
        self.title = ""
        self.language = ""
        self.ids: list[str] = []
        self.inside_title = False

    def handle_starttag(self, tag, attrs) -> None:
        attributes = dict(attrs)
        if re.fullmatch(r"h[1-6]", tag):
            self.levels.append(int(tag[1]))
        if tag == "html":
            self.language = attributes.get("lang", "")
        if attributes.get("id"):
            self.ids.append(attributes["id"])
        self.inside_title = tag == "title" and not self.title

    def handle_data(self, data) -> None:
        if self.inside_title:
            self.title += data

    def handle_endtag(self, tag) -> None:
        self.inside_title = False


@pytest.mark.parametrize("name", PAGES)
def test_every_page_has_one_h1_a_title_a_language_and_no_id_twice(book, client_of, name):
    response = reader_of(name, client_of).get(address(name, book))
    if not response["Content-Type"].startswith("text/html"):
        return
    outline = Outline()
    outline.feed(response.content.decode())
    assert outline.levels.count(1) == 1
    # no heading level is jumped over on the way down
    assert all(b - a <= 1 for a, b in zip(outline.levels, outline.levels[1:], strict=False))
    title, _dot, program = outline.title.rpartition(" · ")
    assert title.strip()
    assert program == "Palo Azul Basin Keepers"
    assert outline.language == "en"
    assert len(outline.ids) == len(set(outline.ids))


@pytest.mark.parametrize("name", PAGES)
def test_every_orderable_column_orders_both_ways(book, client_of, name):
    browser, url = reader_of(name, client_of), address(name, book)
    table = (browser.get(url).context or {}).get("table")
    if not isinstance(table, Table):
        return
    for column in table.columns:
        if not column.orderable:
            continue
        for order in (column.name, f"-{column.name}"):
            response = browser.get(url, {table.prefixed_order_by_field: order})
            assert response.status_code == 200
            again = {c.name: c for c in response.context["table"].columns}[column.name]
            assert again.is_ordered


@pytest.mark.parametrize("name", PAGES)
def test_every_page_reads_in_spanish_too(book, client_of, name):
    browser = reader_of(name, client_of)
    response = browser.get(address(name, book), headers={"accept-language": "es"})
    assert response.status_code == 200


@pytest.mark.django_db
def test_no_migration_is_missing():
    call_command("makemigrations", check=True, dry_run=True, verbosity=0)


def _templates() -> list[str]:
    folder = ROOT / "templates"
    return sorted(str(path.relative_to(folder)) for path in folder.rglob("*.*") if path.is_file())


@pytest.mark.parametrize("name", _templates())
def test_every_template_parses(name):
    get_template(name)


def _tracked() -> list[Path]:
    listed = subprocess.run(
        ["git", "ls-files", "--cached", "--others", "--exclude-standard"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    ).stdout.split("\n")
    return [ROOT / name for name in listed if name and (ROOT / name).is_file()]


SOURCE = {".py", ".html", ".css", ".js", ".txt"}


def _source_files() -> list[Path]:
    return [
        path
        for path in _tracked()
        if path.suffix in SOURCE and "migrations" not in path.parts and "locale" not in path.parts
    ]


def test_no_file_outgrows_a_head():
    too_long = {
        str(path.relative_to(ROOT)): count
        for path in _source_files()
        for count in [len(path.read_text().splitlines())]
        if count > MOST_LINES["tests" if "tests" in path.parts else "product"]
    }
    assert not too_long


def test_nothing_is_left_for_later():
    mark = re.compile(r"\b(TO" + r"DO|FIX" + r"ME|X" + r"XX)\b")
    left = [
        f"{path.relative_to(ROOT)}:{n}"
        for path in _source_files()
        for n, line in enumerate(path.read_text().splitlines(), start=1)
        if mark.search(line)
    ]
    assert not left


def test_the_top_level_is_the_house_and_nothing_else():
    top = {path.relative_to(ROOT).parts[0] for path in _tracked()}
    assert {name for name in top if not name.startswith(".")} <= {
        "README.md",
        "DEVELOPERS.md",
        "Makefile",
        "manage.py",
        "requirements.txt",
        "stewardship",
        "sites",
        "people",
        "templates",
        "tests",
        "fixtures",
    }
