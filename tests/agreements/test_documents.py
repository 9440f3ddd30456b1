"""The PDF of an agreement, read back: text, tags, titles, language, fonts, foot of every page; kept byte for byte.

PDF/UA-1 is ISO 14289-1: tagged structure (7.1), document title and language (7.1, 7.2), alternative text of figures (7.3), table
headers (7.5), embedded fonts (7.21). Checked here by reading the file, which is no proof of conformance.
"""

import hashlib
import re
from io import BytesIO

import pikepdf
import pytest
from pypdf import PdfReader

from people.choices import Units
from stewardship.agreements import services
from stewardship.agreements.choices import InstrumentKind
from stewardship.agreements.models import Document, Wording
from stewardship.agreements.texts import starters
from stewardship.common.errors import Refused
from tests import factory
from tests.agreements.conftest import OFFERED_ON, drafted, offered

pytestmark = pytest.mark.django_db


def texts(document) -> list[str]:
    reader = PdfReader(BytesIO(bytes(document.content)))
    return [" ".join(page.extract_text().split()) for page in reader.pages]


def struct_elements(pdf):
    """Every element of the structure tree, depth first."""
    stack = [pdf.Root.StructTreeRoot]
    while stack:
        node = stack.pop()
        if not isinstance(node, pikepdf.Dictionary):
            continue
        if "/S" in node:
            yield node
        kids = node.get("/K", [])
        stack += list(kids) if isinstance(kids, pikepdf.Array) else [kids]


@pytest.fixture
def document(folk):
    _agreement, document = offered(
        folk, ("tenant", "tenant"), ("landlord", "landlord"), ("program", "program")
    )
    return Document.objects.get(pk=document.pk)


class TestT08WhatExactlyDidIPromise:
    def test_t08_the_plain_summary_stands_before_the_wording(self, document):
        whole = " ".join(texts(document))
        summary = whole.index("In plain words")
        assert summary < whole.index("1. What the resident does")
        assert "If you rent, the owner has to agree before anything is built." in whole

    def test_t08_it_names_people_place_works_duties_and_cautions(self, document):
        whole = " ".join(texts(document))
        for words in (
            "A-2026-001",
            "1 July 2026",
            "Bram Okello",
            "Odile Farrow",
            "710 Saltbush Street (OAK-7)",
            "Empty the sediment trap",
            "Settling in",
            "once a month",
            "Keep out of the travel lane",
            "They have 30 days from that letter",
            "It begins on the day of the last signature and runs for 5 years.",
            "Have counsel review it",
            "local code decides",
        ):
            assert words in whole, words
        assert "{" not in whole

    def test_t08_a_copy_can_be_had_at_any_time_with_the_very_bytes(self, document, coordinator):
        response = coordinator.get(f"/agreements/documents/{document.pk}/")
        assert response.content == bytes(document.content)
        assert response["Content-Disposition"] == f'attachment; filename="{document.file_name}"'
        assert response["Content-Type"] == "application/pdf"


