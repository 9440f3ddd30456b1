"""Spellings of one home. Street words, directions and units as in USPS Publication 28, appendixes B and C (from memory)."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from stewardship.common.addresses import AddressWhy, address_likeness, read_address


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
