"""Checking a sealed copy later: by command, on a page, and with a seal that was renewed."""

from io import StringIO

import pytest
from django.core.management import CommandError, call_command

from stewardship.agreements.choices import DocumentKind
from stewardship.agreements.models import Document
from stewardship.agreements.sealing import seal_agreement
from stewardship.common import seal as seals
from stewardship.common.errors import Refused
from tests.agreements.conftest import in_force, offered
from tests.agreements.sealed import mixed

pytestmark = pytest.mark.django_db


def checked(*args: str) -> tuple[int, str]:
    """Exit code and words of `manage.py verify_document`."""
    out = StringIO()
    try:
        call_command("verify_document", *args, stdout=out)
    except CommandError as error:
        return error.returncode, f"{out.getvalue()}{error}"
    return 0, out.getvalue()


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
