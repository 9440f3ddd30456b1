"""What most agreement tests start from: an owner, the program's signer and one site with a basin, not built."""

from datetime import date
from types import SimpleNamespace

import pytest
from django.utils import timezone

from stewardship.agreements import documents, services
from stewardship.agreements.choices import Capacity, InstrumentKind
from stewardship.agreements.models import Agreement, Document, Party, Signature
from stewardship.agreements.services import offering
from stewardship.common import seal as seals
from tests import factory

OFFERED_ON = date(2026, 7, 1)
SCREEN_CONSENT = "You may sign on paper instead.\nI agree to sign electronically."


_print = {}


@pytest.fixture
def one_print(monkeypatch):
    """One printed agreement serves all: what stands in the PDF is the matter of test_documents.py."""

    def printed(sheet) -> bytes:
        if "content" not in _print:
            _print["content"] = documents.render(sheet)
        return _print["content"]

    monkeypatch.setattr(offering, "render", printed)


@pytest.fixture
def folk(program, frozen_day) -> SimpleNamespace:
    agency = factory.make_agency("water", "Stormwater Office", "stormwater")
    site = factory.make_site("OAK-7")
    factory.make_basin(site, plants=False)
    return SimpleNamespace(
        owner=factory.make_person("Ines", "Quist", postal="110 Saltbush Street"),
        tenant=factory.make_person("Bram", "Okello", phone="505-555-0111"),
        landlord=factory.make_person("Odile", "Farrow", email="odile.farrow@example.org"),
        program=factory.make_person("Rosa", "Lind", email="rosa.lind@example.org"),
        officer=factory.make_person("Sam", "Orr", agency=agency, agency_office="Maintenance"),
        agency=agency,
        site=site,
    )


def drafted(folk, *capacities: tuple, instrument=InstrumentKind.CARE_AGREEMENT, sites=None):
    """A draft with these people in these capacities: drafted(folk, ("owner", "owner"), ("program", "program"))."""
    agreement = services.draft_agreement(
        instrument=instrument, sites=[folk.site] if sites is None else sites
    )
    for who, capacity in capacities:
        services.add_party(agreement=agreement, person=getattr(folk, who), capacity=capacity)
    return agreement


def offered(folk, *capacities: tuple, **kwargs) -> tuple[Agreement, Document]:
    agreement = drafted(
        folk, *(capacities or (("owner", "owner"), ("program", "program"))), **kwargs
    )
    document = services.offer_agreement(agreement=agreement, on=OFFERED_ON)
    agreement.refresh_from_db()
    return agreement, document


def sign(agreement: Agreement, document: Document, capacity: str, on=OFFERED_ON, **kwargs):
    party = Party.objects.get(agreement=agreement, capacity=capacity)
    facts = {
        "signed_on": on,
        "typed_name": party.person.full_name,
        "original_kept_at": "Binder 3, office",
    }
    signature = services.record_signature(party=party, document=document, **(facts | kwargs))
    agreement.refresh_from_db()
    return signature


def in_force(folk, *capacities: tuple, on=OFFERED_ON, **kwargs) -> Agreement:
    capacities = capacities or (("owner", Capacity.OWNER), ("program", Capacity.PROGRAM))
    agreement, document = offered(folk, *capacities, **kwargs)
    for _who, capacity in capacities:
        sign(agreement, document, capacity, on=on)
    return agreement


@pytest.fixture(scope="session")
def one_seal(tmp_path_factory):
    return tmp_path_factory.mktemp("seal") / "seal.p12"


@pytest.fixture
def seal(one_seal, settings):
    settings.SEAL_FILE, settings.SEAL_PASSPHRASE = one_seal, "gravel and willow"
    return seals.make_seal(name="Palo Azul Basin Keepers: seal")


@pytest.fixture
def no_seal(tmp_path, settings):
    settings.SEAL_FILE = tmp_path / "none" / "seal.p12"


def on_screen(agreement: Agreement, document: Document, capacity: str, **changes) -> Signature:
    party = Party.objects.get(agreement=agreement, capacity=capacity)
    signer = party.signs_by or party.person
    facts = {
        "method": "screen",
        "typed_name": signer.full_name,
        "consent": SCREEN_CONSENT,
        "at": timezone.now(),
    }
    signature = services.record_signature(party=party, document=document, **(facts | changes))
    agreement.refresh_from_db()
    return signature
