"""The Spanish catalogue is whole, says nothing that would break a page, and pages and letters use it.

The catalogue is read and compiled here, so that no compiled file that lies about can flatter it.
"""

import ast
import os
import re
import shutil
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest
from django.conf import settings
from django.test import override_settings
from django.urls import reverse
from django.utils import translation

from people.choices import Channel, Language
from stewardship.care import links
from stewardship.common.written import day_text, depth_text
from stewardship.outbox.writing import write
from tests import factory
from tests.care.book import letters_to, open_duty, rain, sweep

CATALOGUE = Path("stewardship/locale/es/LC_MESSAGES/django.po")
SOURCES = ("people", "sites", "stewardship", "templates", "manage.py")


# -- reading a catalogue -----------------------------------------------------------------------------------------
@dataclass(frozen=True)
class Entry:
    """One message: `ids` is (singular,) or (singular, plural), `said` its translations in the same order."""

    context: str
    ids: tuple[str, ...]
    said: tuple[str, ...]
    fuzzy: bool

    @property
    def key(self) -> tuple[str, str]:
        return self.context, self.ids[0]


KEYWORD = re.compile(r'^(msgctxt|msgid|msgid_plural|msgstr(?:\[\d\])?) (".*")$')


def entries_of(path: Path) -> list[Entry]:
    """The messages of a .po file without its head; the format is that of the GNU gettext manual, "The Format of PO Files"."""
    entries = []
    for block in re.split(r"\n\s*\n", path.read_text(encoding="utf-8")):
        lines = [line for line in block.splitlines() if not line.startswith("#~")]
        parts: dict[str, str] = {}
        name = ""
        for line in lines:
            if start := KEYWORD.match(line):
                name, first = start.groups()
                parts[name] = ast.literal_eval(first)
            elif line.startswith('"'):
                parts[name] += ast.literal_eval(line)
        if parts.get("msgid"):
            flags = [line for line in lines if line.startswith("#,")]
            entries.append(
                Entry(
                    context=parts.get("msgctxt", ""),
                    ids=tuple(parts[n] for n in ("msgid", "msgid_plural") if n in parts),
                    said=tuple(text for name, text in parts.items() if name.startswith("msgstr")),
                    fuzzy=any("fuzzy" in flag for flag in flags),
                )
            )
    return entries


@pytest.fixture(scope="module")
def catalogue() -> list[Entry]:
    return entries_of(settings.BASE_DIR / CATALOGUE)


# -- 1. nothing is missing ---------------------------------------------------------------------------------------
@pytest.fixture(scope="module")
def extracted(tmp_path_factory) -> list[Entry]:
    """What makemessages finds in a copy of the sources that has no catalogue yet."""
    copy = tmp_path_factory.mktemp("sources")
    for name in SOURCES:
        source = settings.BASE_DIR / name
        if source.is_dir():
            shutil.copytree(
                source, copy / name, ignore=shutil.ignore_patterns("__pycache__", "locale")
            )
        else:
            shutil.copy(source, copy / name)
    (copy / CATALOGUE).parent.mkdir(parents=True)
    subprocess.run(
        [sys.executable, "manage.py", "makemessages", "-l", "es", "--no-location"],
        cwd=copy,
        env=os.environ
        | {"DJANGO_SETTINGS_MODULE": "stewardship.settings", "RILLBOOK_VAR": str(copy / "var")},
        check=True,
        capture_output=True,
    )
    return entries_of(copy / CATALOGUE)


def test_every_string_of_the_sources_is_in_the_catalogue_and_no_other(extracted, catalogue):
    wanted = {entry.key for entry in extracted}
    there = {entry.key for entry in catalogue}
    assert len(wanted) > 1000
    assert sorted(wanted - there) == []  # run makemessages and translate
    assert sorted(there - wanted) == []  # no longer used: run makemessages


def test_every_string_is_translated(catalogue):
    assert [entry.ids[0] for entry in catalogue if entry.fuzzy or not all(entry.said)] == []


