"""WeasyPrint and how we drive it. Import this inside functions only: it takes a second and 50 MB."""

import logging
import threading
from base64 import b64encode
from collections.abc import Mapping, Sequence
from pathlib import Path
from urllib.parse import unquote, urlsplit

from django.contrib.staticfiles import finders
from weasyprint import CSS, HTML
from weasyprint.text.fonts import FontConfiguration
from weasyprint.urls import FatalURLFetchingError, URLFetcher, URLFetcherResponse

from stewardship.common.states import MARKS

# It would warn, for each PDF, of every line in the shared stylesheets that is for screens.
logging.getLogger("weasyprint").setLevel(logging.ERROR)

# Nothing is fetched from here: it only makes the addresses in templates and stylesheets absolute.
ORIGIN = "http://static.invalid/"
TYPES = {".css": "text/css", ".svg": "image/svg+xml", ".png": "image/png", ".ttf": "font/ttf"}


class StaticFilesOnly(URLFetcher):
    """Serves our own static files and `data:` addresses; a PDF never reaches for the network or the disk."""

    def fetch(self, url: str, headers: Mapping[str, str] | None = None) -> URLFetcherResponse:
        if url.startswith("data:"):
            return super().fetch(url, headers)
        found = (
            finders.find(unquote(urlsplit(url).path).lstrip("/"))
            if url.startswith(ORIGIN)
            else None
        )
        if not found:
            # Louder than WeasyPrint's own warning: a PDF without its stylesheet or letterforms must not go out.
            raise FatalURLFetchingError(f"A PDF may only use our static files, not {url}")
        path = Path(found)
        content_type = TYPES.get(path.suffix, "application/octet-stream")
        return URLFetcherResponse(url, path.read_bytes(), {"Content-Type": content_type})


def _marks_as_backgrounds(html: str) -> str:
    """The marks of states moved into backgrounds: as figures of their own they would need an alternative, which the word is."""
    for tone, svg in MARKS.items():
        html = html.replace(svg, f'<span class="mark mark-{tone}"></span>')
    return html


MARK_STYLES = "".join(
    f".mark-{tone} {{ background-image: url(data:image/svg+xml;base64,{b64encode(svg.encode()).decode()}) }}"
    for tone, svg in MARKS.items()
)


OPTIONS = {"pdf_variant": "pdf/ua-1", "pdf_tags": True}
SHEETS = ("rillbook/css/ink.css", "rillbook/css/entries.css", "rillbook/css/press.css")
_read = threading.local()  # what Pango makes of letterforms is no matter for two threads


def _letterforms_and_sheets() -> tuple[FontConfiguration, list[CSS]]:
    """The shared stylesheets with the letterforms they name, read once per thread: reading them is a fifth of a short PDF's time."""
    if not hasattr(_read, "both"):
        letterforms = FontConfiguration()
        sheets = [
            CSS(url=f"{ORIGIN}{name}", url_fetcher=StaticFilesOnly(), font_config=letterforms)
            for name in SHEETS
        ]
        _read.both = letterforms, [*sheets, CSS(string=MARK_STYLES)]
    return _read.both


def pages_of(htmls: Sequence[str], *, fillable: bool = False) -> bytes:
    """Whole HTML documents as one tagged PDF. Page numbers start anew with each document; title and language are the first's.

    `fillable`: inputs become form fields, whose tooltips are their labels. Their letterforms are embedded whole (400 kB).
    """
    options = OPTIONS | {"pdf_forms": fillable}
    try:
        letterforms, sheets = _letterforms_and_sheets()
        documents = [
            HTML(
                string=_marks_as_backgrounds(html), base_url=ORIGIN, url_fetcher=StaticFilesOnly()
            ).render(stylesheets=sheets, font_config=letterforms, **options)
            for html in htmls
        ]
        pages = [page for document in documents for page in document.pages]
        return documents[0].copy(pages).write_pdf(**options)
    except FatalURLFetchingError as error:  # a BaseException, which no task's own net would catch
        raise ValueError(str(error)) from error
