"""Letters on paper: one PDF of many, ready for the printer."""

from collections.abc import Iterable

from stewardship.common.pdf import join_pdf
from stewardship.outbox.models import Message
from stewardship.outbox.services import walking_order
from stewardship.outbox.writing import write


def letters_pdf(letters: Iterable[Message]) -> bytes:
    """The letters one after another, by language and walking order; at least one. Pages are numbered within each letter."""
    return join_pdf([letter.html or write(letter).html for letter in walking_order(letters)])
