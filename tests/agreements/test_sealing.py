"""The signed copy: the pages that were signed, the record of signatures, the program's seal; and checking it afterwards.

Outside: the seal is read back with pyHanko's own validation and with Poppler's `pdfsig`; incremental updates are ISO 32000-1, 7.5.6,
structure trees 14.7, certifying signatures 12.8.2.2; PAdES is ETSI EN 319 142-1.
"""

import hashlib
import logging
import random
import subprocess
from datetime import UTC, datetime
from io import BytesIO, StringIO

import pytest
from django.core.management import CommandError, call_command
from django.db import connection
from django.utils import timezone
from PIL import Image
from pyhanko.pdf_utils.reader import PdfFileReader
from pyhanko.sign.validation import validate_pdf_signature
from pyhanko_certvalidator import ValidationContext

from stewardship.agreements import sealing, services
from stewardship.agreements.choices import AgreementState, DocumentKind
from stewardship.agreements.gate import put_up, take_down
from stewardship.agreements.models import Agreement, Document, Party, Signature
from stewardship.agreements.sealing import seal_agreement
from stewardship.agreements.tasks import sweep_papers
from stewardship.common import seal as seals
from stewardship.common.errors import Refused
from stewardship.outbox.models import Message
from tests.agreements.conftest import OFFERED_ON, in_force, offered, sign
from tests.agreements.reading_back import fields, fonts, kinds, opened, struct_elements, texts

pytestmark = pytest.mark.django_db

CONSENT = "I agree to sign on this screen instead of on paper, and can keep a PDF."


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


def png() -> bytes:
    out = BytesIO()
    Image.new("RGB", (60, 80), "white").save(out, "PNG")
    return out.getvalue()


def mixed(folk, language: str = "en") -> tuple[Agreement, Document]:
    """In force, signed by the owner on paper with a scan and by the program on a screen."""
    agreement = services.draft_agreement(
        instrument="care_agreement", sites=[folk.site], language=language
    )
    for who in ("owner", "program"):
        services.add_party(agreement=agreement, person=getattr(folk, who), capacity=who)
    document = services.offer_agreement(agreement=agreement, on=OFFERED_ON)
    sign(agreement, document, "owner", scan=png(), scan_name="page 4.png")
    sign(
        agreement,
        document,
        "program",
        method="screen",
        at=datetime(2026, 7, 15, 3, 4, 5, tzinfo=UTC),
        consent=CONSENT,
        original_kept_at="",
        on=None,
    )
    assert agreement.state == AgreementState.IN_FORCE
    return agreement, document


def checked(*args: str) -> tuple[int, str]:
    """Exit code and words of `manage.py verify_document`."""
    out = StringIO()
    try:
        call_command("verify_document", *args, stdout=out)
    except CommandError as error:
        return error.returncode, f"{out.getvalue()}{error}"
    return 0, out.getvalue()


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


