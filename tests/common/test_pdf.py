"""PDFs: tagged, titled, in their language, with our letterforms inside and nothing fetched."""

from io import BytesIO

import pikepdf
import pytest
from django.template import engines

from stewardship.common import pdf as pdf_module
from stewardship.common.pdf import render_pdf


def make(monkeypatch, body: str, language: str = "es") -> pikepdf.Pdf:
    source = (
        '{% extends "base_print.html" %}{% block title %}Informe{% endblock %}'
        "{% block heading %}Esquina de Ñandú{% endblock %}{% block foot %}v2{% endblock %}"
        "{% block main %}" + body + "{% endblock %}"
    )
    monkeypatch.setattr(
        pdf_module,
        "render_to_string",
        lambda _name, context: engines["django"].from_string(source).render(context),
    )
    return pikepdf.open(BytesIO(render_pdf("any.html", {"program": None}, language=language)))


def tags(element, found=None) -> list:
    """Structure elements of a tagged PDF, in reading order."""
    found = [] if found is None else found
    if isinstance(element, pikepdf.Array):
        for child in element:
            tags(child, found)
    elif isinstance(element, pikepdf.Dictionary):
        if "/S" in element:
            found.append(element)
        if "/K" in element:
            tags(element.K, found)
    return found


def test_a_pdf_is_tagged_titled_and_speaks_its_language(monkeypatch):
    # ISO 14289-1 (PDF/UA-1): 7.1 title shown, 7.2 natural language, 5 identifier in the metadata
    document = make(monkeypatch, "<p>Lodo</p>")

    assert document.Root.Lang == "es"
    assert document.Root.MarkInfo.Marked
    assert document.Root.ViewerPreferences.DisplayDocTitle
    with document.open_metadata() as metadata:
        assert metadata["dc:title"] == "Informe"
        assert metadata["pdfuaid:part"] == "1"
    kinds = [str(element.S) for element in tags(document.Root.StructTreeRoot)]
    assert kinds.count("/H1") == 1


def test_a_drawing_in_a_pdf_has_its_alternative(monkeypatch):
    # ISO 14289-1, 7.3: figures have alternative text
    document = make(
        monkeypatch,
        '<figure class="sketch">{% basin_section depth_at_lip_m=0.2 lip_below_inlet_m=0.06 water_depth_m=0.1 %}</figure>'
        '<p>{% state "good" "good" %}</p>',
        language="en",
    )

    figures = [e for e in tags(document.Root.StructTreeRoot) if e.S == "/Figure"]
    assert len(figures) == 1  # the mark of a state is decoration
    assert "water 3.9 in deep" in str(figures[0].Alt)


def test_letterforms_are_embedded(monkeypatch):
    document = make(monkeypatch, "<p>áéíóúüñ ¿¡</p>")

    fonts = {
        str(font.BaseFont).split("+")[-1]
        for page in document.pages
        for font in page.Resources.Font.values()
    }
    assert fonts
    assert all(name.startswith("Rill-") for name in fonts)


@pytest.mark.parametrize(
    "address", ["https://example.org/x.png", "file:///etc/hostname", "../../../etc/hostname"]
)
def test_a_pdf_reaches_for_nothing_outside_our_static_files(monkeypatch, address):
    with pytest.raises(ValueError, match="only use our static files"):
        make(monkeypatch, f'<img alt="x" src="{address}">')
