"""No path makes a site built without an agreement that everybody asked has signed."""

from datetime import date, timedelta

import pytest
from django.core.management import call_command
from django.core.management.sql import emit_post_migrate_signal, emit_pre_migrate_signal
from django.db import IntegrityError, connection, models, transaction
from django.db.migrations import Migration

from sites.choices import Stage
from sites.models import Site
from stewardship.agreements.choices import AgreementState, Capacity, InstrumentKind
from stewardship.agreements.models import Agreement, Party
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
