"""No path makes a site built without an agreement that everybody asked has signed."""

from datetime import date, timedelta

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.core.management import call_command
from django.core.management.sql import emit_post_migrate_signal, emit_pre_migrate_signal
from django.db import IntegrityError, connection, models, transaction
from django.db.migrations import Migration
from django.db.models import ProtectedError

from sites.choices import Stage
from sites.models import Site
from stewardship.agreements.choices import AgreementState, Capacity, InstrumentKind
from stewardship.agreements.models import Agreement, Document, ListFile, Party, Signature
from tests import factory

pytestmark = pytest.mark.django_db

DAY = date(2026, 6, 1)


def refused():
    return pytest.raises(IntegrityError, match="site_built_needs_a_signed_agreement")


@pytest.fixture
def site():
    return factory.make_site("OAK-7", stage=Stage.AGREED)


@pytest.fixture
def owner():
    return factory.make_person("Ines", "Quist", email="ines.quist@example.org")


def make_built_by_update(site, on=DAY):
    with transaction.atomic():
        return Site.objects.filter(pk=site.pk).update(stage=Stage.BUILT, built_on=on)


class TestEveryPathIsShut:
    def test_saving_the_model_in_a_shell(self, site):
        site.stage, site.built_on = Stage.BUILT, DAY
        with refused(), transaction.atomic():
            site.save()

    def test_updating_a_queryset(self, site):
        with refused():
            make_built_by_update(site)

    def test_updating_in_bulk(self, site):
        site.stage, site.built_on = Stage.BUILT, DAY
        with refused(), transaction.atomic():
            Site.objects.bulk_update([site], ["stage", "built_on"])

    def test_raw_sql(self, site):
        with refused(), transaction.atomic(), connection.cursor() as cursor:
            cursor.execute(
                "UPDATE sites_site SET built_on = %s, stage = 'built' WHERE id = %s",
                [DAY.isoformat(), site.pk],
            )

    def test_inserting_a_site_that_is_built_already(self):
        with refused(), transaction.atomic():
            Site.objects.create(
                code="NEW-1", street="s", address="a", stage=Stage.BUILT, built_on=DAY
            )

    def test_inserting_in_bulk_over_an_existing_row(self, site):
        copy = Site(
            code=site.code, street="s", address="a", stage=Stage.BUILT, built_on=DAY, pk=site.pk
        )
        with refused(), transaction.atomic():
            Site.objects.bulk_create(
                [copy],
                update_conflicts=True,
                unique_fields=["id"],
                update_fields=["stage", "built_on"],
            )

    def test_loading_a_fixture(self, tmp_path):
        fixture = tmp_path / "built.json"
        fixture.write_text(
            '[{"model": "sites.site", "pk": 900, "fields": {"code": "FIX-1", "street": "s", "address": "a",'
            ' "stage": "built", "built_on": "2026-06-01"}}]'
        )
        with pytest.raises(IntegrityError), transaction.atomic():
            call_command("loaddata", fixture, verbosity=0)
        assert not Site.objects.filter(code="FIX-1").exists()

    def test_the_repair_pages_show_a_stage_and_do_not_set_it(self, site, admin_client):
        address = f"/repair/sites/site/{site.pk}/change/"
        assert 'name="stage"' not in admin_client.get(address).content.decode()
        admin_client.post(
            address,
            {
                "code": site.code,
                "street": site.street,
                "address": site.address,
                "source_class": site.source_class,
                "stage": "built",
                "built_on": "2026-06-01",
                "basins-TOTAL_FORMS": "0",
                "basins-INITIAL_FORMS": "0",
            },
        )
        site.refresh_from_db()
        assert (site.stage, site.built_on) == (Stage.AGREED, None)
        assert (
            admin_client.post(
                "/repair/sites/site/",
                {"action": "delete_selected", "_selected_action": [site.pk], "stage": "built"},
            ).status_code
            < 500
        )
        assert not Site.objects.filter(stage=Stage.BUILT).exists()

    def test_the_site_page_says_why_not(self, site, coordinator, frozen_day):
        response = coordinator.post(f"/sites/{site.code}/built/", {"on": "2026-06-01"}, follow=True)
        assert f"No agreement covers {site.code}." in response.content.decode()
        site.refresh_from_db()
        assert site.stage == Stage.AGREED

    def test_a_list_that_says_built(self, coordinator, frozen_day):
        rows = "site,street,address,built_on\nNEW-1,Saltbush Street,1 Saltbush Street,2026-06-01\n"
        coordinator.post(
            "/agreements/lists/",
            {
                "file": SimpleUploadedFile("sites.csv", rows.encode()),
                "kept_by": "old spreadsheet",
                "day_order": "month_first",
            },
        )
        file = ListFile.objects.get()
        coordinator.post(f"/agreements/lists/{file.pk}/take/", {"do": "take"})
        file.refresh_from_db()
        assert [fault["column"] for fault in file.found["faults"]] == ["built_on"]
        assert not Site.objects.filter(code="NEW-1", stage=Stage.BUILT).exists()


