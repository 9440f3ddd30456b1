"""Addresses as people write them: a form in which two spellings of one home are equal, and how alike two are. Pure.

Street words, directions and unit words: USPS Publication 28, appendixes B and C (a part of them, from memory).
"""

import re
import unicodedata
from dataclasses import dataclass
from enum import StrEnum
from functools import lru_cache

from rapidfuzz.distance import OSA

STREET_WORDS = {
    word: words.split()[0]
    for words in (
        "alley aly",
        "avenue ave av avenida",
        "boulevard blvd",
        "circle cir",
        "court ct",
        "drive dr",
        "highway hwy",
        "lane ln",
        "loop lp",
        "parkway pkwy",
        "place pl",
        "road rd",
        "row",
        "square sq",
        "street st str",
        "terrace ter terr",
        "trail trl",
        "way wy",
    )
    for word in words.split()
}
DIRECTIONS = {
    "north": "n",
    "south": "s",
    "east": "e",
    "west": "w",
    "northeast": "ne",
    "northwest": "nw",
    "southeast": "se",
    "southwest": "sw",
}
ORDINALS = {
    word: f"{number}{end}"
    for number, (word, end) in enumerate(
        (
            ("first", "st"),
            ("second", "nd"),
            ("third", "rd"),
            ("fourth", "th"),
            ("fifth", "th"),
            ("sixth", "th"),
            ("seventh", "th"),
            ("eighth", "th"),
            ("ninth", "th"),
            ("tenth", "th"),
        ),
        start=1,
    )
}
_UNIT = re.compile(
    r"(?:\b(?:apartment|apt|apto|unit|suite|ste|space|spc|lot|trailer|trlr|building|bldg|depto)\b\.?|#)\s*#?\s*([\w-]+)"
)
_BOX = re.compile(r"\b(?:(?:p\.?\s*o\.?\s*)?box|apartado)\s*#?\s*(\w+)")
_ROUTE = re.compile(r"\b(?:rural route|rr|hc|highway contract)\s*#?\s*(\d+)")
_NUMBER = re.compile(
    r"^\s*(\d+)(?:\s*-\s*\d+)?(?:\s*-?\s*(\d/\d)|-?([a-z])(?=[\s,]|$))?(?=[\s,]|$)"
)
#: Where a strip lies that has no address of its own.
_BESIDE = re.compile(
    r"^((?:opposite|across|from|near|by|beside|next|to|behind|corner|of|in|front|at|the)\b[\s]*)+(?=\d)"
)
#: Least letters of a street's name in which one, and two, slips of the pen are still the same street.
ONE_SLIP, TWO_SLIPS = 5, 9


class AddressWhy(StrEnum):
    """Why two addresses may be one home; the surest first."""

    SAME = "same_home"
    HOUSE = "same_house"
    OTHERWISE = "street_otherwise"
    STREET = "same_street"


@dataclass(frozen=True)
class Address:
    """An address in plain words. `part`: ½, a letter or a unit of the house, or how it lies to it; `box`: a post box, with its route."""

    number: str = ""
    part: str = ""
    street: tuple[str, ...] = ()
    box: str = ""


@lru_cache(maxsize=20_000)
def read_address(text: str) -> Address:
    """The home that an address names. Town and code do not count: the book is one town's.

    Of several lines the first that holds a number, a box or a street word is read.
    """
    plain = unicodedata.normalize("NFKD", re.sub(r"(\d)\s*([¼½¾])", r"\1 \2", text))
    plain = "".join(ch for ch in plain if not unicodedata.combining(ch)).replace("⁄", "/")
    plain = plain.casefold()
    box, route = _BOX.search(plain), _ROUTE.search(plain)
    if box:
        return Address(box=f"{route[1] + ' ' if route else ''}box {box[1]}")
    unit = _UNIT.search(plain)
    if unit:
        plain = plain[: unit.start()] + "," + plain[unit.end() :]
    pieces = [piece.strip(" .") for piece in re.split(r"[\n,;]", plain) if piece.strip(" .")]
    piece = next(
        (one for one in pieces if _NUMBER.match(one) or _BESIDE.match(one)),
        pieces[0] if pieces else "",
    )
    beside = _BESIDE.match(piece)
    piece = piece[beside.end() :] if beside else piece
    number = _NUMBER.match(piece)
    rest = piece[number.end() :] if number else piece
    parts = [*(number.groups()[1:] if number else ()), unit and unit[1], beside and beside[0]]
    inner = " ".join(part.strip() for part in parts if part)
    return Address(
        number=number[1].lstrip("0") or "0" if number else "",
        part=inner,
        street=_street(re.findall(r"[\w']+", rest)),
    )


def _street(words: list[str]) -> tuple[str, ...]:
    found = []
    for place, word in enumerate(words):
        word = word.replace("'", "")
        if word == "st" and place == 0:
            word = "saint"  # St Vrain Street
        word = ORDINALS.get(word, word)
        word = DIRECTIONS.get(word, word)
        found.append(STREET_WORDS.get(word, word) if place else word)
    return tuple(found)


def address_likeness(mine: str, other: str) -> AddressWhy | None:
    """Why two addresses may be one home; None: nothing speaks for it."""
    one, two = read_address(mine), read_address(other)
    if one.box or two.box:
        return AddressWhy.SAME if one.box == two.box else None
    if not one.street or not two.street:
        return None
    same_street = one.street == two.street
    if one.number and one.number == two.number:
        if same_street:
            return AddressWhy.SAME if one.part == two.part else AddressWhy.HOUSE
        return AddressWhy.OTHERWISE if _otherwise(one.street, two.street) else None
    if same_street and not (one.number and two.number):
        return AddressWhy.STREET
    return None


def _otherwise(mine: tuple[str, ...], other: tuple[str, ...]) -> bool:
    """The same street by another spelling: a street word or direction more, less or other, or a slip of the pen."""
    core, core2 = (" ".join(_core(words)) for words in (mine, other))
    shortest = min(len(core), len(core2))
    allowed = 0 if shortest < ONE_SLIP else 1 if shortest < TWO_SLIPS else 2
    return bool(core) and OSA.distance(core, core2, score_cutoff=allowed) <= allowed


def _core(words: tuple[str, ...]) -> tuple[str, ...]:
    directions = set(DIRECTIONS.values())
    return tuple(w for w in words if w not in directions and w not in STREET_WORDS.values())
