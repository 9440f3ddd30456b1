"""Conversions against published factors and values.

NIST SP 811 (2008), appendix B.8 lists the factors with bold (exact) figures: inch 2.54 E-02 m, foot 3.048 E-01 m, mile
1.609 344 E+03 m, square foot 9.290 304 E-02 m², cubic foot 2.831 685 E-02 m³, gallon (US) 3.785 412 L (exact: 231 cubic inches,
NIST Handbook 44, appendix C).
"""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from stewardship.common import units as u


def test_the_factors_are_those_of_nist_sp_811():
    assert u.in_to_mm(1) == Decimal("25.4")
    assert u.m_to_ft(Decimal("0.3048")) == 1
    assert Decimal("1609.344") == u.M_PER_MILE
    assert u.m2_to_ft2(Decimal("0.09290304")) == 1
    assert float(1 / u.m3_to_ft3(1)) == pytest.approx(2.831685e-2, rel=5e-7)
    assert u.m3_to_gal(Decimal("0.003785411784")) == 1


def test_a_cubic_foot_holds_seven_and_a_half_gallons():
    # 7.48 gal/ft³ = 1728 / 231 cubic inches (NIST Handbook 44, appendix C)
    assert float(u.m3_to_gal(1) / u.m3_to_ft3(1)) == pytest.approx(1728 / 231, rel=1e-12)


@given(st.integers(min_value=0, max_value=10_000))
def test_hundredths_of_an_inch_survive_storage_in_whole_micrometres(hundredths):
    stored = u.in_to_um(Decimal(hundredths) / 100)

    assert stored == hundredths * 254
    assert u.um_to_in(stored) == Decimal(hundredths) / 100


@given(st.integers(min_value=0, max_value=20_000))
def test_tenths_of_a_millimetre_survive_storage_in_whole_micrometres(tenths):
    assert u.um_to_mm(u.mm_to_um(tenths / 10)) == Decimal(tenths) / 10
