"""What changed between two versions of a text, word by word. Pure."""

import difflib
import re
from dataclasses import dataclass
from typing import Literal

_PIECES = re.compile(r"\S+|\n+|[^\S\n]+")


@dataclass(frozen=True, slots=True)
class Piece:
    """A run of text: the same in both versions, new in the later one, or gone from it."""

    how: Literal["same", "new", "gone"]
    text: str


def changes(before: str, after: str) -> list[Piece]:
    """The later text with what was put in and what was taken out, in reading order."""
    old, new = _PIECES.findall(before), _PIECES.findall(after)
    found: list[Piece] = []
    matcher = difflib.SequenceMatcher(a=old, b=new, autojunk=False)
    for tag, a0, a1, b0, b1 in matcher.get_opcodes():
        if tag == "equal":
            found.append(Piece("same", "".join(new[b0:b1])))
            continue
        if a1 > a0:
            found.append(Piece("gone", "".join(old[a0:a1])))
        if b1 > b0:
            found.append(Piece("new", "".join(new[b0:b1])))
    return found
