"""What a scanned page may be: a PDF, PNG or JPEG, judged by its content and never by its name."""

from dataclasses import dataclass
from io import BytesIO

from django.utils.translation import gettext as _
from PIL import Image, ImageFile, UnidentifiedImageError

from stewardship.common.errors import Refused

MOST_BYTES = 25_000_000
MOST_PIXELS = 40_000_000  # an A4 sheet at 600 dpi has 35 million; decoded, three bytes each

_PICTURES = {"PNG": ("image/png", "png"), "JPEG": ("image/jpeg", "jpg")}


@dataclass(frozen=True, slots=True)
class Scan:
    """What the bytes turned out to be."""

    content_type: str
    suffix: str
    pages: int


def read_scan(content: bytes) -> Scan:
    """What kind of scan this is.

    Raises
    ------
    Refused : it is empty, too large, damaged, locked by a password, or neither a PDF, a PNG nor a JPEG.
    """
    if not content:
        raise Refused(_("The file is empty."))
    if len(content) > MOST_BYTES:
        raise Refused(
            _("The file is larger than %d MB; scan it at a lower resolution.")
            % (MOST_BYTES // 1_000_000)
        )
    # Some programs write a few bytes ahead of the header (PDF 32000-1, appendix H.3, note 13: within the first 1024).
    if b"%PDF-" in content[:1024]:
        return Scan("application/pdf", "pdf", _pdf_pages(content))
    return _picture(content)


def _pdf_pages(content: bytes) -> int:
    from pypdf import PdfReader  # 37 MB of memory, for those who need it
    from pypdf.errors import PyPdfError

    try:
        reader = PdfReader(BytesIO(content))
        if reader.is_encrypted:
            raise Refused(_("The PDF is locked by a password; save it without one."))
        pages = len(reader.pages)
    except (PyPdfError, ValueError, KeyError, TypeError, AttributeError, RecursionError) as error:
        raise Refused(_("The PDF is damaged: it cannot be opened.")) from error
    if not pages:
        raise Refused(_("The PDF has no pages."))
    return pages


def _picture(content: bytes) -> Scan:
    try:
        with Image.open(BytesIO(content), formats=list(_PICTURES)) as image:
            width, height = image.size
            if width * height > MOST_PIXELS:
                raise Refused(_("The picture is too large; scan it at a lower resolution."))
            content_type, suffix = _PICTURES[image.format]
            image.verify()  # a PNG's chunks
        if suffix == "jpg":
            # Not image.load(): the PDF library tells Pillow to let cut-off pictures pass; the parser does not.
            parser = ImageFile.Parser()
            parser.feed(content)
            parser.close()
    except UnidentifiedImageError as error:
        raise Refused(
            _("That file is no PDF, PNG or JPEG; scan or photograph the page.")
        ) from error
    except (OSError, SyntaxError, ValueError, Image.DecompressionBombError) as error:
        raise Refused(_("The picture is damaged: it cannot be opened.")) from error
    return Scan(content_type, suffix, 1)
