"""A file of readings as text: opened, checked to be text, and cut into rows with the line each stands on."""

import codecs
import csv
import hashlib
import io
import os
import re
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import BinaryIO

from django.utils.translation import gettext as _

from stewardship.common.errors import Refused

BLOCK_BYTES = 1 << 20
LONGEST_LINE = 20_000  # a row of readings is far shorter; more is no table
DELIMITERS = (
    ";",
    "\t",
    "|",
    ",",
)  # the comma last: it may be a decimal comma in a file cut by another
SAMPLE_ROWS = 5_000
_SIGNATURES = {
    b"PK\x03\x04": _(
        "The file is a spreadsheet or archive, not text. Save the table as CSV and take that file."
    ),
    b"\xd0\xcf\x11\xe0": _(
        "The file is a spreadsheet or archive, not text. Save the table as CSV and take that file."
    ),
    b"%PDF": _("The file is a PDF, not a table. Ask for the readings as CSV."),
}

_WEB_PAGE = re.compile(rb"(\xef\xbb\xbf)?\s*<(!doctype|html|\?xml)", re.IGNORECASE)

#: One row: the line it stands on, its cells, and what is wrong with the line itself ("" if nothing).
Row = tuple[int, list[str], str]


class NoTable(Refused):
    """The file is no table of text at all; nothing that a person says of its layout can help."""


@contextmanager
def opened(content: bytes | str | os.PathLike[str] | BinaryIO) -> Iterator[BinaryIO]:
    """The content as a binary file at its beginning."""
    if isinstance(content, bytes):
        yield io.BytesIO(content)
    elif isinstance(content, str | os.PathLike):
        try:
            with Path(content).open("rb") as file:
                yield file
        except FileNotFoundError:
            raise Refused(_("There is no file “%s”.") % content) from None
        except (IsADirectoryError, PermissionError):
            raise Refused(_("“%s” cannot be read as a file.") % content) from None
    else:
        content.seek(0)
        yield content


def encoding_and_digest(file: BinaryIO) -> tuple[str, "hashlib._Hash"]:
    """How the file's text is encoded, and the SHA-256 of its bytes. Refuses what is empty or no text."""
    digest = hashlib.sha256()
    utf8 = codecs.getincrementaldecoder("utf-8")()
    encoding = "utf-8-sig"
    wide = False
    first = True
    while block := file.read(BLOCK_BYTES):
        digest.update(block)
        if first:
            _refuse_what_is_no_text(block)
            wide = block.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE))
            first = False
        if wide:
            encoding = "utf-16"
            continue
        if b"\x00" in block:
            raise NoTable(_("The file is not text. Readings come as CSV."))
        if encoding == "utf-8-sig":
            try:
                utf8.decode(block)
            except UnicodeDecodeError:
                encoding = "cp1252"
    if first:
        raise NoTable(_("The file is empty."))
    file.seek(0)
    return encoding, digest


def _refuse_what_is_no_text(block: bytes) -> None:
    for signature, sentence in _SIGNATURES.items():
        if block.startswith(signature):
            raise NoTable(sentence)
    if _WEB_PAGE.match(block[:200]):
        raise NoTable(_("The file is a web page, not a table. Ask for the readings as CSV."))


@contextmanager
def text_of(file: BinaryIO, encoding: str) -> Iterator[io.TextIOWrapper]:
    """The file as text from its beginning; it stays open afterwards."""
    file.seek(0)
    text = io.TextIOWrapper(file, encoding=encoding, errors="replace")
    try:
        yield text
    finally:
        text.detach()


def first_lines(text: io.TextIOWrapper, most: int) -> list[str]:
    """The first lines. Refuses text that is not in lines."""
    lines: list[str] = []
    while len(lines) < most and (line := text.readline(LONGEST_LINE)):
        if len(line) == LONGEST_LINE and not line.endswith("\n"):
            raise NoTable(
                _("The file is not a table: it has lines of more than 20,000 characters.")
            )
        lines.append(line)
    return lines


def find_delimiter(lines: list[str]) -> str:
    """What stands between the cells: the sign that cuts most lines into the same number of cells, two at least."""
    best, best_score = "", (0, 0)
    filled = [line for line in lines[:500] if line.strip()]
    for delimiter in DELIMITERS:
        counts = [len(cells) for _line, cells, _wrong in cut(filled, delimiter, 1)]
        usual = max(set(counts), key=lambda n: (counts.count(n), n)) if counts else 0
        score = (counts.count(usual), usual)
        if usual > 1 and score > best_score:
            best, best_score = delimiter, score
    if not best:
        raise NoTable(
            _(
                "The file is not a table: its lines are not divided by commas, semicolons, tabs or bars."
            )
        )
    return best


def cut(lines: list[str], delimiter: str, first_line: int) -> list[Row]:
    """Lines as rows, without lines that hold nothing. Each line is one row, so that a stray quotation mark spoils its own line only."""
    nothing = delimiter + ' \t\r\n"'
    filled = [(n, line) for n, line in enumerate(lines, start=first_line) if line.strip(nothing)]
    if not any('"' in line for _n, line in filled):
        return [(n, line.split(delimiter), "") for n, line in filled]
    rows = list(csv.reader((line for _n, line in filled), delimiter=delimiter))
    if len(rows) == len(filled) and not any(line.count('"') & 1 for _n, line in filled):
        return [(n, cells, "") for (n, _line), cells in zip(filled, rows, strict=True)]
    return [_one(n, line, delimiter) for n, line in filled]


def _one(number: int, line: str, delimiter: str) -> Row:
    if line.count('"') & 1:
        return number, [line], _("A quotation mark has no partner.")
    return number, next(csv.reader([line], delimiter=delimiter), []), ""
