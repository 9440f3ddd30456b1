"""Spellings of one home. Street words, directions and units as in USPS Publication 28, appendixes B and C (from memory)."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scourgify import normalize_address_record

from stewardship.common.addresses import (
    DIRECTIONS,
    STREET_WORDS,
    AddressWhy,
    address_likeness,
    read_address,
)


@pytest.mark.parametrize(
    ("mine", "other"),
    [
        ("110 Saltbush St.", "110 Saltbush Street\nPalo Azul, NM 87000"),
        ("110 SALTBUSH STREET", "110 Saltbush street, Palo Azul"),
        ("110½ Saltbush St", "110 1/2 Saltbush Street"),
        ("110-1/2 Saltbush St", "110 ½ Saltbush Street"),
        ("110 Saltbush St Apt 2", "110 Saltbush Street #2"),
        ("Unit B, 110 Oak St", "110 Oak St, Apt. B"),
        ("110-A Oak St", "110a Oak Street"),
        ("20 N. 3rd Ave", "20 North Third Avenue"),
        ("5 St Vrain St", "5 Saint Vrain Street"),
        ("P.O. Box 9", "PO Box 9, Palo Azul"),
        ("Rural Route 2 Box 30", "RR 2, Box 30"),
        ("Palo Azul Community House\n12 Mesquite Row", "12 Mesquite Row"),
        ("7 Peña Blvd", "7 PENA BOULEVARD"),
        ("Opposite 710 Brickyard Row", "opposite 710 Brickyard Row"),
    ],
)
def test_two_spellings_of_one_home_are_the_same(mine, other):
    assert address_likeness(mine, other) == AddressWhy.SAME


@pytest.mark.parametrize(
    ("mine", "other", "why"),
    [
        ("110 Saltbush St Apt 2", "110 Saltbush Street", AddressWhy.HOUSE),
        ("110 Saltbush St Apt 2", "110 Saltbush St Apt 3", AddressWhy.HOUSE),
        ("110½ Saltbush St", "110 Saltbush St", AddressWhy.HOUSE),
        ("opposite 110 Saltbush St", "110 Saltbush St", AddressWhy.HOUSE),
        ("opposite 110 Saltbush St", "across from 110 Saltbush St", AddressWhy.HOUSE),
        ("110 Saltbush", "110 Saltbush St", AddressWhy.OTHERWISE),
        ("110 Saltbush Ln", "110 Saltbush St", AddressWhy.OTHERWISE),
        ("110 Slatbush St", "110 Saltbush St", AddressWhy.OTHERWISE),
        ("110 N Saltbush St", "110 Saltbush St", AddressWhy.OTHERWISE),
        # a strip without an address of its own
        ("Saltbush Street, mid-block", "110 Saltbush St", AddressWhy.STREET),
        ("112 Saltbush St", "110 Saltbush St", None),
        ("110 Yucca Ln", "110 Saltbush St", None),
        ("HC 65 Box 12", "HC 66 Box 12", None),
        ("PO Box 9", "9 Saltbush Street", None),
        ("", "110 Saltbush St", None),
    ],
)
def test_what_differs_is_told(mine, other, why):
    assert address_likeness(mine, other) == why
    assert address_likeness(other, mine) == why


@given(st.text(max_size=60))
def test_whatever_somebody_types_is_read(text):
    read_address(text)
    assert address_likeness(text, text) in (AddressWhy.SAME, AddressWhy.STREET, None)


class TestAgainstPublication28:
    """Beside an implementation of USPS Publication 28 (usaddress-scourgify), which knows nothing of ours."""

    @staticmethod
    def as_published(address: str) -> str:
        found = normalize_address_record(f"{address}, Palo Azul, NM 87000")
        return " ".join(filter(None, [found["address_line_1"], found["address_line_2"]]))

    # "avenida" is common practice, no source
    @pytest.mark.parametrize("word", sorted(set(STREET_WORDS) - {"avenida"}))
    def test_street_words(self, word):
        published = self.as_published(f"110 Saltbush {word.title()}")
        for ours in (f"110 Saltbush {word}", f"110 saltbush {STREET_WORDS[word]}"):
            assert address_likeness(ours, published) == AddressWhy.SAME

    @pytest.mark.parametrize("word", sorted(DIRECTIONS))
    def test_directions(self, word):
        published = self.as_published(f"110 {word.title()} Saltbush Street")
        assert address_likeness(f"110 {word} Saltbush St", published) == AddressWhy.SAME

    @pytest.mark.parametrize(
        "unit", ["Apartment", "Apt", "Unit", "Suite", "Space", "Lot", "Trailer", "Building", "#"]
    )
    def test_units(self, unit):
        written = f"110 Saltbush Street {unit} 4"
        assert address_likeness(written, self.as_published(written)) == AddressWhy.SAME
