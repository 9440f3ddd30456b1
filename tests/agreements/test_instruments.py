"""The rules of the five instruments, as pure functions.

Who can bind land and what a tenant or helper may promise: common practice, no source. That instruments differ in what a sale
does is in every published model looked at: recorded covenants run with the land, right-of-way licences are personal and revocable.
"""

from datetime import date

import pytest

from stewardship.agreements.choices import Capacity, InstrumentKind, ResponsibilityRole
from stewardship.agreements.instruments import (
    INSTRUMENTS,
    Gap,
    Role,
    Signer,
    begins_on,
    ends_on,
    gaps,
    may_build,
    responsibilities,
)

DAY = date(2026, 7, 1)


def test_every_instrument_has_its_rules_in_the_values_of_the_book():
    assert set(INSTRUMENTS) == set(InstrumentKind.values)
    for rules in INSTRUMENTS.values():
        assert set(rules.capacities) <= set(Capacity.values)
        assert set(rules.ground) <= set(rules.capacities)


def test_only_a_covenant_binds_later_owners_and_is_recorded():
    assert {k for k, r in INSTRUMENTS.items() if r.binds_successors} == {"covenant"}
    assert {k for k, r in INSTRUMENTS.items() if r.recorded} == {"covenant"}
    assert INSTRUMENTS["covenant"].term_years is None


@pytest.mark.parametrize(
    ("kind", "asked"),
    [
        ("care_agreement", [("owner", "landlord"), ("program",)]),
        ("covenant", [("owner", "landlord"), ("agency_officer",)]),
        ("licence", [("owner", "landlord"), ("agency_officer",)]),
        ("memorandum", [("agency_officer",), ("program",)]),
        ("helper", [("helper",), ("program",)]),
    ],
)
def test_an_empty_instrument_asks_for_everybody_it_needs(kind, asked):
    assert gaps(kind, []) == [Gap(capacities) for capacities in asked]


def test_beside_a_tenant_the_landlord_is_asked_by_that_name():
    assert gaps("care_agreement", [Signer("tenant", signed_on=DAY)])[0] == Gap(("landlord",))


def test_a_tenants_signature_never_stands_for_the_owners():
    parties = [Signer("tenant", signed_on=DAY), Signer("program", signed_on=DAY)]
    assert gaps("care_agreement", parties) == [Gap(("landlord",))]
    assert not may_build("care_agreement", parties)


def test_everybody_named_has_to_sign_unless_they_need_not():
    parties = [
        Signer("owner", signed_on=DAY),
        Signer("owner"),
        Signer("tenant", must_sign=False),
        Signer("program", signed_on=DAY),
    ]
    assert gaps("care_agreement", parties) == [Gap(("owner",), 1)]
    assert not may_build("care_agreement", parties)


def test_a_party_that_need_not_sign_does_not_fill_the_place_of_one_that_must():
    assert gaps("care_agreement", [Signer("owner", must_sign=False, signed_on=DAY)])[0] == Gap(
        ("owner", "landlord")
    )


def test_it_begins_with_the_last_signature_or_later_if_agreed():
    parties = [Signer("owner", signed_on=DAY), Signer("program", signed_on=date(2026, 7, 9))]
    assert begins_on(parties) == date(2026, 7, 9)
    assert begins_on(parties, date(2026, 8, 1)) == date(2026, 8, 1)
    assert begins_on(parties, date(2026, 6, 1)) == date(2026, 7, 9)


def test_a_term_ends_on_the_same_day_years_later():
    assert ends_on("licence", DAY) == date(2031, 7, 1)
    assert ends_on("licence", date(2024, 2, 29)) == date(2029, 3, 1)
    assert ends_on("covenant", DAY) is None


def test_owners_do_the_work_unless_a_tenant_does():
    owners = [Signer("owner"), Signer("owner")]
    assert responsibilities("covenant", owners) == [
        Role(ResponsibilityRole.DOES, 0),
        Role(ResponsibilityRole.DOES, 1),
    ]
    with_tenant = [*owners, Signer("tenant"), Signer("agency_officer")]
    assert responsibilities("covenant", with_tenant) == [
        Role(ResponsibilityRole.DOES, 2),
        Role(ResponsibilityRole.TOLD, 0),
        Role(ResponsibilityRole.TOLD, 1),
        Role(ResponsibilityRole.INSPECTS, 3),
    ]
