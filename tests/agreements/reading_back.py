"""Reading PDFs back: text by page, structure, letterforms, form fields."""

from collections.abc import Iterator
from io import BytesIO

import pikepdf
from pypdf import PdfReader


def texts(content: bytes) -> list[str]:
    """The words of each page, whitespace squeezed."""
    reader = PdfReader(BytesIO(bytes(content)))
    return [" ".join(page.extract_text().split()) for page in reader.pages]


def opened(content: bytes) -> pikepdf.Pdf:
    return pikepdf.open(BytesIO(bytes(content)))


def struct_elements(pdf: pikepdf.Pdf) -> Iterator[pikepdf.Dictionary]:
    """Every element of the structure tree, depth first."""
    stack = [pdf.Root.StructTreeRoot]
    while stack:
        node = stack.pop()
        if not isinstance(node, pikepdf.Dictionary):
            continue
        if "/S" in node:
            yield node
        kids = node.get("/K", [])
        stack += list(kids) if isinstance(kids, pikepdf.Array) else [kids]


def kinds(pdf: pikepdf.Pdf) -> list[str]:
    return [str(one.S) for one in struct_elements(pdf)]


def fonts(pdf: pikepdf.Pdf) -> dict[str, bool]:
    """Name of each font on the pages → whether it travels inside the file."""
    found = {}
    for page in pdf.pages:
        for font in page.resources.get("/Font", {}).values():
            inner = font.get("/DescendantFonts", [font])[0]
            files = ("/FontFile", "/FontFile2", "/FontFile3")
            found[str(inner.BaseFont)] = any(key in inner.FontDescriptor for key in files)
    return found


def fields(pdf: pikepdf.Pdf) -> list[pikepdf.Dictionary]:
    """The form fields, signature fields among them."""
    return list(pdf.Root.get("/AcroForm", {}).get("/Fields", []))
