"""Letters on paper: one PDF of many, ready for the printer."""

from collections.abc import Iterable
from io import BytesIO

from stewardship.common.pdf import join_pdf
from stewardship.outbox.models import Message
from stewardship.outbox.services import walking_order
from stewardship.outbox.writing import write


def letters_pdf(letters: Iterable[Message]) -> bytes:
    """The letters one after another, by language and walking order, each with its enclosures behind it; at least one.

    Pages are numbered within each letter. Without enclosures it is a tagged PDF.
    """
    ordered = walking_order(letters)
    htmls = [letter.html or write(letter).html for letter in ordered]
    enclosed = [
        [bytes(one.file.content) for one in letter.enclosures.select_related("file")]
        for letter in ordered
    ]
    if not any(enclosed):
        return join_pdf(htmls)
    from pypdf import PdfWriter  # 37 MB of memory, for those who need it

    writer = PdfWriter()
    for html, files in zip(htmls, enclosed, strict=True):
        for content in (join_pdf([html]), *files):
            writer.append(BytesIO(content), import_outline=False)
    whole = BytesIO()
    writer.write(whole)
    return whole.getvalue()
