"""Letters on paper: one PDF of many, ready for the printer."""

from collections.abc import Iterable

from weasyprint import HTML

from stewardship.common.pdf import ORIGIN, StaticFilesOnly
from stewardship.outbox.models import Message
from stewardship.outbox.services import walking_order
from stewardship.outbox.writing import write


def letters_pdf(letters: Iterable[Message]) -> bytes:
    """The letters one after another, by language and walking order. Page numbers start anew with each letter."""
    documents = [_laid_out(letter.html or write(letter).html) for letter in walking_order(letters)]
    pages = [page for document in documents for page in document.pages]
    return documents[0].copy(pages).write_pdf()


def _laid_out(html: str):
    return HTML(string=html, base_url=ORIGIN, url_fetcher=StaticFilesOnly()).render()
