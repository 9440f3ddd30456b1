"""How an uploaded file is understood, shown to a person: in words, as its first rows, with what should make one look twice."""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime

from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from people.models import Program
from stewardship.common.errors import Refused
from stewardship.common.written import day_text, depth_text, number_text
from stewardship.rain.intake.csvfile import SAMPLE_ROWS, first_lines, text_of
from stewardship.rain.intake.filestore import stored
from stewardship.rain.intake.ingest import FileAtHand, at_hand
from stewardship.rain.intake.layout import Wishes
from stewardship.rain.intake.rehearsal import Found, GaugeFound
from stewardship.rain.intake.understanding import LEAST_ZEROS
from stewardship.rain.intake.understood import Understanding, UnderstoodRow
from stewardship.rain.models import ReadingFile, instant
from stewardship.rain.models.readings import amount_words

SHOWN_ROWS = 12
SHOWN_TEXT = 90  # characters of a row as written
#: Lines that are read for the first rows; a file whose first lines are of other gauges is read on.
_FIRST_LINES = 60
#: [µm] 250 mm (9.8 in) within a day: in most towns rarer than once in a century, and what 10 mm is if taken for inches. Our choice.
MUCH_IN_A_DAY_UM = 250_000


@dataclass(frozen=True)
class PreviewRow:
    """One reading as understood, beside what is written in its line."""

    row: UnderstoodRow
    text: str
    words: str  # the depth in the program's units, or the kind

    @property
    def start_at(self) -> datetime:
        return instant(self.row.start_s)

    @property
    def end_at(self) -> datetime:
        return instant(self.row.end_s)


@dataclass(frozen=True)
class Preview:
    """How a file is understood; `refusal` is why it is not, and the rest then says only what is sure."""

    words: str = ""
    columns: Sequence[str] = ()
    guesses: Wishes = field(default_factory=Wishes)
    rows: Sequence[PreviewRow] = ()
    refusal: str = ""


def preview_of(file: ReadingFile) -> Preview:
    """Understand a file from its first lines, as its person says. Reads the database, writes nothing."""
    program = Program.get()
    wishes = Wishes(**file.wishes)
    with timezone.override(program.tz):
        try:
            with at_hand(stored(file), gauge=file.gauge, wishes=wishes, program=program) as read:
                found = read.found
                rows = _first_rows(read, program.units)
        except Refused as refusal:
            return Preview(refusal=str(refusal))
    return Preview(
        words=found.words(), columns=found.columns, guesses=_merged(wishes, found), rows=rows
    )


def _merged(wishes: Wishes, found: Understanding) -> Wishes:
    """What was said, and for the rest what was found."""
    said = {name: value for name, value in vars(wishes).items() if value}
    return replace(found.guesses, **said)


def _first_rows(read: FileAtHand, units: str) -> list[PreviewRow]:
    with text_of(read.content, read.encoding) as text:
        lines = first_lines(text, read.found.skip + _FIRST_LINES)
        rows = read.found.rows_read(lines)
        if not rows:
            lines += first_lines(text, SAMPLE_ROWS)
            rows = read.found.rows_read(lines)
    return [
        PreviewRow(
            row,
            lines[row.line - 1].strip()[:SHOWN_TEXT],
            amount_words(row.kind, row.depth_um, units),
        )
        for row in rows[:SHOWN_ROWS]
    ]


def warnings_of(found: Found, units: str) -> list[str]:
    """What should make a person look twice before saying yes, in sentences."""
    said = [sentence for one in found.gauges for sentence in _of_gauge(one, units)]
    rejected, rows = found.total("rejected"), _rows(found)
    if rejected * 2 >= rows > 0 and not found.refusal:
        said.insert(
            0,
            _("Half of the rows or more would not be taken in. Is the layout right?"),
        )
    return said


def _rows(found: Found) -> int:
    return sum(one.added + one.same + one.corrected + one.rejected for one in found.gauges)


def _of_gauge(one: GaugeFound, units: str) -> list[str]:
    said = []
    if one.in_future:
        said.append(
            ngettext(
                "%(n)s row for %(gauge)s ends after now. Is the order of the dates, or the time zone, another one?",
                "%(n)s rows for %(gauge)s end after now. Is the order of the dates, or the time zone, another one?",
                one.in_future,
            )
            % {"n": number_text(one.in_future), "gauge": one.code}
        )
    if one.wettest_um > MUCH_IN_A_DAY_UM:
        said.append(
            _("%(gauge)s would have %(depth)s on %(day)s, which is hardly ever seen. Is the unit right?")
            % {
                "gauge": one.code,
                "depth": depth_text(one.wettest_um, units),
                "day": day_text(one.wettest),
            }
        )  # fmt: skip
    if one.known >= LEAST_ZEROS and one.depth_um == 0:
        said.append(
            _("%s would be dry all the time. Was it, or is a missing value written as 0?") % one.code
        )  # fmt: skip
    other = one.stored - one.same - one.corrected
    if other > 0:
        said.append(
            ngettext(
                "Of that time the book has %(n)s reading of %(gauge)s of which the file says nothing.",
                "Of that time the book has %(n)s readings of %(gauge)s of which the file says nothing.",
                other,
            )
            % {"n": number_text(other), "gauge": one.code}
        )
    return said
