"""Pages and files appended to a tagged PDF without touching a byte of it (an incremental update, ISO 32000-1, 7.5.6).

Import this inside functions only: it needs pyHanko. No library does this for tagged files: their structure trees (14.7) have to
be joined by hand so that a screen reader goes on from the last page of the one to the first page of the other.
"""

from collections.abc import Iterable, Iterator
from io import BytesIO
from typing import Any

from pyhanko.pdf_utils import embed, generic
from pyhanko.pdf_utils.generic import pdf_name
from pyhanko.pdf_utils.incremental_writer import IncrementalPdfFileWriter
from pyhanko.pdf_utils.reader import PdfFileReader


def append_pages(writer: IncrementalPdfFileWriter, more: bytes) -> None:
    """The pages of `more` behind those of `writer`, with their structure.

    Both are as WeasyPrint writes them: one flat array of pages, one flat number tree (`/ParentTree`), one `/Document` element
    at the top. Tables are not for `more`: the names of their header cells would meet those of the first file.
    """
    reader = PdfFileReader(BytesIO(more))
    pages: Any = writer.root["/Pages"]
    tree: Any = writer.root["/StructTreeRoot"]
    new_pages, new_tree = reader.root["/Pages"], reader.root["/StructTreeRoot"]
    top, new_top = tree["/K"][0], new_tree["/K"][0]
    # Cut what leads upwards, so that importing a page does not bring the other file's page tree and catalog along.
    for page in _each(new_pages["/Kids"]):
        del page["/Parent"]
    for element in _each(new_top["/K"]):
        del element["/P"]
    brought: Any = writer.import_object(
        _bundle(new_pages["/Kids"], new_top["/K"], new_tree["/ParentTree"]["/Nums"])
    )
    kids, elements, numbers = (brought[key] for key in ("/Kids", "/K", "/Nums"))
    nums = tree["/ParentTree"]["/Nums"]
    first = int(nums[-2]) + 1
    for page in _each(kids):
        page["/Parent"] = writer.root.raw_get("/Pages")
        _renumber(page, "/StructParents", first)
        for annotation in _each(page.get("/Annots", ())):
            _renumber(annotation, "/StructParent", first)
    for element in _each(elements):
        element["/P"] = tree["/K"].raw_get(0)
    for at in range(0, len(numbers), 2):
        nums.append(generic.NumberObject(first + int(numbers[at])))
        nums.append(numbers.raw_get(at + 1))
    pages["/Kids"].extend(kids)
    pages["/Count"] = generic.NumberObject(len(pages["/Kids"]))
    top["/K"].extend(elements)
    for touched in (pages, pages["/Kids"], top, top["/K"], tree["/ParentTree"], nums):
        writer.update_container(touched)


def _each(refs: Iterable[Any]) -> Iterator[Any]:
    """The objects that an array points at."""
    return (ref.get_object() for ref in refs)


def _renumber(thing: generic.DictionaryObject, key: str, first: int) -> None:
    if key in thing:
        thing[key] = generic.NumberObject(first + int(thing[key]))


def _bundle(kids: Any, elements: Any, numbers: Any) -> generic.DictionaryObject:
    """One object to import them by: only within one import are things that point at each other copied once."""
    bundle = generic.DictionaryObject(
        {pdf_name("/Kids"): kids, pdf_name("/K"): elements, pdf_name("/Nums"): numbers}
    )
    bundle.container_ref = kids.container_ref
    return bundle


def attach(
    writer: IncrementalPdfFileWriter, name: str, content_type: str, content: bytes, words: str
) -> None:
    """Put a file into the PDF, to be found among its attachments (ISO 32000-1, 7.11.4)."""
    data = embed.EmbeddedFileObject.from_file_data(
        writer, content, mime_type=content_type, params=embed.EmbeddedFileParams()
    )
    embed.embed_file(
        writer,
        embed.FileSpec(
            file_spec_string=name,
            file_name=name,
            embedded_data=data,
            description=words,
        ),
    )