MARKERS = {"gettext": 0, "gettext_lazy": 0, "ngettext": 0, "ngettext_lazy": 0}
MARKERS |= {"pgettext": 1, "pgettext_lazy": 1, "npgettext": 1, "npgettext_lazy": 1}


def marked_strings(path: Path) -> Iterator[tuple[str, int]]:
    """Strings handed to gettext in a Python file, under whatever name it was imported."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    names = {
        alias.asname or alias.name: alias.name
        for node in ast.walk(tree)
        if isinstance(node, ast.ImportFrom) and node.module == "django.utils.translation"
        for alias in node.names
    }
    for node in ast.walk(tree):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name):
            place = MARKERS.get(names.get(node.func.id, ""))
            if place is not None and isinstance(node.args[place], ast.Constant):
                yield node.args[place].value, node.lineno


def test_no_marked_string_hides_from_the_extraction(catalogue):
    """xgettext looks neither into f-strings nor behind a name that it does not know."""
    known = {entry.ids[0] for entry in catalogue}
    hidden = [
        f"{path.relative_to(settings.BASE_DIR)}:{line}: {text}"
        for folder in ("people", "sites", "stewardship")
        for path in sorted((settings.BASE_DIR / folder).rglob("*.py"))
        for text, line in marked_strings(path)
        if text not in known
    ]
    assert hidden == []


# -- 2. nothing breaks -------------------------------------------------------------------------------------------
PLACEHOLDER = re.compile(r"%\(\w+\)[sd]|%[sd%]|\{\w*\}|</?\w[^>]*>|&\w+;")


def placeholders(text: str) -> list[str]:
    return sorted(PLACEHOLDER.findall(text))


def test_each_translation_keeps_the_placeholders_and_tags(catalogue):
    wrong = []
    for entry in catalogue:
        # A singular may leave its number out ("one page"); the plural may not.
        for place, said in enumerate(entry.said):
            allowed = [placeholders(text) for text in entry.ids[min(place, 1) :] or entry.ids]
            if place == 0:
                allowed.append(placeholders(entry.ids[-1]))
            if placeholders(said) not in allowed:
                wrong.append((entry.ids, said))
    assert wrong == []


def test_each_translation_keeps_spaces_and_line_breaks_at_its_ends(catalogue):
    def ends(text: str) -> tuple[str, str]:
        return text[: len(text) - len(text.lstrip())], text[len(text.rstrip()) :]

    assert [
        (entry.ids[0], said)
        for entry in catalogue
        for said in entry.said
        if ends(said) != ends(entry.ids[0])
    ] == []


def test_gettext_itself_finds_no_fault():
    done = subprocess.run(
        ["msgfmt", "--check", "-o", os.devnull, str(settings.BASE_DIR / CATALOGUE)],
        capture_output=True,
        text=True,
        check=False,
    )
    assert (done.returncode, done.stderr) == (0, "")


# -- 3. people read it -------------------------------------------------------------------------------------------
@pytest.fixture(scope="module")
def compiled(tmp_path_factory) -> Path:
    folder = tmp_path_factory.mktemp("locale")
    compiled = folder / "es" / "LC_MESSAGES" / "django.mo"
    compiled.parent.mkdir(parents=True)
    subprocess.run(["msgfmt", "-o", compiled, settings.BASE_DIR / CATALOGUE], check=True)
    return folder


@pytest.fixture
def spanish(compiled) -> Iterator[None]:
    """The catalogue as it stands in the sources; the signal of override_settings drops what was loaded before."""
    with override_settings(LOCALE_PATHS=[compiled]):
        yield
    translation.trans_real._translations = {}


IN_SPANISH = {"Accept-Language": "es"}
#: Words that are in no Spanish sentence; program, street and plant names of the tests have none of them.
ENGLISH = re.compile(
    r"\b(the|you|your|and|with|please|basin|storm|rain|water|letter|done|due|sign in|from|how|what|"
    r"Mon|Tue|Wed|Thu|Fri|Sat|Sun|Jan|Apr|Aug|Dec)\b",
    re.IGNORECASE,
)


def words_of(html: str) -> str:
    """What a page says to its reader: text and labels, without code, addresses and the other language's name."""
    html = re.sub(r"<(style|script)\b.*?</\1>|<!--.*?-->", " ", html, flags=re.DOTALL)
    html = re.sub(r'<(\w+)[^>]* lang="en"[^>]*>.*?</\1>', " ", html, flags=re.DOTALL)
    labels = " ".join(re.findall(r'(?:aria-label|title|placeholder)="([^"]*)"', html))
    return " ".join(f"{re.sub(r'<[^>]*>', ' ', html)} {labels}".split())


