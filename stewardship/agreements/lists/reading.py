"""From the bytes of a spreadsheet or CSV file to rows of text."""

import csv
import io
import zipfile
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from django.utils.translation import gettext as _

from stewardship.agreements.lists.sheets import SHEETS, Sheet
from stewardship.common.errors import Refused

#: [bytes] A list of a program is far smaller; more is the wrong file.
MOST_BYTES = 10_000_000
#: [bytes] A workbook is a compressed archive; what it unpacks to is held in memory.
MOST_UNPACKED = 150_000_000
#: Rows of one list.
MOST_ROWS = 20_000


@dataclass(frozen=True, slots=True)
class Row:
    """One row of a list: its line in the file (the heading is line 1) and its cells by column."""

    sheet: str
    line: int
    cells: dict[str, str]

    def __getitem__(self, column: str) -> str:
        return self.cells.get(column, "")


@dataclass(frozen=True, slots=True)
class Lists:
    """What a file holds: rows by sheet, and headings that mean nothing to us."""

    rows: dict[str, list[Row]]
    unused: dict[str, list[str]]


def read_lists(name: str, content: bytes) -> Lists:
    """The lists of a workbook (.xlsx), or the one list of a CSV file.

    Raises
    ------
    Refused : it is no such file, it is too large, no list is recognised by its headings, or a needed column is missing.
    """
    if len(content) > MOST_BYTES:
        raise Refused(
            _("The file is larger than %d MB; is it the right one?") % (MOST_BYTES // 10**6)
        )
    if content[:4] == b"PK\x03\x04":
        tables = _workbook(content)
    elif content[:8] == b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1":
        raise Refused(_("This is an old .xls workbook; save it as .xlsx or CSV and choose that."))
    else:
        tables = {name: _csv(content)}
    rows: dict[str, list[Row]] = {}
    unused: dict[str, list[str]] = {}
    for title, table in tables.items():
        lines = [(n, cells) for n, cells in enumerate(table, start=1) if any(cells)]
        if not lines:
            continue
        headings = [_plain(cell) for cell in lines[0][1]]
        sheet = _recognised(title, headings, alone=len(tables) == 1)
        if sheet is None:
            continue
        if sheet.name in rows:
            raise Refused(_("There are two lists of “%s” in the file.") % sheet.title)
        _refuse_headings(sheet, headings)
        unused[sheet.name] = [h for h in headings if h and h not in sheet.names]
        rows[sheet.name] = [
            Row(sheet.name, n, dict(zip(headings, cells, strict=False))) for n, cells in lines[1:]
        ]
        if len(rows[sheet.name]) > MOST_ROWS:
            raise Refused(
                _("More than %(most)s rows of “%(sheet)s”; cut the file in parts.")
                % {"most": MOST_ROWS, "sheet": sheet.title}
            )
    if not rows:
        raise Refused(
            _("No list is recognised. The first row has to name the columns, e.g. %s.")
            % ", ".join(SHEETS["sites"].needed)
        )
    return Lists(rows, unused)


def _plain(heading: str) -> str:
    return "_".join(heading.casefold().replace("-", " ").split())


def _recognised(title: str, headings: list[str], *, alone: bool) -> Sheet | None:
    """By the sheet's name, else by the list whose needed columns are there; of several, the one with most columns in common."""
    if _plain(title) in SHEETS:
        return SHEETS[_plain(title)]
    fitting = [s for s in SHEETS.values() if set(s.needed) <= set(headings)]
    if not fitting and alone:
        near = max(SHEETS.values(), key=lambda s: len(set(s.names) & set(headings)))
        fitting = [near] if set(near.names) & set(headings) else []
    return max(fitting, key=lambda s: len(set(s.names) & set(headings)), default=None)


def _refuse_headings(sheet: Sheet, headings: list[str]) -> None:
    missing = [name for name in sheet.needed if name not in headings]
    if missing:
        raise Refused(
            _("The list of “%(sheet)s” lacks the column %(names)s.")
            % {"sheet": sheet.title, "names": ", ".join(f"“{name}”" for name in missing)}
        )
    twice = sorted({h for h in headings if h and headings.count(h) > 1})
    if twice:
        raise Refused(
            _("The list of “%(sheet)s” has the column “%(name)s” twice.")
            % {"sheet": sheet.title, "name": twice[0]}
        )


def _csv(content: bytes) -> list[list[str]]:
    for encoding in ("utf-8-sig", "cp1252"):
        try:
            text = content.decode(encoding)
            break
        except UnicodeDecodeError:
            continue
    else:
        raise Refused(_("The file is neither a workbook nor a text file with columns."))
    if "\x00" in text:
        raise Refused(_("The file is neither a workbook nor a text file with columns."))
    first = text.split("\n", 1)[0]
    delimiter = max(",;\t", key=first.count)
    try:
        table = list(csv.reader(io.StringIO(text), delimiter=delimiter, strict=True))
    except csv.Error:
        raise Refused(
            _("The columns cannot be told apart: a quotation mark has no partner.")
        ) from None
    return [[_unguarded(cell.strip()) for cell in cells] for cells in table]


def _unguarded(cell: str) -> str:
    """Without the apostrophe that keeps a spreadsheet from running the cell as a formula (see common.lists)."""
    return cell[1:] if cell[:1] == "'" and cell[1:2] in "=+-@" and len(cell) > 1 else cell


def _workbook(content: bytes) -> dict[str, list[list[str]]]:
    from openpyxl import load_workbook  # only who reads a workbook pays for it

    broken = Refused(_("The workbook cannot be opened; save it once more as .xlsx."))
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as archive:
            if sum(part.file_size for part in archive.infolist()) > MOST_UNPACKED:
                raise Refused(
                    _("The workbook unpacks to far more than a list; is it the right one?")
                )
        book = load_workbook(io.BytesIO(content), read_only=True, data_only=True)
        return {sheet.title: list(_table(sheet)) for sheet in book.worksheets}
    except Refused:
        raise
    except Exception as error:  # the library lets through whatever its XML and zip readers raise
        raise broken from error


def _table(sheet: Any) -> Iterator[list[str]]:
    for n, cells in enumerate(sheet.iter_rows(values_only=True)):
        if n > MOST_ROWS + 1:
            break
        yield [_unguarded(_text(cell)) for cell in cells]


def _text(cell: Any) -> str:
    """A cell as somebody would type it: days in ISO form, whole numbers without a point."""
    if cell is None:
        return ""
    if isinstance(cell, datetime):
        return cell.date().isoformat()
    if isinstance(cell, date):
        return cell.isoformat()
    if isinstance(cell, float) and cell.is_integer():
        return str(int(cell))
    return str(cell).strip()
