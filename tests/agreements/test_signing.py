"""From a draft to an agreement in force, and every signature that is refused on the way."""

import threading
from datetime import date, timedelta

import pytest
from django.db import IntegrityError, connection, transaction
from django.utils import timezone

from sites.choices import Stage
from stewardship.agreements import services
from stewardship.agreements.choices import AgreementState, Capacity, InstrumentKind
from stewardship.agreements.models import Agreement, Document, Responsibility, Signature
from stewardship.common.errors import Refused
from tests import factory
from tests.agreements.conftest import OFFERED_ON, drafted, in_force, offered, sign

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("one_print")]


def facts(rows):
    return {(r.role, str(r.holder), r.starts_on, r.ends_on) for r in rows}


class TestComingIntoForce:
    def test_the_last_signature_brings_it_into_force_on_its_day(self, folk):
        agreement, document = offered(folk)
        sign(agreement, document, "owner", on=date(2026, 7, 3))
        assert agreement.state == AgreementState.OFFERED
        assert [str(m) for m in services.missing_signatures(agreement)] == [
            "the program’s signature: Rosa Lind"
        ]
        sign(agreement, document, "program", on=date(2026, 7, 2))
        assert (agreement.state, agreement.begins_on) == (
            AgreementState.IN_FORCE,
            date(2026, 7, 3),
        )
        assert services.missing_signatures(agreement) == []

    def test_the_site_is_agreed_and_the_owner_owes_the_work_for_the_term(self, folk):
        agreement = in_force(folk)
        folk.site.refresh_from_db()
        assert folk.site.stage == Stage.AGREED
        assert [(e.was, e.became) for e in folk.site.events.all()] == [("proposed", "agreed")]
        # five years: the instrument's usual term (common practice, no source)
        assert facts(Responsibility.objects.all()) == {
            ("does", "Ines Quist", OFFERED_ON, date(2031, 7, 1))
        }
        assert agreement.ends_on == date(2031, 7, 1)

    def test_a_tenant_does_the_work_and_the_landlord_is_told(self, folk):
        in_force(folk, ("tenant", "tenant"), ("landlord", "landlord"), ("program", "program"))
        assert {(role, who) for role, who, *_ in facts(Responsibility.objects.all())} == {
            ("does", "Bram Okello"),
            ("told", "Odile Farrow"),
        }

    def test_a_covenant_is_for_good_and_the_agency_inspects(self, folk):
        in_force(
            folk,
            ("owner", "owner"),
            ("officer", "agency_officer"),
            instrument=InstrumentKind.COVENANT,
        )
        assert facts(Responsibility.objects.all()) == {
            ("does", "Ines Quist", OFFERED_ON, None),
            ("inspects", "Stormwater Office", OFFERED_ON, None),
        }

    def test_under_a_memorandum_the_agency_does_the_work(self, folk):
        in_force(
            folk,
            ("officer", "agency_officer"),
            ("program", "program"),
            instrument=InstrumentKind.MEMORANDUM,
        )
        assert {(r.role, r.agency, r.person) for r in Responsibility.objects.all()} == {
            ("does", folk.agency, None)
        }

    def test_a_helper_agreement_moves_no_duty_and_needs_no_site(self, folk):
        agreement = in_force(
            folk,
            ("tenant", "helper"),
            ("program", "program"),
            instrument=InstrumentKind.HELPER,
            sites=[],
        )
        assert agreement.state == AgreementState.IN_FORCE
        assert not Responsibility.objects.exists()

    def test_it_begins_no_earlier_than_agreed(self, folk):
        agreement = services.draft_agreement(
            instrument="care_agreement", sites=[folk.site], begins_on=date(2026, 9, 1)
        )
        services.add_party(agreement=agreement, person=folk.owner, capacity="owner")
        services.add_party(agreement=agreement, person=folk.program, capacity="program")
        document = services.offer_agreement(agreement=agreement, on=OFFERED_ON)
        for capacity in ("owner", "program"):
            sign(agreement, document, capacity)
        assert agreement.begins_on == date(2026, 9, 1)
        assert not Agreement.objects.in_force(on=date(2026, 8, 31)).exists()
        assert Agreement.objects.in_force(on=date(2026, 9, 1)).exists()

    def test_a_second_agreement_of_the_same_person_takes_over_from_the_first(self, folk):
        first, second = in_force(folk), in_force(folk, on=date(2026, 7, 10))
        old, new = Responsibility.objects.order_by("pk")
        assert (old.agreement, old.ends_on, old.ended_why) == (
            first,
            date(2026, 7, 10),
            f"Goes on under {second.reference}",
        )
        assert (new.agreement, new.starts_on) == (second, date(2026, 7, 10))

    def test_every_step_leaves_an_event(self, folk):
        agreement = in_force(folk)
        assert [(e.was, e.became) for e in agreement.events.all()] == [
            ("", "draft"),
            ("draft", "draft"),
            ("draft", "draft"),
            ("draft", "offered"),
            ("offered", "offered"),
            ("offered", "offered"),
            ("offered", "in_force"),
        ]


