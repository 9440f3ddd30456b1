"""How names are written twice for one person. The list of ways is common practice, no source."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from nicknames import NickNamer

from people.likeness import NICKNAMES, Why, folded, name_likeness

NAMES = st.sampled_from(
    ["Inés", "Bram", "Odile", "Maria Luz", "I.", "Quist", "O'Dell", "García-Rea", "Wen", ""]
)


@pytest.mark.parametrize(
    ("mine", "other", "why"),
    [
        (("Inés", "Quist"), ("INES", "quist"), Why.SAME),
        (("Seán", "Ó Dell"), ("Sean", "O Dell"), Why.SAME),
        (("O’Dell", "Rea"), ("ODell", "Rea"), Why.SAME),
        (("Mary Ann", "Rea"), ("Maryann", "Rea"), Why.SAME),
        (("Dr. Ines", "Quist"), ("Ines", "Quist"), Why.SAME),
        (("Quist", "Ines"), ("Ines", "Quist"), Why.ORDER),
        (("Liz", "Orr"), ("Elizabeth", "Orr"), Why.NICKNAME),
        (("Paco", "Rea"), ("Francisco", "Rea"), Why.NICKNAME),
        (("I.", "Quist"), ("Ines", "Quist"), Why.SHORTER),
        (("Ines M.", "Quist"), ("Ines", "Quist"), Why.SHORTER),
        (("Maria Luz", "Rea"), ("Luz", "Rea"), Why.SHORTER),
        (("Ines", "Quist-Amaro"), ("Ines", "Quist"), Why.PART),
        (("Ines", "Qiust"), ("Ines", "Quist"), Why.SPELLING),
        (("Inez", "Quist"), ("Ines", "Quist"), Why.SPELLING),
        (("Ines", "Quistt"), ("Ines", "Quist"), Why.SPELLING),
        (("Wen", ""), ("Wen", "Salazar"), Why.ONE_NAME),
        (("Salazar", ""), ("Wen", "Salazar"), Why.ONE_NAME),
        (("Wen Salazar", ""), ("Wen", "Salazar"), Why.SAME),
        # a couple written as one is like each of the two
        (("Ines and Bram", "Quist"), ("Bram", "Quist"), Why.SAME),
        (("Ines & Bram Quist", ""), ("Ines", "Quist"), Why.SAME),
        (("Ines Quist and Bram Okello", ""), ("Bram", "Okello"), Why.SAME),
        (("Inés y Bram", "Quist"), ("Ines", "Quist"), Why.SAME),
        # two people
        (("Bram", "Quist"), ("Ines", "Quist"), None),
        (("Ines", "Quist"), ("Ines", "Okello"), None),
        (("Odile", "Farrow"), ("Odette", "Farrow"), None),
        (("Ana", "Orr"), ("Ann", "Orr"), None),
        (("", ""), ("Ines", "Quist"), None),
    ],
)
def test_a_name_is_like_another_for_a_reason(mine, other, why):
    assert name_likeness(mine, other) == why


@given(NAMES, NAMES, NAMES, NAMES)
def test_it_does_not_matter_which_was_written_first(given_1, family_1, given_2, family_2):
    one, two = (given_1, family_1), (given_2, family_2)
    assert name_likeness(one, two) == name_likeness(two, one)


@given(st.text(max_size=30), st.text(max_size=30))
def test_whatever_somebody_types_has_an_answer(given_name, family_name):
    name_likeness((given_name, family_name), ("Ines", "Quist"))


def test_the_list_of_nicknames_is_plain_words_each_group_once():
    groups = [set(group.split()) for group in NICKNAMES]
    assert all(folded(name) == name for group in groups for name in group)
    assert len({frozenset(group) for group in groups}) == len(groups)


#: Spanish short forms, which the list beside ours does not hold: common practice, no source.
SPANISH = {
    "concepcion",
    "dolores",
    "enrique",
    "francisco",
    "guadalupe",
    "ignacio",
    "isabel",
    "jesus",
}
SPANISH |= {"jose", "rosario"}


@pytest.mark.parametrize("group", [one for one in NICKNAMES if one.split()[0] not in SPANISH])
def test_english_nicknames_stand_in_an_open_list_too(group):
    """The `nicknames` package (an open list of English given names): one goes by the other, or both by a third."""
    name, *others = group.split()
    namer = NickNamer()

    def near(one: str) -> set[str]:
        return namer.nicknames_of(one) | namer.canonicals_of(one)

    for other in others:
        assert other in near(name) or near(name) & near(other), other
