"""Signing on a screen: a deliberate act, bound to one document, in order; and every signature that is refused in a sentence."""

from datetime import date, timedelta

import pytest
from django.db import IntegrityError, transaction
from django.utils import timezone

from people.agents import end_agent, name_agent
from people.silence import fall_silent
from stewardship.agreements import instruments, services
from stewardship.agreements.choices import AgreementState, InstrumentKind
from stewardship.agreements.instruments import Signer
from stewardship.agreements.models import Signature
from stewardship.common.errors import Refused
from tests import factory
from tests.agreements.conftest import (
    OFFERED_ON,
    SCREEN_CONSENT,
    drafted,
    offered,
    on_screen,
    sign,
)

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("one_print")]


class TestASignatureOnAScreen:
    def test_it_keeps_the_instant_the_zone_and_the_exact_words_agreed_to(self, folk, coordinator):
        agreement, document = offered(folk)
        at = factory.at(factory.TODAY, "09:30")
        signature = on_screen(agreement, document, "owner", at=at)
        signature.refresh_from_db()
        assert (signature.at, signature.zone) == (at, factory.ZONE.key)
        assert (signature.consent, signature.document) == (SCREEN_CONSENT, document)
        assert (signature.signed_on, signature.method) == (factory.TODAY, "screen")

    def test_the_day_is_that_of_the_programs_town(self, folk):
        agreement, document = offered(folk)
        late = factory.at(date(2026, 7, 14), "23:30")  # the 15th already in UTC
        assert on_screen(agreement, document, "owner", at=late).signed_on == date(2026, 7, 14)

    def test_paper_and_screen_bring_one_agreement_into_force(self, folk):
        agreement, document = offered(folk)
        sign(agreement, document, "owner")
        on_screen(agreement, document, "program")
        assert agreement.state == AgreementState.IN_FORCE
        assert agreement.begins_on == factory.TODAY

    def test_both_ways_leave_an_event_that_says_how(self, folk):
        agreement, document = offered(folk)
        sign(agreement, document, "owner")
        on_screen(agreement, document, "program")
        said = [event.why for event in agreement.events.all()]
        assert "Signed by Ines Quist (Owner) on Wed 1 Jul, on paper" in said
        assert "Signed by Rosa Lind (Program) on Wed 15 Jul, on a screen" in said

    @pytest.mark.parametrize(
        "typed", ["INES QUIST", "Inés María Quist", "I. Quist", " ines  quist "]
    )
    def test_a_name_may_be_typed_as_people_write_it(self, folk, typed):
        agreement, document = offered(folk)
        signature = on_screen(agreement, document, "owner", typed_name=typed)
        assert signature.typed_name == " ".join(typed.split())

    def test_one_name_is_enough_for_somebody_who_has_one(self, folk):
        folk.owner.family_name = ""
        folk.owner.save()
        agreement, document = offered(folk)
        with pytest.raises(Refused, match="The agreement names Ines"):
            on_screen(agreement, document, "owner", typed_name="I")
        assert on_screen(agreement, document, "owner", typed_name="ines")


class TestRefusedOnAScreen:
    def refused(self, folk, words: str, **changes) -> None:
        agreement, document = offered(folk)
        with pytest.raises(Refused, match=words):
            on_screen(agreement, document, "owner", **changes)
        assert not Signature.objects.exists()

    def test_without_consent(self, folk):
        self.refused(folk, "Agree first to sign electronically", consent="")

    def test_without_a_moment(self, folk):
        self.refused(folk, "Agree first to sign electronically", at=None)

    def test_without_a_name(self, folk):
        self.refused(folk, "Type your name", typed_name="   ")

    def test_in_somebody_elses_name(self, folk):
        self.refused(folk, "The agreement names Ines Quist", typed_name="Bram Quist")

    def test_by_a_clock_that_runs_ahead(self, folk):
        self.refused(folk, "not in the future", at=timezone.now() + timedelta(hours=1))

    def test_a_document_that_has_a_newer_version(self, folk):
        agreement, document = offered(folk)
        services.offer_agreement(agreement=agreement, on=factory.TODAY)
        with pytest.raises(Refused, match=r"not the newest document .*have A-2026-001-v2.pdf"):
            on_screen(agreement, document, "owner")

    def test_signing_twice(self, folk):
        agreement, document = offered(folk)
        on_screen(agreement, document, "owner")
        with pytest.raises(Refused, match="has been recorded already"):
            on_screen(agreement, document, "owner")

    def test_after_the_end(self, folk):
        agreement, document = offered(folk)
        services.end_agreement(agreement=agreement, on=factory.TODAY, why="moved away")
        with pytest.raises(Refused, match="has ended; it is not signed any more"):
            on_screen(agreement, document, "owner")

    def test_joining_an_agreement_in_force(self, folk):
        agreement = drafted(folk, ("owner", "owner"), ("program", "program"))
        services.add_party(
            agreement=agreement, person=folk.tenant, capacity="tenant", must_sign=False
        )
        document = services.offer_agreement(agreement=agreement, on=OFFERED_ON)
        sign(agreement, document, "owner")
        sign(agreement, document, "program")
        with pytest.raises(Refused, match="is in force: everybody it needs has signed"):
            on_screen(agreement, document, "tenant")

    def test_the_constraint_wants_instant_zone_and_consent(self, folk):
        agreement, document = offered(folk)
        signature = on_screen(agreement, document, "owner")
        for field, value in (("at", None), ("zone", ""), ("consent", "")):
            with pytest.raises(IntegrityError), transaction.atomic():
                Signature.objects.filter(pk=signature.pk).update(**{field: value})


