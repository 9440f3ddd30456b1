"""A scan is judged by its content; what is none is refused in one sentence and nothing is recorded."""

from io import BytesIO

import pytest
from PIL import Image
from pypdf import PdfWriter

from stewardship.agreements.models import Document, Signature
from stewardship.agreements.scans import MOST_BYTES, read_scan
from stewardship.common.errors import Refused
from tests.agreements.conftest import offered, sign


def picture(kind: str) -> bytes:
    out = BytesIO()
    Image.new("RGB", (40, 60), "white").save(out, kind)
    return out.getvalue()


def pdf(pages: int = 2, password: str = "") -> bytes:
    writer = PdfWriter()
    for _ in range(pages):
        writer.add_blank_page(612, 792)
    if password:
        writer.encrypt(password, algorithm="RC4-128")
    out = BytesIO()
    writer.write(out)
    return out.getvalue()


@pytest.mark.parametrize(
    ("content", "content_type", "pages"),
    [
        (pdf(3), "application/pdf", 3),
        (b"\xef\xbb\xbf" + pdf(1), "application/pdf", 1),
        (picture("PNG"), "image/png", 1),
        (picture("JPEG"), "image/jpeg", 1),
    ],
    ids=["pdf", "pdf after a byte-order mark", "png", "jpeg"],
)
def test_pdf_png_and_jpeg_are_known_by_their_content(content, content_type, pages):
    scan = read_scan(content)
    assert (scan.content_type, scan.pages) == (content_type, pages)


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "empty"),
        (b"just text", "no PDF, PNG or JPEG"),
        (picture("GIF"), "no PDF, PNG or JPEG"),
        (b"<html><script>alert(1)</script></html>", "no PDF, PNG or JPEG"),
        (b"%PDF-1.7\nnothing follows", "damaged"),
        (pdf()[:200], "damaged"),
        (picture("PNG")[:60], "damaged"),
        (picture("JPEG")[:-200], "damaged"),
        (pdf(password="x"), "locked by a password"),
        (pdf(0), "no pages"),
        (b"%PDF-" + b"0" * MOST_BYTES, "larger than 25 MB"),
    ],
    ids=lambda value: value if isinstance(value, str) else "",
)
def test_anything_else_is_refused_in_one_sentence(content, words):
    with pytest.raises(Refused, match=words):
        read_scan(content)


@pytest.mark.django_db
@pytest.mark.usefixtures("one_print")
class TestKeepingAScan:
    def test_it_is_kept_byte_for_byte_beside_the_signature(self, folk):
        agreement, document = offered(folk)
        content = pdf(6)
        signature = sign(
            agreement, document, "owner", scan=content, scan_name="C:\\scans\\Quist signed.PDF"
        )
        kept = Document.objects.get(pk=signature.scan_id)
        assert bytes(kept.content) == content
        assert (kept.kind, kept.pages) == ("signed", 6)
        assert kept.file_name.endswith("quist-signed.pdf")

    def test_one_scan_of_two_signers_is_kept_once(self, folk):
        agreement, document = offered(folk)
        content = picture("JPEG")
        first = sign(agreement, document, "owner", scan=content, scan_name="a.jpg")
        second = sign(agreement, document, "program", scan=content, scan_name="b.jpg")
        assert first.scan == second.scan
        assert Document.objects.filter(kind="signed").count() == 1

    def test_a_bad_scan_records_nothing(self, folk):
        agreement, document = offered(folk)
        with pytest.raises(Refused, match="no PDF, PNG or JPEG"):
            sign(agreement, document, "owner", scan=b"no", scan_name="x.pdf")
        assert not Signature.objects.exists()

    def test_the_document_before_anybody_signed_is_no_scan(self, folk):
        agreement, document = offered(folk)
        with pytest.raises(Refused, match="before anybody signed"):
            sign(agreement, document, "owner", scan=bytes(document.content), scan_name="signed.pdf")
        assert not Signature.objects.exists()
