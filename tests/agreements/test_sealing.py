"""The signed copy: the pages that were signed, the record of signatures, the program's seal; and checking it afterwards.

Outside: the seal is read back with pyHanko's own validation and with Poppler's `pdfsig`; incremental updates are ISO 32000-1, 7.5.6,
structure trees 14.7, certifying signatures 12.8.2.2; PAdES is ETSI EN 319 142-1.
"""

import hashlib
import logging
import random
import subprocess
from io import BytesIO

import pytest
from django.db import connection
from django.utils import timezone
from pyhanko.pdf_utils.reader import PdfFileReader
from pyhanko.sign.validation import validate_pdf_signature
from pyhanko_certvalidator import ValidationContext

from stewardship.agreements import sealing
from stewardship.agreements.choices import DocumentKind
from stewardship.agreements.gate import put_up, take_down
from stewardship.agreements.models import Document, Party, Signature
from stewardship.agreements.sealing import seal_agreement
from stewardship.agreements.tasks import sweep_papers
from stewardship.common import seal as seals
from stewardship.common.errors import Refused
from stewardship.outbox.models import Message
from tests.agreements.conftest import in_force, offered, sign
from tests.agreements.reading_back import fields, fonts, kinds, opened, struct_elements, texts
from tests.agreements.sealed import CONSENT, mixed, png

pytestmark = pytest.mark.django_db


class TestTheSignedCopy:
    def test_it_begins_with_the_very_bytes_that_were_signed(self, folk, seal):
        agreement, document = mixed(folk)
        copy = seal_agreement(agreement=agreement)
        assert bytes(copy.content).startswith(bytes(document.content))
        assert copy.sha256 == hashlib.sha256(bytes(copy.content)).hexdigest()
        assert (copy.kind, copy.version) == (DocumentKind.SEALED, document.version)
        assert copy.pages == len(texts(copy.content)) > document.pages

    def test_the_record_says_who_signed_how_when_and_where_the_paper_is(self, folk, seal):
        agreement, document = mixed(folk)
        pages = texts(seal_agreement(agreement=agreement).content)
        assert pages[: document.pages] == texts(document.content)
        record = " ".join(pages[document.pages :])
        squeezed = record.replace(" ", "")
        for words in (
            "Record of signatures",
            "Ines Quist, owner",
            "On paper, scanned",
            "1 July 2026",
            "Binder 3, office",
            "A-2026-001-page-4.png, 1 page",
            "Rosa Lind, program",
            "On a screen",
            # 15 July 03:04:05 UTC is still the evening of the 14th in the town
            "14 July 2026, 21:04:05 (America/Denver); 2026-07-15T03:04:05Z",
            CONSENT,
            "Page 1 of",
        ):
            assert words in record, words
        scan = Document.objects.get(agreement=agreement, kind=DocumentKind.SIGNED)
        for long in (document.sha256, scan.sha256, seal):
            assert long in squeezed

    def test_the_scan_lies_inside_byte_for_byte_and_once_for_two_signers(self, folk, seal):
        agreement, document = offered(folk)
        for capacity in ("owner", "program"):
            sign(agreement, document, capacity, scan=png(), scan_name="both.png")
        with opened(seal_agreement(agreement=agreement).content) as pdf:
            assert list(pdf.attachments) == ["A-2026-001-both.png"]
            inside = pdf.attachments["A-2026-001-both.png"].get_file().read_bytes()
        assert inside == png()

    def test_who_signs_for_somebody_and_by_what_right_is_told(self, folk, seal):
        agreement, document = mixed(folk)
        Signature.objects.filter(party__capacity="owner").update(
            agent=folk.tenant, authority="power of attorney of 3 May 2026"
        )
        record = " ".join(texts(seal_agreement(agreement=agreement).content)[document.pages :])
        assert "Signed in their place by Bram Okello, power of attorney of 3 May 2026" in record

    def test_it_has_no_form_but_the_seal(self, folk, seal):
        agreement, _ = mixed(folk)
        with opened(seal_agreement(agreement=agreement).content) as pdf:
            assert [(str(one.FT), str(one.TU)) for one in fields(pdf)] == [
                ("/Sig", "The program’s seal")
            ]
            assert pdf.Root.AcroForm.get("/NeedAppearances", False) is False

    def test_pages_before_and_after_are_one_tagged_document(self, folk, seal):
        agreement, document = mixed(folk)
        copy = seal_agreement(agreement=agreement)
        with opened(document.content) as before, opened(copy.content) as pdf:
            assert len(pdf.Root.StructTreeRoot.K) == 1
            assert pdf.Root.StructTreeRoot.K[0].S == "/Document"
            assert kinds(pdf).count("/H1") == kinds(before).count("/H1") + 1
            assert kinds(pdf).count("/TH") == kinds(before).count("/TH")
            # every page finds its own row of parents, and every row's elements say that they are on that page
            rows = pdf.Root.StructTreeRoot.ParentTree.Nums
            parents = {int(rows[at]): rows[at + 1] for at in range(0, len(rows), 2)}
            assert len(parents) * 2 == len(rows)
            for page in pdf.pages:
                on_page = {one.Pg.objgen for one in parents[int(page.StructParents)]}
                assert on_page == {page.obj.objgen}
            for one in struct_elements(pdf):
                assert one.P is not None
            assert all(fonts(pdf).values())
            assert pdf.Root.Lang == "en"
            with pdf.open_metadata() as meta:
                assert meta["pdfuaid:part"] == "1"
            assert pdf.pdf_version == "1.7"
            assert pdf.check_pdf_syntax() == []

    def test_it_speaks_the_language_of_the_agreement(self, folk, seal):
        agreement, _ = mixed(folk, language="es")
        with opened(seal_agreement(agreement=agreement).content) as pdf:
            assert pdf.Root.Lang == "es"

    def test_it_is_made_once(self, folk, seal, one_print):
        agreement = in_force(folk)
        first, second = seal_agreement(agreement=agreement), seal_agreement(agreement=agreement)
        assert first.pk == second.pk
        assert agreement.events.filter(why__startswith="Signed copy sealed").count() == 1

    def test_two_workers_at_once_make_one(self, folk, seal, one_print, monkeypatch):
        agreement = in_force(folk)
        made = sealing._signed_copy
        other = []

        def while_another_is_quicker(one):
            result = made(one)
            if not other:
                other.append(None)
                other[0] = seal_agreement(agreement=one).pk
            return result

        monkeypatch.setattr(sealing, "_signed_copy", while_another_is_quicker)
        assert seal_agreement(agreement=agreement).pk == other[0]
        assert Document.objects.filter(kind=DocumentKind.SEALED).count() == 1

    def test_what_is_not_in_force_is_not_sealed(self, folk, seal, one_print):
        agreement, _ = offered(folk)
        with pytest.raises(Refused, match="A-2026-001 is not in force"):
            seal_agreement(agreement=agreement)