class TestTheOrder:
    def test_who_countersigns_waits_for_everybody_else(self, folk):
        agreement, document = offered(
            folk, ("tenant", "tenant"), ("landlord", "landlord"), ("program", "program")
        )
        on_screen(agreement, document, "tenant")
        with pytest.raises(
            Refused, match=r"signs after the others. Still to sign: Odile Farrow \(Landlord\)"
        ):
            on_screen(agreement, document, "program")
        on_screen(agreement, document, "landlord")
        on_screen(agreement, document, "program")
        assert agreement.state == AgreementState.IN_FORCE

    def test_a_sheet_of_paper_goes_round_in_any_order(self, folk):
        agreement, document = offered(folk)
        sign(agreement, document, "program")
        sign(agreement, document, "owner")
        assert agreement.state == AgreementState.IN_FORCE

    @pytest.mark.parametrize(
        ("kind", "capacities", "turn"),
        [
            ("covenant", ["agency_officer", "owner"], ["owner"]),
            ("care_agreement", ["owner", "tenant", "program"], ["owner", "tenant"]),
            ("memorandum", ["agency_officer", "program"], ["agency_officer", "program"]),
            ("helper", ["program", "helper"], ["helper"]),
        ],
    )
    def test_whose_turn_it_is(self, kind, capacities, turn):
        # common practice, no source
        parties = [Signer(capacity) for capacity in capacities]
        assert [capacities[i] for i in instruments.may_sign_now(kind, parties)] == turn

    def test_countersigners_come_when_the_others_have_signed(self):
        parties = [
            Signer("owner", signed_on=OFFERED_ON),
            Signer("agency_officer"),
            Signer("program"),
        ]
        assert instruments.may_sign_now("covenant", parties) == [1, 2]

    def test_nobody_waits_for_somebody_who_need_not_sign(self):
        parties = [
            Signer("owner", signed_on=OFFERED_ON),
            Signer("tenant", must_sign=False),
            Signer("program"),
        ]
        assert instruments.may_sign_now("care_agreement", parties) == [2]

    def test_it_is_nobodys_turn_while_one_declines(self):
        parties = [Signer("owner", declined=True), Signer("tenant"), Signer("program")]
        assert instruments.may_sign_now("care_agreement", parties) == []


class TestDeclining:
    def test_nobody_signs_while_one_declines_and_both_are_told_why(self, folk):
        agreement, document = offered(folk)
        owner = agreement.parties.get(capacity="owner")
        services.decline(party=owner, on=date(2026, 7, 3), why="the trap is too near the gate")
        for capacity in ("owner", "program"):
            with pytest.raises(Refused, match=r"Ines Quist \(Owner\) declined on Fri 3 Jul"):
                sign(agreement, document, capacity, on=date(2026, 7, 5))
        assert [str(one) for one in services.missing_signatures(agreement)] == [
            "the owner’s signature: Ines Quist, who declined on Fri 3 Jul",
            "the program’s signature: Rosa Lind",
        ]
        assert "too near the gate" in agreement.events.last().why

    def test_somebody_who_has_changed_their_mind_is_asked_again(self, folk):
        agreement, document = offered(folk)
        owner = agreement.parties.get(capacity="owner")
        services.decline(party=owner, on=date(2026, 7, 3), why="too near the gate")
        services.ask_again(party=owner)
        on_screen(agreement, document, "owner")

    def test_a_new_document_asks_everybody_anew(self, folk):
        agreement, _ = offered(folk)
        owner = agreement.parties.get(capacity="owner")
        services.decline(party=owner, on=date(2026, 7, 3))
        document = services.offer_agreement(agreement=agreement, on=date(2026, 7, 5))
        on_screen(agreement, document, "owner")

    def test_who_need_not_sign_keeps_only_themselves_from_signing(self, folk):
        agreement = drafted(folk, ("owner", "owner"), ("program", "program"))
        tenant = services.add_party(
            agreement=agreement, person=folk.tenant, capacity="tenant", must_sign=False
        )
        document = services.offer_agreement(agreement=agreement, on=OFFERED_ON)
        services.decline(party=tenant, on=OFFERED_ON)
        sign(agreement, document, "owner")
        with pytest.raises(Refused, match="Bram Okello .* declined"):
            sign(agreement, document, "tenant")

    def test_what_cannot_be_declined(self, folk):
        agreement, document = offered(folk)
        owner = agreement.parties.get(capacity="owner")
        with pytest.raises(Refused, match="not in the future"):
            services.decline(party=owner, on=factory.TODAY + timedelta(days=1))
        with pytest.raises(Refused, match="did not decline"):
            services.ask_again(party=owner)
        services.decline(party=owner, on=factory.TODAY)
        with pytest.raises(Refused, match="has declined already"):
            services.decline(party=owner, on=factory.TODAY)
        services.ask_again(party=owner)
        sign(agreement, document, "owner")
        with pytest.raises(Refused, match="has signed. What was signed is ended, not declined"):
            services.decline(party=owner, on=factory.TODAY)
        sign(agreement, document, "program")
        with pytest.raises(Refused, match="is not offered"):
            services.decline(party=owner, on=factory.TODAY)