class TestVerifyDocument:
    @pytest.fixture
    def copy(self, folk, seal):
        return seal_agreement(agreement=mixed(folk)[0])

    def test_the_copy_in_the_book_is_good(self, copy, seal):
        code, said = checked("--agreement", "A-2026-001")
        assert code == 0
        assert "The seal is intact" in said
        assert (
            f"Sealed by this program: “Palo Azul Basin Keepers: seal”, certificate SHA-256 {seal}"
            in said
        )
        assert "signed and sealed of A-2026-001, version 1, A-2026-001-v1-signed.pdf" in said
        assert "the very document that was signed: A-2026-001-v1.pdf" in said
        assert "This is the signed copy as it was sealed." in said

    def test_a_file_with_the_same_bytes_is_good(self, copy, tmp_path):
        path = tmp_path / "from the mail.pdf"
        path.write_bytes(bytes(copy.content))
        assert checked(str(path))[0] == 0

    def test_a_changed_file_is_not(self, copy, tmp_path):
        content = bytearray(copy.content)
        content[len(content) // 3] ^= 1
        path = tmp_path / "changed.pdf"
        path.write_bytes(bytes(content))
        code, said = checked(str(path))
        assert code == 1
        assert "The seal is broken" in said
        assert "The book holds no document of exactly these bytes." in said

    def test_a_file_that_somebody_else_sealed_is_not(self, copy, tmp_path, settings):
        document = Document.objects.get(kind=DocumentKind.TO_SIGN)
        settings.SEAL_FILE = tmp_path / "elsewhere" / "seal.p12"
        seals.make_seal(name="Somebody else")
        forged = seals.sealed(bytes(document.content))
        settings.SEAL_FILE = tmp_path / "ours" / "seal.p12"
        seals.make_seal(name="Palo Azul Basin Keepers: seal")
        path = tmp_path / "forged.pdf"
        path.write_bytes(forged)
        code, said = checked(str(path))
        assert code == 1
        assert "yes  The seal is intact" in said
        assert "NO   Sealed by somebody else: “Somebody else”" in said

    def test_bytes_changed_in_the_book_itself_are_found(self, copy):
        content = bytearray(copy.content)
        content[len(content) // 3] ^= 1
        Document.objects.filter(pk=copy.pk).update(content=bytes(content))
        code, said = checked("--agreement", "A-2026-001")
        assert code == 1
        assert "The seal is broken" in said

    def test_an_unsealed_document_says_that_it_has_no_seal(self, copy, tmp_path):
        path = tmp_path / "to-sign.pdf"
        path.write_bytes(bytes(Document.objects.get(kind=DocumentKind.TO_SIGN).content))
        code, said = checked(str(path))
        assert code == 1
        assert "NO   There is no seal on this file." in said
        assert "yes  The book holds exactly these bytes: ready to sign of A-2026-001" in said

    def test_no_copy_no_file_and_no_pdf_are_said_in_words(self, copy, tmp_path):
        assert checked("--agreement", "A-1999-001") == (
            1,
            "The book holds no sealed copy of A-1999-001.",
        )
        assert "cannot be read: No such file or directory" in checked(str(tmp_path / "gone.pdf"))[1]
        path = tmp_path / "letter.txt"
        path.write_text("Dear all")
        code, said = checked(str(path))
        assert code == 1
        assert "The file is damaged, or it is no PDF." in said


class TestTheCheckPage:
    def test_a_coordinator_sees_that_the_seal_is_intact(self, folk, seal, coordinator):
        copy = seal_agreement(agreement=mixed(folk)[0])
        detail = coordinator.get(f"/agreements/{copy.agreement_id}/").content.decode()
        assert f'href="/agreements/documents/{copy.pk}/check/"' in detail
        page = coordinator.get(f"/agreements/documents/{copy.pk}/check/").content.decode()
        assert "This is the signed copy as it was sealed." in page
        assert "The seal is intact" in page and seal in page

    def test_a_changed_copy_is_said_to_be_changed(self, folk, seal, coordinator):
        copy = seal_agreement(agreement=mixed(folk)[0])
        content = bytearray(copy.content)
        content[len(content) // 3] ^= 1
        Document.objects.filter(pk=copy.pk).update(content=bytes(content))
        page = coordinator.get(f"/agreements/documents/{copy.pk}/check/").content.decode()
        assert "Do not rely on this file." in page and "The seal is broken" in page

    def test_other_documents_have_no_such_page(self, folk, coordinator, one_print):
        _, document = offered(folk)
        assert coordinator.get(f"/agreements/documents/{document.pk}/check/").status_code == 404


class TestMakeSeal:
    def test_it_makes_one_that_only_its_owner_reads_and_keeps_it(self, no_seal, settings, program):
        out = StringIO()
        call_command("make_seal", stdout=out)
        mark = seals.fingerprint()
        assert out.getvalue().startswith("Made the seal.") and mark in out.getvalue()
        assert settings.SEAL_FILE.stat().st_mode & 0o777 == 0o600
        out = StringIO()
        call_command("make_seal", stdout=out)
        assert out.getvalue().startswith("There is a seal already; nothing was changed.")
        assert seals.fingerprint() == mark

    def test_after_a_renewal_old_seals_are_still_known(self, folk, no_seal, one_print):
        call_command("make_seal", stdout=StringIO())
        copy = seal_agreement(agreement=in_force(folk))
        old = seals.fingerprint()
        call_command("make_seal", "--renew", stdout=StringIO())
        assert seals.fingerprint() != old
        found = seals.read_seal(bytes(copy.content))
        assert found.intact and found.ours and found.fingerprint == old

    def test_a_wrong_passphrase_is_said(self, seal, settings, program):
        settings.SEAL_PASSPHRASE = "something else"
        with pytest.raises(CommandError, match="the passphrase does not fit"):
            call_command("make_seal", stdout=StringIO())
        with pytest.raises(Refused, match="the passphrase does not fit"):
            seals.sealed(b"%PDF-1.7")