class TestTheSweep:
    def test_it_seals_what_came_into_force_and_sends_the_copies(self, folk, seal, one_print):
        agreement, waiting = in_force(folk), offered(folk)[0]
        sweep_papers()
        copy = Document.objects.get(kind=DocumentKind.SEALED)
        assert copy.agreement == agreement != waiting
        told = Message.objects.filter(key__startswith=f"copy-{copy.pk}-")
        assert {one.to_name for one in told} == {"Ines Quist", "Rosa Lind"}
        sweep_papers()
        assert Document.objects.filter(kind=DocumentKind.SEALED).count() == 1
        assert told.count() == 2

    def test_years_old_agreements_are_sealed_without_letters(self, folk, seal, one_print):
        in_force(folk)
        Signature.objects.update(recorded_at=timezone.now() - sealing.COPIES_FOR)
        sweep_papers()
        assert Document.objects.filter(kind=DocumentKind.SEALED).exists()
        assert not Message.objects.filter(key__startswith="copy-").exists()

    def test_one_that_cannot_be_sealed_does_not_stop_the_rest(self, folk, seal, one_print):
        broken, sound = in_force(folk), in_force(folk)
        _, other = offered(folk)
        take_down(connection)  # the database lets no signature be moved
        Signature.objects.filter(
            party=Party.objects.get(agreement=broken, capacity="owner")
        ).update(document=other)
        put_up(connection)
        sweep_papers()
        assert Document.objects.get(kind=DocumentKind.SEALED).agreement == sound

    def test_without_a_seal_it_waits_and_says_so(self, folk, no_seal, one_print, caplog):
        in_force(folk)
        with caplog.at_level(logging.WARNING):
            sweep_papers()
        assert "wait for a seal: 1. Run “manage.py make_seal” once." in caplog.text
        assert not Document.objects.filter(kind=DocumentKind.SEALED).exists()


class TestTheSealHolds:
    @pytest.fixture
    def copy(self, folk, seal, one_print):
        return seal_agreement(agreement=in_force(folk))

    def status(self, content: bytes):
        found = PdfFileReader(BytesIO(content)).embedded_signatures[0]
        trust = ValidationContext(trust_roots=[found.signer_cert])
        return validate_pdf_signature(found, signer_validation_context=trust)

    def test_a_library_finds_it_whole_and_certified_against_change(self, copy):
        status = self.status(bytes(copy.content))
        assert status.intact and status.valid and status.trusted and status.docmdp_ok
        assert status.coverage.name == "ENTIRE_FILE"

    def test_another_reader_finds_it_whole_too(self, copy, tmp_path):
        path = tmp_path / "copy.pdf"
        path.write_bytes(bytes(copy.content))
        said = subprocess.run(["pdfsig", path], capture_output=True, text=True).stdout
        assert "Signature is Valid" in said
        assert "Total document signed" in said
        assert "ETSI.CAdES.detached" in said

    def test_one_changed_byte_anywhere_breaks_it(self, copy, tmp_path):
        content = bytes(copy.content)
        start, length, resume, rest = (
            int(n) for n in PdfFileReader(BytesIO(content)).embedded_signatures[0].byte_range
        )
        assert start == 0 and resume + rest == len(content)
        rng = random.Random(20_261_125)
        places = [rng.randrange(length) for _ in range(20)]
        places += [rng.randrange(resume, len(content)) for _ in range(5)]
        for place in places:
            changed = bytearray(content)
            changed[place] ^= 1
            try:
                found = seals.read_seal(bytes(changed))
            except Refused:
                continue  # not even a PDF any more
            assert found is None or not found.intact, place

    def test_something_added_behind_breaks_it(self, copy):
        assert not seals.read_seal(bytes(copy.content) + b"\n% and a line more\n").intact

    def test_a_file_without_a_seal_is_told_from_one_that_is_none(self, copy, folk):
        document = Document.objects.filter(kind=DocumentKind.TO_SIGN).first()
        assert seals.read_seal(bytes(document.content)) is None
        with pytest.raises(Refused, match="damaged, or it is no PDF"):
            seals.read_seal(b"no PDF at all")
