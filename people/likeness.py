"""How alike two names are: says why, never decides. Pure; knows no book.

What people do to names when they write them twice (accents, capitals, initials, names the other way round, "and" couples,
nicknames, slips of the pen) is common practice, no source.
"""

import re
import unicodedata
from enum import StrEnum
from functools import lru_cache
from itertools import product

from rapidfuzz.distance import OSA
from rapidfuzz.fuzz import token_sort_ratio


class Why(StrEnum):
    """Why two names may be one person's; the surest first."""

    SAME = "same"
    ORDER = "order"
    NICKNAME = "nickname"
    SHORTER = "shorter"
    PART = "part"
    SPELLING = "spelling"
    ONE_NAME = "one_name"


#: Names that go by another; our own short list, common practice, no source.
NICKNAMES = (
    "alexander alex",
    "alexandra alex sandra",
    "antonio anthony tony",
    "catherine katherine kathryn kate kathy katie",
    "charles charlie chuck",
    "concepcion concha",
    "daniel dan",
    "david dave",
    "deborah deb debbie",
    "dolores lola",
    "edward ed eddie ted",
    "elizabeth liz beth betty eliza",
    "enrique quique",
    "francisco paco pancho",
    "guadalupe lupe",
    "ignacio nacho",
    "isabel chabela isa",
    "james jim jimmy",
    "jesus chuy",
    "john jack johnny",
    "jose pepe",
    "joseph joe",
    "manuel manny",
    "margaret maggie meg peg peggy",
    "michael mike",
    "patricia pat patty",
    "richard rick rich dick",
    "robert rob bob bobby",
    "rosario chayo",
    "samantha sam",
    "samuel sam",
    "susan sue",
    "thomas tom",
    "william will bill billy",
)
_GOES_BY: dict[str, set[str]] = {}
for _group in map(str.split, NICKNAMES):
    for _name in _group:
        _GOES_BY.setdefault(_name, set()).update(_group)

#: Words that join the names of two people.
_AND = re.compile(r"\s+(?:and|y|e)\s+")
#: Words beside a name that are none of it.
_BESIDE = {"mr", "mrs", "ms", "dr", "jr"}
#: Least length [letters] of names in which one, and two, slips of the pen are still the same name.
ONE_SLIP, TWO_SLIPS = 4, 8
#: [%] Two whole names, their words sorted, are alike from here.
WHOLE_ALIKE = 90

Words = tuple[str, ...]
#: (given names, family names) of one person
Name = tuple[Words, Words]


def folded(text: str) -> str:
    """A name without accents, capitals and double spaces, so that Inés and INES are alike."""
    plain = unicodedata.normalize("NFKD", text)
    return " ".join("".join(ch for ch in plain if not unicodedata.combining(ch)).casefold().split())


def name_likeness(mine: tuple[str, str], other: tuple[str, str]) -> Why | None:
    """Why two names, each (given, family), may be one person's; None: nothing speaks for it.

    A couple written as one ("Ines and Bram", "Quist") is like each of the two.
    """
    found = [
        why
        for one, two in product(_people_in(*mine), _people_in(*other))
        if (why := _compare(one, two))
    ]
    order = list(Why)
    return min(found, key=order.index, default=None)


@lru_cache(maxsize=20_000)
def _people_in(given: str, family: str) -> tuple[Name, ...]:
    """The people that a name names: one, or the two of a couple, each (given, family) in plain words."""
    givens = [_words(part) for part in _parts(given)]
    families = [_words(part) for part in _parts(family)]
    if len(families) == len(givens):
        pairs = list(zip(givens, families, strict=True))
    elif families:
        pairs = list(product(givens, families))
    else:
        pairs = [(words, ()) for words in givens]
        surname = givens[-1][-1:] if givens and len(givens[-1]) > 1 else ()
        if len(givens) > 1 and surname:  # "Ines and Bram Quist", all in one place
            pairs = [
                (words, surname) if len(words) == 1 else (words[:-1], words[-1:])
                for words in givens
            ]
    return tuple((tuple(one), tuple(two)) for one, two in pairs if one or two)


def _parts(text: str) -> list[str]:
    spaced = folded(text).replace("&", " and ").replace("+", " and ").replace("/", " and ")
    return [part for part in _AND.split(spaced) if part.strip()]


def _words(text: str) -> Words:
    apart = re.sub(r"[’'`]", "", text)
    return tuple(word for word in re.findall(r"\w+", apart) if word not in _BESIDE)


def _compare(mine: Name, other: Name) -> Why | None:
    (given, family), (given2, family2) = mine, other
    whole, whole2 = given + family, given2 + family2
    if mine == other or "".join(whole) == "".join(whole2):
        return Why.SAME
    if sorted(whole) == sorted(whole2):
        return Why.ORDER
    if not family or not family2:
        return _with_one_name(mine, other)
    if family == family2:
        return _given(given, given2)
    if set(family) & set(family2) and (set(family) <= set(family2) or set(family2) <= set(family)):
        return Why.PART if _given(given, given2) else None
    if _slip(" ".join(family), " ".join(family2)) and _given(given, given2) in (
        Why.SAME,
        Why.NICKNAME,
    ):
        return Why.SPELLING
    longest = max(len(" ".join(whole)), len(" ".join(whole2)))
    if longest > TWO_SLIPS and token_sort_ratio(" ".join(whole), " ".join(whole2)) >= WHOLE_ALIKE:
        return Why.SPELLING
    return None


def _with_one_name(mine: Name, other: Name) -> Why | None:
    """One of the two has no family name: its words are like the other's whole name, its given or its family name."""
    short, long = sorted((mine[0] + mine[1], other[0] + other[1]), key=len)
    if not short:
        return None
    if len(short) > 1:  # a whole name in one place
        joined, joined2 = " ".join(short), " ".join(long)
        return Why.SPELLING if _slip(joined, joined2) else None
    return Why.ONE_NAME if any(short[0] in _GOES_BY.get(w, {w}) for w in long) else None


def _given(mine: Words, other: Words) -> Why | None:
    """Why two given names are alike."""
    if mine == other:
        return Why.SAME
    if not mine or not other:
        return Why.SHORTER
    first, first2 = mine[0], other[0]
    if first == first2 or {first, first2} <= _GOES_BY.get(first, set()):
        return Why.NICKNAME if first != first2 else Why.SHORTER
    if min(len(first), len(first2)) == 1 and first[0] == first2[0]:
        return Why.SHORTER
    if set(mine) <= set(other) or set(other) <= set(mine):
        return Why.SHORTER
    return Why.SPELLING if _slip(first, first2) else None


def _slip(mine: str, other: str) -> bool:
    """Whether the two differ by no more letters left out, put in, changed or swapped than names of that length allow."""
    shortest = min(len(mine), len(other))
    allowed = 0 if shortest < ONE_SLIP else 1 if shortest < TWO_SLIPS else 2
    return OSA.distance(mine, other, score_cutoff=allowed) <= allowed