def assert_spanish(html: str, *parts: str) -> None:
    said = words_of(html)
    for part in parts:
        assert part in said
    said = re.sub(r"Saltbush Street|Palo Azul Basin Keepers|blue grama|https?://\S+", "", said)
    left = [said[max(0, m.start() - 30) : m.end() + 30] for m in ENGLISH.finditer(said)]
    assert left == []


@pytest.fixture
def neighbour_in_spanish(cast):
    cast.owner.language = Language.ES
    cast.owner.save()
    return cast.owner


@pytest.fixture
def duty(cast, neighbour_in_spanish, frozen_day, spanish):
    cast.site.cart_litres, cast.site.collection_weekday = 363, 3
    cast.site.save()
    rain(cast.site, water={})
    sweep()
    return open_duty(cast.site)


def test_the_sign_in_page(client, program, spanish):
    page = client.get("/account/login/", headers=IN_SPANISH).content.decode()
    assert '<html lang="es"' in page
    assert_spanish(page, "Iniciar sesión", "Contraseña", "¿Cuida una cuenca junto a su casa?")


def test_the_button_at_the_foot_changes_the_language(client, program, spanish):
    client.post(reverse("set_language"), {"language": "es", "next": "/account/login/"})
    assert_spanish(client.get("/account/login/").content.decode(), "Iniciar sesión")


def test_the_residents_page(client, cast, duty):
    path = links.path_for(duty=duty, person_pk=cast.owner.pk)
    page = client.get(path, headers=IN_SPANISH).content.decode()
    assert '<html lang="es"' in page
    assert_spanish(
        page,
        "La cuenca en 110 Saltbush Street",
        "0,62 pulg el mar 14 jul, según el pluviómetro G1",
        "Trampa de sedimento: mida del fondo de la entrada hasta el sedimento.",
        "la mañana de la recolección (jueves)",
        "Esta vez no puedo",
        "Ya no me toca",
    )


def test_the_reminder_by_mail(cast, duty):
    (letter,) = letters_to("ines.quist@example.org")
    written = write(letter)
    assert written.subject == (
        "Por favor, atienda la cuenca en 110 Saltbush Street a más tardar el dom 19 jul"
    )
    for said in (written.text, written.html):
        assert_spanish(
            said,
            "Hola, Ines:",
            "cerca de 30 min. Elija ya un día y una hora.",
            "Nunca meta las manos en agua corriente.",
        )


def test_the_reminder_on_paper(cast, duty):
    (letter,) = letters_to("ines.quist@example.org")
    letter.channel = Channel.LETTER
    assert_spanish(write(letter).html, "Hola, Ines:", "O marque, recorte y envíe este talón:")


@pytest.mark.parametrize(
    "name", ["today", "care:duties", "sites:list", "outbox:list", "people:list", "agreements:list"]
)
def test_pages_of_the_coordinator(coordinator, duty, name):
    page = coordinator.get(reverse(name), headers=IN_SPANISH)
    assert page.status_code == 200
    assert_spanish(page.content.decode())


def test_a_refused_field_says_why_in_spanish(coordinator, duty, spanish):
    page = coordinator.post(reverse("sites:new"), {"code": "bad code"}, headers=IN_SPANISH)
    assert_spanish(page.content.decode(), "Use solo letras, números y guiones.")


def test_numbers_and_days_are_written_the_spanish_way(spanish):
    with translation.override("es"):
        assert depth_text(factory.um(0.62), "us") == "0,62 pulg"
        assert day_text(factory.TODAY, today=factory.TODAY) == "mié 15 jul"