class TestWhichAgreementOpensTheGate:
    def test_a_signed_one_in_force_on_that_day(self, site, owner):
        factory.make_agreement([site], signers=[(owner, Capacity.OWNER)], on=DAY)
        assert make_built_by_update(site) == 1

    def test_not_one_that_covers_another_site(self, site, owner):
        other = factory.make_site("ELM-3")
        factory.make_agreement([other], signers=[(owner, Capacity.OWNER)], on=DAY)
        with refused():
            make_built_by_update(site)

    def test_not_one_that_begins_later(self, site, owner):
        factory.make_agreement([site], signers=[(owner, Capacity.OWNER)], on=DAY)
        with refused():
            make_built_by_update(site, DAY - timedelta(days=1))

    def test_not_one_that_has_run_out(self, site, owner):
        until = DAY + timedelta(days=30)
        factory.make_agreement([site], signers=[(owner, Capacity.OWNER)], on=DAY, ends_on=until)
        with refused():
            make_built_by_update(site, until)
        assert make_built_by_update(site, until - timedelta(days=1)) == 1

    def test_not_one_with_a_party_that_has_not_signed(self, site, owner):
        agreement = factory.make_agreement([site], signers=[(owner, Capacity.OWNER)], on=DAY)
        second = factory.make_person("Odo", "Amaro")
        party = Party.objects.create(agreement=agreement, person=second, capacity=Capacity.OWNER)
        with refused():
            make_built_by_update(site)
        party.must_sign = False
        party.save()
        assert make_built_by_update(site) == 1

    def test_not_one_that_only_a_tenant_signed(self, site, owner):
        factory.make_agreement([site], signers=[(owner, Capacity.TENANT)], on=DAY)
        with refused():
            make_built_by_update(site)

    def test_not_a_helper_agreement(self, site, owner):
        factory.make_agreement(
            [site],
            signers=[(owner, Capacity.HELPER)],
            on=DAY,
            instrument=InstrumentKind.HELPER,
        )
        with refused():
            make_built_by_update(site)

    def test_an_agency_memorandum_that_the_agency_signed(self, site, owner):
        agency = factory.make_agency()
        factory.make_agreement(
            [site],
            signers=[(owner, Capacity.AGENCY_OFFICER)],
            on=DAY,
            instrument=InstrumentKind.MEMORANDUM,
            agency=agency,
            responsible=agency,
        )
        assert make_built_by_update(site) == 1

    @pytest.mark.parametrize("state", [AgreementState.DRAFT, AgreementState.OFFERED])
    def test_not_one_that_is_not_in_force_yet(self, site, owner, state):
        agreement = factory.make_agreement([site], signers=[(owner, Capacity.OWNER)], on=DAY)
        Agreement.objects.filter(pk=agreement.pk).update(state=state)
        with refused():
            make_built_by_update(site)


def test_a_built_site_stays_editable_when_its_agreement_has_ended(site, owner):
    agreement = factory.make_agreement([site], signers=[(owner, Capacity.OWNER)], on=DAY)
    make_built_by_update(site)
    Agreement.objects.filter(pk=agreement.pk).update(
        state=AgreementState.ENDED, ends_on=DAY + timedelta(days=9)
    )
    site.refresh_from_db()
    site.address = "112 Saltbush Street"
    site.save()
    site.refresh_from_db()
    assert (site.stage, site.address) == (Stage.BUILT, "112 Saltbush Street")


def test_a_retired_site_passes_the_gate_again(site, owner):
    agreement = factory.make_agreement([site], signers=[(owner, Capacity.OWNER)], on=DAY)
    make_built_by_update(site)
    Site.objects.filter(pk=site.pk).update(stage=Stage.RETIRED, retired_on=DAY)
    Agreement.objects.filter(pk=agreement.pk).update(
        state=AgreementState.ENDED, ends_on=DAY + timedelta(days=9)
    )
    with refused(), transaction.atomic():
        Site.objects.filter(pk=site.pk).update(stage=Stage.BUILT, retired_on=None)


def stays():
    return pytest.raises(IntegrityError, match="what_was_signed_stays")