class TestThePdf:
    def test_it_is_kept_byte_for_byte_with_its_hash(self, document):
        assert hashlib.sha256(bytes(document.content)).hexdigest() == document.sha256
        assert bytes(document.content).startswith(b"%PDF-")
        assert document.pages == len(texts(document))

    def test_every_page_says_its_number_reference_wording_and_hash(self, document):
        pages = texts(document)
        feet = set()
        for number, page in enumerate(pages, start=1):
            assert f"Page {number} of {len(pages)}" in page
            feet.add(re.search(r"A-2026-001 · wording 1 · ([0-9a-f]{12})", page)[1])
        assert len(feet) == 1

    def test_two_documents_that_say_the_same_bear_the_same_hash(self, folk):
        agreement, first = offered(folk)
        second = services.offer_agreement(agreement=agreement, on=OFFERED_ON)
        basin = folk.site.basins.get()
        basin.depth_m = 0.3
        basin.save()
        third = services.offer_agreement(agreement=agreement, on=OFFERED_ON)
        mark = re.compile(r"wording 1 · ([0-9a-f]{12})")
        hashes = [mark.search(texts(one)[0])[1] for one in (first, second, third)]
        assert hashes[0] == hashes[1] != hashes[2]

    def test_it_has_title_language_and_tags(self, document):
        with pikepdf.open(BytesIO(bytes(document.content))) as pdf:
            assert pdf.Root.Lang == "en"
            assert pdf.Root.MarkInfo.Marked
            assert pdf.Root.ViewerPreferences.DisplayDocTitle
            assert pdf.docinfo["/Title"] == "Agreement to care for a street-side basin · A-2026-001"
            with pdf.open_metadata() as meta:
                assert meta["pdfuaid:part"] == "1"
            kinds = [str(one.S) for one in struct_elements(pdf)]
        assert kinds.count("/H1") == 1
        for kind in ("/H2", "/P", "/Table", "/TH", "/LI", "/Figure"):
            assert kind in kinds

    def test_every_figure_has_words(self, document):
        with pikepdf.open(BytesIO(bytes(document.content))) as pdf:
            figures = [one for one in struct_elements(pdf) if one.S == "/Figure"]
            assert len(figures) == 2
            said = sorted(str(figure.Alt) for figure in figures)
        assert said[0].startswith("The basin in section:")
        assert said[1].startswith("The frontage of 710 Saltbush Street from above")

    def test_its_letterforms_travel_with_it(self, document):
        with pikepdf.open(BytesIO(bytes(document.content))) as pdf:
            fonts = {}
            for page in pdf.pages:
                for font in page.resources.get("/Font", {}).values():
                    inner = font.get("/DescendantFonts", [font])[0]
                    fonts[str(inner.BaseFont)] = inner.FontDescriptor
            assert fonts
            for name, descriptor in fonts.items():
                inside = [k for k in ("/FontFile", "/FontFile2", "/FontFile3") if k in descriptor]
                assert inside, name

    def test_it_speaks_the_language_of_the_agreement(self, folk):
        agreement = services.draft_agreement(
            instrument="care_agreement", sites=[folk.site], language="es"
        )
        services.add_party(agreement=agreement, person=folk.owner, capacity="owner")
        services.add_party(agreement=agreement, person=folk.program, capacity="program")
        document = services.offer_agreement(agreement=agreement, on=OFFERED_ON)
        with pikepdf.open(BytesIO(bytes(document.content))) as pdf:
            assert pdf.Root.Lang == "es"
        assert "Acuerdo para cuidar una cuenca de lluvia junto a la calle" in texts(document)[0]
        assert "decide la norma local" in " ".join(texts(document))

    def test_it_measures_in_the_programs_units(self, folk):
        _, in_gallons = offered(folk)
        factory.make_program(units=Units.METRIC)
        _, in_litres = offered(folk)
        assert " gal " in " ".join(texts(in_gallons))
        assert " gal " not in " ".join(texts(in_litres))
        # 3 m² at the bottom, 6 m² at the lip, 0.2 m deep: the frustum holds h/3 (A + √(AB) + B) = 0.8828 m³
        assert " 883 L " in " ".join(texts(in_litres))

    def test_a_helper_agreement_has_neither_works_nor_schedule(self, folk):
        _, document = offered(
            folk,
            ("tenant", "helper"),
            ("program", "program"),
            instrument=InstrumentKind.HELPER,
            sites=[],
        )
        whole = " ".join(texts(document))
        assert "What this covers" not in whole
        assert "Settling in" not in whole
        assert "Take care" in whole

    def test_an_agencys_crews_are_not_told_to_leave_the_curb_to_the_agency(self, folk):
        _, document = offered(
            folk,
            ("officer", "agency_officer"),
            ("program", "program"),
            instrument=InstrumentKind.MEMORANDUM,
        )
        whole = " ".join(texts(document))
        assert "Empty the sediment trap" in whole
        assert "Those are for the agency that owns the street" not in whole


class TestWording:
    def test_every_instrument_has_a_starter_in_both_languages_that_asks_for_counsel(self):
        found = {(one.instrument, one.language): one for one in starters()}
        assert set(found) == {(k, lang) for k in InstrumentKind.values for lang in ("en", "es")}
        for (_, language), one in found.items():
            asks = "counsel" if language == "en" else "abogado"
            decides = "local code" if language == "en" else "norma local"
            assert asks in one.body and decides in one.body.lower()
            assert len(one.summary.splitlines()) >= 5

    def test_they_are_there_in_a_fresh_installation(self):
        assert Wording.objects.count() == 10
        assert set(Wording.objects.values_list("version", flat=True)) == {1}

    def test_the_newest_version_is_offered_and_the_old_document_keeps_its_own(self, folk):
        agreement, first = offered(folk)
        old = agreement.wording
        Wording.objects.create(
            instrument="care_agreement",
            language="en",
            version=2,
            title="Care agreement, new",
            summary="Short.",
            body="All of it, at {sites}.",
            in_use_since=OFFERED_ON,
        )
        second = services.offer_agreement(agreement=agreement, on=OFFERED_ON)
        agreement.refresh_from_db()
        assert (old.version, agreement.wording.version) == (1, 2)
        assert "wording 2" in texts(second)[0]
        assert "wording 1" in texts(first)[0]

    def test_a_placeholder_that_means_nothing_is_refused_in_words(self, folk):
        wording = Wording(
            instrument="care_agreement",
            language="en",
            version=2,
            title="T",
            summary="S",
            body="Signed at {plaice}.",
            in_use_since=OFFERED_ON,
        )
        with pytest.raises(Exception, match="“plaice” in braces means nothing here"):
            wording.full_clean()
        wording.save()
        agreement = drafted(folk, ("owner", "owner"), ("program", "program"))
        with pytest.raises(Refused, match="“plaice” in braces means nothing here"):
            services.offer_agreement(agreement=agreement, on=OFFERED_ON)