class TestRefusedSignatures:
    def test_before_anything_was_offered(self, folk):
        agreement, document = offered(folk)
        services.change_draft(agreement=agreement, begins_on=date(2026, 8, 1))
        with pytest.raises(Refused, match="has not been offered yet"):
            sign(agreement, document, "owner")

    def test_of_an_outdated_version(self, folk):
        agreement, old = offered(folk)
        new = services.offer_agreement(agreement=agreement, on=date(2026, 7, 5))
        assert (old.version, new.version) == (1, 2)
        with pytest.raises(Refused, match=f"not the newest document.*{new.file_name}"):
            sign(agreement, old, "owner", on=date(2026, 7, 6))
        assert not Signature.objects.exists()

    def test_of_a_document_of_another_agreement(self, folk):
        agreement, _ = offered(folk)
        _, other = offered(folk)
        with pytest.raises(Refused, match="not the newest document"):
            sign(agreement, other, "owner")

    def test_a_second_time(self, folk):
        agreement, document = offered(folk)
        sign(agreement, document, "owner")
        with pytest.raises(Refused, match="signature of Ines Quist .* recorded already"):
            sign(agreement, document, "owner")

    def test_dated_in_the_future(self, folk):
        agreement, document = offered(folk)
        with pytest.raises(Refused, match="not in the future"):
            sign(agreement, document, "owner", on=factory.TODAY + timedelta(days=1))

    def test_dated_before_the_document(self, folk):
        agreement, document = offered(folk)
        with pytest.raises(Refused, match="cannot have been signed before"):
            sign(agreement, document, "owner", on=OFFERED_ON - timedelta(days=1))

    def test_without_the_name_or_the_place_of_the_paper(self, folk):
        agreement, document = offered(folk)
        with pytest.raises(Refused, match="the name as it was signed"):
            sign(agreement, document, "owner", typed_name="  ")
        with pytest.raises(Refused, match="where the signed paper is kept"):
            sign(agreement, document, "owner", original_kept_at="")

    def test_after_the_end(self, folk):
        agreement, document = offered(folk)
        services.end_agreement(agreement=agreement, on=factory.TODAY, why="They moved away")
        with pytest.raises(Refused, match="has ended"):
            sign(agreement, document, "owner")


class TestNothingChangesBehindASignature:
    def test_no_party_is_added(self, folk):
        agreement, document = offered(folk)
        sign(agreement, document, "owner")
        with pytest.raises(Refused, match="Somebody has signed"):
            services.add_party(agreement=agreement, person=folk.tenant, capacity="tenant")

    def test_no_party_is_taken_out(self, folk):
        agreement, document = offered(folk)
        sign(agreement, document, "owner")
        with pytest.raises(Refused, match="Somebody has signed"):
            services.remove_party(party=agreement.parties.get(capacity="program"))

    def test_no_new_version_is_made(self, folk):
        agreement, document = offered(folk)
        sign(agreement, document, "owner")
        with pytest.raises(Refused, match="Somebody has signed"):
            services.offer_agreement(agreement=agreement, on=factory.TODAY)

    def test_nothing_changes_once_in_force(self, folk):
        agreement = in_force(folk)
        with pytest.raises(Refused, match="is in force; write a new agreement"):
            services.change_draft(agreement=agreement, sites=[])
        with pytest.raises(Refused, match="stays as it was"):
            services.show_duties(agreement=agreement, groups=["litter"])

    def test_a_change_before_signing_takes_the_offer_back(self, folk):
        agreement, _ = offered(folk)
        services.add_party(agreement=agreement, person=folk.tenant, capacity="tenant")
        agreement.refresh_from_db()
        assert agreement.state == AgreementState.DRAFT


