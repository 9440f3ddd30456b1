"""The PDF of an agreement: what stands on it, gathered once as plain values, and the bytes made from that.

Its parts: `documents_sheet` (the values), `documents_facts` (who and on what terms), `documents_works` (the works); besides it
`documents_blank` (a form to fill in), `documents_as_built` (the works as they stand), `sealing` (the signed copy).
"""

from collections.abc import Sequence
from datetime import date

from django.utils import translation
from django.utils.translation import gettext as _

from people.models import Program
from stewardship.agreements import instruments
from stewardship.agreements.choices import Capacity
from stewardship.agreements.documents_facts import long_date, party_lines, terms, wording_values
from stewardship.agreements.documents_sheet import Sheet, Works, content_hash, short_hash
from stewardship.agreements.documents_works import sites_of, works_of
from stewardship.agreements.duties import CAUTIONS, USUAL_SCHEDULE, ScheduleLine, duties_of
from stewardship.agreements.models import Agreement, Wording
from stewardship.agreements.texts import blocks
from stewardship.common.pdf import render_pdf

__all__ = ["Sheet", "content_hash", "paper", "render"]

TEMPLATE = "agreements/agreement.html"


def paper(
    agreement: Agreement,
    *,
    wording: Wording,
    dated: date,
    schedule: Sequence[ScheduleLine] | None = None,
) -> Sheet:
    """Gather the sheet in the wording's language.

    Raises
    ------
    Refused : the wording holds a placeholder that means nothing.
    """
    program = Program.get()
    covers = instruments.INSTRUMENTS[agreement.instrument].covers_sites
    with translation.override(wording.language):
        parties = party_lines(agreement, on=dated)
        sites = sites_of(agreement)
        values = wording_values(agreement, program, parties, sites)
        return Sheet(
            reference=agreement.reference,
            instrument=str(agreement.get_instrument_display()),
            title=wording.title,
            language=wording.language,
            wording=str(wording.version),
            dated=long_date(dated),
            program=program.name,
            parties=tuple(parties),
            terms=tuple(terms(agreement, parties)),
            works=works_of(sites, program.units, on=dated) if covers else Works(),
            schedule=schedule_lines(schedule) if covers else (),
            duties=duty_lines(agreement.instrument),
            cautions=tuple(str(caution) for caution in CAUTIONS),
            summary=tuple(line.strip() for line in wording.summary.splitlines() if line.strip()),
            blocks=tuple(blocks(wording.body, values)),
            exhibits=exhibits(consent=_has_landlord(agreement)) if covers else (),
        )


def _has_landlord(agreement: Agreement) -> bool:
    return agreement.parties.filter(capacity=Capacity.LANDLORD, must_sign=True).exists()


def schedule_lines(
    schedule: Sequence[ScheduleLine] | None = None,
) -> tuple[tuple[str, str, str], ...]:
    """When what is due, per phase; the program's usual times unless others are given."""
    return tuple(
        (str(line.phase.label), str(line.after_rain), str(line.by_calendar))
        for line in (USUAL_SCHEDULE if schedule is None else schedule)
    )


def duty_lines(instrument: str) -> tuple[tuple[str, str, str], ...]:
    return tuple((str(duty.title), str(duty.do), str(duty.know)) for duty in duties_of(instrument))


def exhibits(*, consent: bool) -> tuple[tuple[str, str], ...]:
    """Letter and name of each exhibit. D is a paper of its own, made when the works stand."""
    return (
        ("A", _("Site")),
        ("B", _("List of works")),
        ("C", _("Duties and their times")),
        ("D", _("Works as built, added when they stand")),
        *((("E", _("Landlord’s consent")),) if consent else ()),
    )


def render(sheet: Sheet) -> bytes:
    """The sheet as a tagged PDF."""
    context = {"sheet": sheet, "short_hash": short_hash(sheet), "program": Program.get()}
    return render_pdf(TEMPLATE, context, language=sheet.language)