class TestSomebodySignsForThem:
    def agent(self, folk, **changes):
        facts = {
            "scope": "signs",
            "starts_on": date(2026, 1, 1),
            "authority": "power of attorney of 4 March 2025",
        }
        return name_agent(principal=folk.owner, agent=folk.tenant, **(facts | changes))

    def test_their_right_is_kept_with_the_signature(self, folk):
        self.agent(folk)
        agreement, document = offered(folk)
        services.let_sign(party=agreement.parties.get(capacity="owner"), agent=folk.tenant)
        with pytest.raises(Refused, match="The agreement names Bram Okello"):
            on_screen(agreement, document, "owner", typed_name="Ines Quist")
        signature = on_screen(agreement, document, "owner")
        assert (signature.agent, signature.authority, signature.typed_name) == (
            folk.tenant,
            "power of attorney of 4 March 2025",
            "Bram Okello",
        )
        assert "for Ines Quist (Owner) by Bram Okello (power of" in agreement.events.last().why

    def test_nobody_signs_for_another_without_a_right(self, folk):
        agreement, _ = offered(folk)
        owner = agreement.parties.get(capacity="owner")
        with pytest.raises(Refused, match="gives Bram Okello the right to sign for Ines Quist"):
            services.let_sign(party=owner, agent=folk.tenant)
        self.agent(folk, scope="letters", authority="")
        with pytest.raises(Refused, match="gives Bram Okello the right to sign"):
            services.let_sign(party=owner, agent=folk.tenant)

    def test_a_right_that_has_ended_signs_nothing_and_they_may_sign_themselves(self, folk):
        row = self.agent(folk)
        agreement, document = offered(folk)
        owner = agreement.parties.get(capacity="owner")
        services.let_sign(party=owner, agent=folk.tenant)
        end_agent(row=row, on=date(2026, 7, 10))
        with pytest.raises(Refused, match="the right to sign for Ines Quist on Wed 15 Jul"):
            on_screen(agreement, document, "owner")
        sign(agreement, document, "program")
        services.let_sign(party=owner, agent=None)
        assert on_screen(agreement, document, "owner").agent is None

    def test_an_agent_and_their_right_are_kept_both_or_neither(self, folk):
        agreement, document = offered(folk)
        signature = on_screen(agreement, document, "owner")
        for changes in ({"agent": folk.tenant}, {"authority": "power of attorney"}):
            with pytest.raises(IntegrityError), transaction.atomic():
                Signature.objects.filter(pk=signature.pk).update(**changes)


def test_somebody_who_died_signs_nothing_but_paper_signed_before_counts(folk):
    agreement, document = offered(folk)
    fall_silent(person=folk.owner, why="died", on=date(2026, 7, 10))
    with pytest.raises(Refused, match="written down as having died"):
        on_screen(agreement, document, "owner")
    sign(agreement, document, "owner", on=date(2026, 7, 2))


def test_an_agency_and_a_landlord_sign_a_covenant_each_in_their_way(folk):
    agreement, document = offered(
        folk,
        ("tenant", "tenant"),
        ("landlord", "landlord"),
        ("officer", "agency_officer"),
        instrument=InstrumentKind.COVENANT,
    )
    on_screen(agreement, document, "tenant")
    sign(agreement, document, "landlord", on=date(2026, 7, 6))
    on_screen(agreement, document, "agency_officer")
    assert agreement.state == AgreementState.IN_FORCE
    assert {s.method for s in Signature.objects.all()} == {"paper", "screen"}