class TestRefusedDraftsAndOffers:
    def test_an_offer_without_everybody_named(self, folk):
        agreement = drafted(folk, ("tenant", "tenant"))
        with pytest.raises(Refused) as refusal:
            services.offer_agreement(agreement=agreement, on=OFFERED_ON)
        assert str(refusal.value) == (
            "the landlord’s consent: nobody is named yet; the program’s signature: nobody is named yet."
        )

    def test_an_offer_without_a_site_or_a_basin(self, folk):
        people = (("owner", "owner"), ("program", "program"))
        with pytest.raises(Refused, match="which site"):
            services.offer_agreement(agreement=drafted(folk, *people, sites=[]), on=OFFERED_ON)
        bare = factory.make_site("ELM-1")
        with pytest.raises(Refused, match="what will be built at ELM-1"):
            services.offer_agreement(agreement=drafted(folk, *people, sites=[bare]), on=OFFERED_ON)

    def test_an_offer_dated_ahead(self, folk):
        agreement = drafted(folk, ("owner", "owner"), ("program", "program"))
        with pytest.raises(Refused, match="not dated ahead"):
            services.offer_agreement(agreement=agreement, on=factory.TODAY + timedelta(days=1))

    def test_a_reference_that_is_taken(self, folk):
        services.draft_agreement(reference="A-1", instrument="covenant", sites=[folk.site])
        with pytest.raises(Refused, match="There is an agreement A-1 already"):
            services.draft_agreement(reference="A-1", instrument="covenant", sites=[folk.site])

    def test_references_follow_one_another_through_the_year(self, folk):
        made = [services.draft_agreement(instrument="covenant") for _ in range(3)]
        assert [a.reference for a in made] == ["A-2026-001", "A-2026-002", "A-2026-003"]

    def test_somebody_who_has_no_place_in_the_instrument(self, folk):
        agreement = drafted(folk)
        with pytest.raises(Refused, match="not signed by anybody as helper"):
            services.add_party(agreement=agreement, person=folk.owner, capacity="helper")

    def test_the_same_person_twice_in_one_capacity(self, folk):
        agreement = drafted(folk, ("owner", "owner"))
        with pytest.raises(Refused, match="named as owner already"):
            services.add_party(agreement=agreement, person=folk.owner, capacity="owner")

    def test_an_officer_of_no_agency(self, folk):
        agreement = drafted(folk, instrument=InstrumentKind.MEMORANDUM)
        with pytest.raises(Refused, match="which agency Ines Quist signs for"):
            services.add_party(agreement=agreement, person=folk.owner, capacity="agency_officer")

    def test_a_new_instrument_that_somebody_named_cannot_sign(self, folk):
        agreement = drafted(folk, ("tenant", "tenant"))
        with pytest.raises(Refused, match="not signed by anybody as tenant"):
            services.change_draft(agreement=agreement, instrument=InstrumentKind.MEMORANDUM)


def test_t02_a_tenant_without_landlord_consent_stays_incomplete_and_nothing_is_built(folk):
    agreement, document = offered(
        folk, ("tenant", "tenant"), ("landlord", "landlord"), ("program", "program")
    )
    sign(agreement, document, "tenant")
    sign(agreement, document, "program")
    assert agreement.state == AgreementState.OFFERED
    (missing,) = services.missing_signatures(agreement)
    assert (missing.capacity, missing.asked) == (Capacity.LANDLORD, folk.landlord)
    assert services.build_blockers(site=folk.site, on=factory.TODAY) == [
        f"{agreement.reference} is not in force. Missing: the landlord’s consent: Odile Farrow."
    ]
    with pytest.raises(Refused, match="the landlord’s consent: Odile Farrow"):
        services.mark_built(site=folk.site, on=factory.TODAY)
    folk.site.refresh_from_db()
    assert folk.site.stage == Stage.PROPOSED
    sign(agreement, document, "landlord")
    assert services.mark_built(site=folk.site, on=factory.TODAY).stage == Stage.BUILT


class TestTheConstraintsBothWays:
    def test_a_signature_is_once_per_party(self, folk):
        agreement, document = offered(folk)
        signature = sign(agreement, document, "owner")
        signature.pk = None
        with pytest.raises(IntegrityError), transaction.atomic():
            signature.save(force_insert=True)

    def test_a_paper_signature_is_kept_somewhere(self, folk):
        agreement, document = offered(folk)
        signature = sign(agreement, document, "owner")
        with pytest.raises(IntegrityError), transaction.atomic():
            Signature.objects.filter(pk=signature.pk).update(original_kept_at="")
        Signature.objects.filter(pk=signature.pk).update(
            method="screen",
            original_kept_at="",
            at=timezone.now(),
            zone="America/Denver",
            consent="I agree to sign electronically.",
        )

    def test_an_agreement_in_force_has_begun(self, folk):
        agreement = in_force(folk)
        with pytest.raises(IntegrityError), transaction.atomic():
            Agreement.objects.filter(pk=agreement.pk).update(begins_on=None)

    def test_days_are_in_order(self, folk):
        agreement = in_force(folk)
        with pytest.raises(IntegrityError), transaction.atomic():
            Agreement.objects.filter(pk=agreement.pk).update(ends_on=date(2026, 6, 1))

    def test_one_open_responsibility_per_person_role_and_site(self, folk):
        agreement = in_force(
            folk,
            ("owner", "owner"),
            ("officer", "agency_officer"),
            instrument=InstrumentKind.COVENANT,
        )
        for row in agreement.responsibilities.all():
            row.pk = None
            with pytest.raises(IntegrityError), transaction.atomic():
                row.save(force_insert=True)


@pytest.mark.skipif(
    connection.vendor == "sqlite", reason="the tests’ in-memory database cannot queue two writers"
)
@pytest.mark.django_db(transaction=True)
def test_two_tabs_signing_at_once_record_one_signature(folk):
    agreement, document = offered(folk)
    start, results = threading.Barrier(2), []

    def tab() -> None:
        start.wait()
        try:
            results.append(sign(agreement, document, "owner"))
        except Refused as refusal:
            results.append(str(refusal))
        finally:
            connection.close()

    tabs = [threading.Thread(target=tab) for _ in range(2)]
    for thread in tabs:
        thread.start()
    for thread in tabs:
        thread.join()
    assert Signature.objects.count() == 1
    (refusal,) = [r for r in results if isinstance(r, str)]
    assert refusal == "The signature of Ines Quist (Owner) has been recorded already."
    assert Document.objects.count() == 1
