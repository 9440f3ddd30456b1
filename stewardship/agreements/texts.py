"""The texts of agreements: our starter wordings, and the placeholders that may stand in a wording.

A wording is plain text: paragraphs parted by empty lines; a line that starts with "# " is a heading; {placeholders} are
filled in when a document is made. A starter file holds title, summary and body, parted by lines of three dashes.
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from django.db.models import QuerySet
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from stewardship.common.errors import Refused

FOLDER = Path(__file__).parent / "wording"
#: Before any agreement that a program may bring along.
STARTERS_SINCE = date(2000, 1, 1)

#: What may stand in braces, and what is put there.
_STANDS_FOR = {
    "program": gettext_lazy("the program’s name"),
    "town": gettext_lazy("the town"),
    "contact": gettext_lazy("the program’s phone and e-mail"),
    "parties": gettext_lazy("everybody who signs, and as what"),
    "sites": gettext_lazy("the nearest addresses, with site codes"),
    "reference": gettext_lazy("the agreement’s reference"),
    "begins": gettext_lazy("the day it begins, or the day of the last signature"),
    "term": gettext_lazy("how long it runs"),
    "cure_days": gettext_lazy("how many days there are to put a fault right"),
}
PLACEHOLDERS = tuple(_STANDS_FOR)
_BRACES = re.compile(r"\{([^{}]*)\}")


@dataclass(frozen=True, slots=True)
class Block:
    """A heading or a paragraph of a wording."""

    text: str
    heading: bool = False


def stands_for(placeholder: str) -> str:
    """What is put where the placeholder stands, in the language that is active."""
    return str(_STANDS_FOR[placeholder])


def unknown_placeholders(text: str) -> list[str]:
    """What stands in braces and means nothing, in order; a brace without its partner counts."""
    found = [name for name in _BRACES.findall(text) if name not in PLACEHOLDERS]
    loose = _BRACES.sub("", text)
    return found + [brace for brace in "{}" if brace in loose]


def check_placeholders(text: str) -> None:
    """Refuse a text with a placeholder that would not be filled in."""
    unknown = unknown_placeholders(text)
    if unknown:
        raise Refused(
            _("“%(name)s” in braces means nothing here; these do: %(known)s.")
            % {"name": unknown[0], "known": ", ".join(PLACEHOLDERS)}
        )


def blocks(text: str, values: Mapping[str, str]) -> list[Block]:
    """The text with its placeholders filled in, as headings and paragraphs."""
    check_placeholders(text)
    filled = _BRACES.sub(lambda match: values[match[1]], text)
    pieces = (" ".join(piece.split()) for piece in re.split(r"\n\s*\n", filled))
    return [Block(piece.removeprefix("# "), piece.startswith("# ")) for piece in pieces if piece]


@dataclass(frozen=True, slots=True)
class Starter:
    instrument: str
    language: str
    title: str
    summary: str
    body: str


def starters() -> list[Starter]:
    """Our own texts, from wording/<instrument>.<language>.txt."""
    found = []
    for path in sorted(FOLDER.glob("*.txt")):
        instrument, language = path.stem.split(".")
        title, summary, body = (
            part.strip() for part in path.read_text(encoding="utf-8").split("\n---\n")
        )
        found.append(Starter(instrument, language, title, summary, body))
    return found


def load_starter_wording(wordings: QuerySet) -> int:
    """Add version 1 wherever an instrument has no text in a language yet; returns how many. Edited texts are left alone."""
    have = set(wordings.values_list("instrument", "language"))
    missing = [one for one in starters() if (one.instrument, one.language) not in have]
    for one in missing:
        wordings.create(
            instrument=one.instrument,
            language=one.language,
            version=1,
            title=one.title,
            summary=one.summary,
            body=one.body,
            in_use_since=STARTERS_SINCE,
        )
    return len(missing)
