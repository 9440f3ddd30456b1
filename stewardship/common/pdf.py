"""Tagged PDFs (PDF/UA-1) from templates that extend `base_print.html`."""

from collections.abc import Sequence
from io import BytesIO
from typing import Any

from django.template.loader import render_to_string
from django.utils import translation


def render_pdf(
    template: str, context: dict[str, Any], *, language: str, fillable: bool = False
) -> bytes:
    """The template as a PDF in `language`. The context holds `program`; times are shown in the zone that is active."""
    with translation.override(language):
        html = render_to_string(template, context)
    return join_pdf([html], fillable=fillable)


def join_pdf(htmls: Sequence[str], *, fillable: bool = False) -> bytes:
    """Whole HTML documents one after another in one PDF. With `fillable`, their inputs can be filled in.

    Raises
    ------
    ValueError
        A document asks for something that is not one of our static files.
    """
    from stewardship.common.press import pages_of  # only who prints pays for WeasyPrint

    return pages_of(htmls, fillable=fillable)


def count_pages(content: bytes) -> int:
    from pypdf import PdfReader  # 37 MB of memory, for those who need it

    return len(PdfReader(BytesIO(content)).pages)
