"""The chain of responsible parties as a picture: one row per holder and role, bars over time, gaps, pauses, disputes.

Rows are dataclasses with places on a line of 1000 units; templates/agreements/chain.html draws them, with the words beside.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta

from django.utils.translation import gettext as _

from sites.choices import Stage
from sites.models import Site
from stewardship.agreements.choices import PauseKind, ResponsibilityRole
from stewardship.agreements.models import Dispute, Pause, Responsibility

#: Length of the line of time. [drawing units]
LINE = 1000
#: Most years that are named on the line.
MOST_MARKS = 6

Span = tuple[date, date | None]


@dataclass(frozen=True)
class Bar:
    """One stretch of time on the line: from `x`, `width` long. [drawing units]"""

    x: float
    width: float


@dataclass
class Row:
    """One holder in one role, or a gap, pause or dispute. `tone` picks the ink; `link` is a row of `chain.html`'s."""

    tone: str
    words: str
    spans: list[Span]
    held: Responsibility | None = None
    bars: list[Bar] = field(default_factory=list)


@dataclass(frozen=True)
class Mark:
    """A new year, or another day that is named. `percent`: its place on the line."""

    x: float
    percent: float
    words: str


@dataclass(frozen=True)
class Chain:
    """`on_x` is the place of the day that was asked for; `said` what held on that day, in words."""

    rows: list[Row]
    marks: list[Mark]
    on_x: float
    said: str
    gaps: list[Span]
    first: date
    last: date


_ORDER = {
    ResponsibilityRole.DOES: 0,
    ResponsibilityRole.TOLD: 2,
    ResponsibilityRole.INSPECTS: 3,
}


def site_chain(
    site: Site,
    held: Sequence[Responsibility],
    *,
    on: date,
    today: date,
    pauses: Iterable[Pause] = (),
    disputes: Iterable[Dispute] = (),
) -> Chain | None:
    """The chain of one site, with the times in which nobody did the work. None: there is nothing to show."""
    gaps = nobody_spans(site, held, today=max(on, today))
    rows = _rows_of(held)
    if gaps:
        rows.append(Row("nobody", _("Nobody"), gaps))
    for pause in pauses:
        span = (pause.starts_on, pause.ends_on)
        if pause.kind == PauseKind.WORKS:
            words = _("The site rests")
        elif pause.cover:
            words = _("%(who)s cannot; covered by %(cover)s") % {
                "who": pause.person,
                "cover": pause.cover,
            }
        else:
            words = _("%s cannot; nobody covers") % pause.person
        rows.append(Row("paused", words, [span]))
    rows += [
        Row("disputed", _("Disputed"), [(dispute.opened_on, dispute.closed_on)])
        for dispute in disputes
    ]
    said = _said(held, on=on, gap=any(holds(span, on) for span in gaps))
    return _placed(rows, gaps, said, on=on, today=today)


def agreement_chain(held: Sequence[Responsibility], *, on: date, today: date) -> Chain | None:
    """What was and is owed under one agreement; sites stand in the rows' words. None: nothing yet."""
    return _placed(_rows_of(held, with_site=True), [], "", on=on, today=today)


def holds(span: Span, day: date) -> bool:
    return span[0] <= day and (span[1] is None or day < span[1])


def nobody_spans(site: Site, held: Iterable[Responsibility], *, today: date) -> list[Span]:
    """Times since the site was built in which nobody did the work; until it was retired, else open at the end."""
    if site.built_on is None or site.built_on > today:
        return []
    end = site.retired_on if site.stage == Stage.RETIRED else None
    spans = sorted(
        (row.starts_on, row.ends_on or date.max)
        for row in held
        if row.role == ResponsibilityRole.DOES and row.ends_on != row.starts_on
    )
    gaps, day = [], site.built_on
    for starts, ends in spans:
        if starts > day:
            gaps.append((day, min(starts, end) if end else starts))
        day = max(day, ends)
        if end and day >= end:
            break
    if day <= today and (end is None or day < end):
        gaps.append((day, end))
    return [span for span in gaps if span[1] is None or span[0] < span[1]]


def _rows_of(held: Iterable[Responsibility], *, with_site: bool = False) -> list[Row]:
    """One row per holder, role and part, in the order in which the work is told: who does it, who is told, who inspects."""
    rows: dict[tuple, Row] = {}
    for one in sorted(held, key=lambda row: (_ORDER[row.role], row.starts_on, row.pk)):
        if one.ends_on == one.starts_on:
            continue  # it never held
        key = (one.role, type(one.holder), one.holder.pk, one.part, one.site_id if with_site else 0)
        if key not in rows:
            words = [str(one.holder), str(one.get_role_display()).lower()]
            words += [one.part] if one.part else []
            words += [one.site.code] if with_site else []
            tone = "does" if one.role == ResponsibilityRole.DOES else "besides"
            rows[key] = Row(tone, ", ".join(words), [], held=one)
        rows[key].spans.append((one.starts_on, one.ends_on))
    return list(rows.values())


def _said(held: Sequence[Responsibility], *, on: date, gap: bool) -> str:
    now = [row for row in held if holds((row.starts_on, row.ends_on), on)]
    said = [
        _("%(who)s: %(role)s") % {"who": row.holder, "role": str(row.get_role_display()).lower()}
        for row in sorted(now, key=lambda row: (_ORDER[row.role], row.pk))
    ]
    if gap:
        said.insert(0, _("nobody did the work"))
    return "; ".join(said) or _("nobody was responsible")


def _placed(rows: list[Row], gaps: list[Span], said: str, *, on: date, today: date) -> Chain | None:
    """Put the rows' bars on a line that reaches from the first day to a little beyond today."""
    if not rows:
        return None
    first = min([on, *(start for row in rows for start, _end in row.spans)])
    last = max([on, today, *(start for row in rows for start, _end in row.spans)])
    last += timedelta(days=max(14, (last - first).days // 12))
    days = (last - first).days

    def x(day: date) -> float:
        return round(min(max((day - first).days / days, 0), 1) * LINE, 1)

    for row in rows:
        row.bars = [
            Bar(x(start), max(2.0, x(min(end or last, last)) - x(start)))
            for start, end in row.spans
        ]
    years = range(first.year + 1, last.year + 1)
    step = -(-len(years) // MOST_MARKS) or 1
    marks = [
        Mark(x(date(year, 1, 1)), x(date(year, 1, 1)) * 100 / LINE, str(year))
        for year in years[::step]
    ]
    return Chain(rows, marks, x(on), said, gaps, first, last)
