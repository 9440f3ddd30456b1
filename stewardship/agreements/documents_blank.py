"""A blank form of an instrument: the same wording and exhibits with fields in place of names, places and measures.

Fields can be filled in on a machine or printed and written on. Nothing of it is kept: what comes back on paper is typed in.
"""

from dataclasses import dataclass

from django.utils import translation
from django.utils.translation import gettext as _

from people.models import Program
from sites.choices import InletKind
from stewardship.agreements.choices import Capacity, InstrumentKind, NoticeWay
from stewardship.agreements.documents import duty_lines, schedule_lines
from stewardship.agreements.documents_facts import contact_words, term_words
from stewardship.agreements.documents_sheet import short_hash
from stewardship.agreements.duties import CAUTIONS
from stewardship.agreements.instruments import INSTRUMENTS
from stewardship.agreements.models import Wording
from stewardship.agreements.texts import Block, blocks
from stewardship.common.pdf import render_pdf
from stewardship.common.written import US

TEMPLATE = "agreements/blank.html"
SIGNERS, BASINS = 4, 3  # rows; more go on a second form


@dataclass(frozen=True, slots=True)
class Blank:
    """What stands on the form, in the wording's language. `capacities` and the like: value and words of each choice."""

    instrument: str
    title: str
    language: str
    wording: str
    program: str
    summary: tuple[str, ...]
    blocks: tuple[Block, ...]
    capacities: tuple[tuple[str, str], ...]
    term: str
    cure_days: int
    ways: tuple[tuple[str, str], ...]
    covers: bool
    consent: bool
    inlets: tuple[tuple[str, str], ...]
    area: str
    length: str
    schedule: tuple[tuple[str, str, str], ...]
    duties: tuple[tuple[str, str, str], ...]
    cautions: tuple[str, ...]


def blank_form(wording: Wording) -> bytes:
    """The form as a tagged PDF with fields, in the wording's language and the program's units.

    Raises
    ------
    Refused : the wording holds a placeholder that means nothing.
    """
    program = Program.get()
    with translation.override(wording.language):
        sheet = _sheet(wording, program)
    context = {
        "sheet": sheet,
        "short_hash": short_hash(sheet),
        "program": program,
        "signers": range(1, SIGNERS + 1),
        "basins": range(1, BASINS + 1),
    }
    return render_pdf(TEMPLATE, context, language=wording.language, fillable=True)


def _sheet(wording: Wording, program: Program) -> Blank:
    rules = INSTRUMENTS[wording.instrument]
    return Blank(
        instrument=str(InstrumentKind(wording.instrument).label),
        title=wording.title,
        language=wording.language,
        wording=str(wording.version),
        program=program.name,
        summary=tuple(line.strip() for line in wording.summary.splitlines() if line.strip()),
        blocks=tuple(blocks(wording.body, _values(wording, program))),
        capacities=tuple((one, str(Capacity(one).label)) for one in rules.capacities),
        term=term_words(wording.instrument),
        cure_days=rules.cure_days,
        ways=tuple((way.value, str(way.label)) for way in NoticeWay),
        covers=rules.covers_sites,
        consent=Capacity.LANDLORD in rules.capacities,
        inlets=tuple((kind.value, str(kind.label)) for kind in InletKind),
        area=_("ft²") if program.units == US else _("m²"),
        length=_("in") if program.units == US else _("cm"),
        schedule=schedule_lines() if rules.covers_sites else (),
        duties=duty_lines(wording.instrument),
        cautions=tuple(str(caution) for caution in CAUTIONS),
    )


def _values(wording: Wording, program: Program) -> dict[str, str]:
    """Each placeholder says where on the form its facts are written."""
    return {
        "program": program.name,
        "town": program.town,
        "contact": contact_words(program),
        "parties": _("the people named under “Who signs”"),
        "sites": _("the places named under “What this covers”"),
        "reference": _("numbered as on the first page"),
        "begins": _("the day named under “Settled for this agreement”"),
        "term": term_words(wording.instrument),
        "cure_days": str(INSTRUMENTS[wording.instrument].cure_days),
    }