class TestWhatWasSignedStays:
    """Of a built site the signed agreement cannot be taken away afterwards."""

    @pytest.fixture
    def signature(self, site, owner):
        factory.make_agreement([site], signers=[(owner, Capacity.OWNER)], on=DAY)
        make_built_by_update(site)
        return Signature.objects.get()

    @pytest.fixture
    def elsewhere(self, owner):
        """Another agreement, with a party that has not signed and a document of its own."""
        other = factory.make_agreement(
            [factory.make_site("ELM-3")], signers=[(owner, Capacity.OWNER)], on=DAY
        )
        second = factory.make_person("Odo", "Amaro")
        return Party.objects.create(agreement=other, person=second, capacity=Capacity.OWNER)

    def test_a_signature_is_not_deleted(self, signature):
        with pytest.raises(ProtectedError, match="A signature stays"):
            signature.delete()
        with pytest.raises(ProtectedError, match="A signature stays"):
            Signature.objects.filter(pk=signature.pk).delete()
        assert Signature.objects.get() == signature

    @pytest.mark.parametrize("what", ["party", "document", "agreement"])
    def test_nor_with_what_it_belongs_to(self, signature, what):
        rows = {
            "party": signature.party,
            "document": signature.document,
            "agreement": signature.party.agreement,
        }
        with pytest.raises(ProtectedError):
            rows[what].delete()
        with pytest.raises(ProtectedError):
            type(rows[what]).objects.filter(pk=rows[what].pk).delete()

    def test_the_database_holds_the_rows_it_points_to(self, signature):
        with pytest.raises(IntegrityError), transaction.atomic():
            Party.objects.filter(pk=signature.party_id)._raw_delete("default")
            connection.check_constraints()

    def test_the_repair_pages_delete_none(self, signature, admin_client):
        address = f"/repair/agreements/signature/{signature.pk}/delete/"
        assert admin_client.post(address, {"post": "yes"}).status_code == 403

    def test_a_signature_is_not_moved(self, signature, elsewhere):
        document = elsewhere.agreement.documents.get()
        for changes in ({"party": elsewhere}, {"document": document}):
            with stays(), transaction.atomic():
                Signature.objects.filter(pk=signature.pk).update(**changes)

    def test_a_party_that_has_signed_is_not_moved(self, signature, elsewhere):
        signed = Party.objects.filter(pk=signature.party_id)
        for changes in ({"agreement": elsewhere.agreement}, {"capacity": Capacity.LANDLORD}):
            with stays(), transaction.atomic():
                signed.update(**changes)
        with stays(), transaction.atomic(), connection.cursor() as cursor:
            cursor.execute(
                "UPDATE agreements_party SET agreement_id = %s WHERE id = %s",
                [elsewhere.agreement_id, signature.party_id],
            )

    def test_the_bytes_that_were_signed_are_not_changed(self, signature):
        signed = Document.objects.filter(pk=signature.document_id)
        for changes in ({"content": b"%PDF-1.7 other"}, {"sha256": "0" * 64}):
            with stays(), transaction.atomic():
                signed.update(**changes)

    def test_what_nobody_signed_may_move_and_slips_are_put_right(self, signature, elsewhere):
        """The other way round: who is found to be another's second entry, a name typed wrongly, a party without signature."""
        someone = factory.make_person("Inés", "Quist")
        Party.objects.filter(pk=signature.party_id).update(person=someone)
        Signature.objects.filter(pk=signature.pk).update(typed_name="Inés Quist")
        Document.objects.filter(pk=signature.document_id).update(file_name="renamed.pdf")
        Party.objects.filter(pk=elsewhere.pk).update(agreement=signature.party.agreement)


@pytest.mark.django_db(transaction=True)
def test_the_gate_stands_again_after_a_migration_has_rebuilt_the_tables():
    """SQLite drops a table's triggers when a migration rebuilds it, and cannot rename one that a trigger names."""
    constraint = models.CheckConstraint(condition=models.Q(pk__gt=0), name="for_this_test")
    plan = [(Migration("rebuild", "sites"), False)]
    emit_pre_migrate_signal(0, False, "default", plan=plan)
    for model in (Site, Agreement):
        with connection.schema_editor() as editor:
            editor.add_constraint(model, constraint)
        with connection.schema_editor() as editor:
            editor.remove_constraint(model, constraint)
    emit_post_migrate_signal(0, False, "default", plan=plan)
    site = factory.make_site("OAK-8", stage=Stage.AGREED)
    with refused():
        make_built_by_update(site)
