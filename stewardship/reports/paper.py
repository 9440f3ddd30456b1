"""A report's figures as words and numbers for people, for the PDF and for the page of an issued report."""

from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from people.models import Program
from stewardship.common.written import depth_text, number_text, volume_text
from stewardship.reports.chart import storms_chart
from stewardship.reports.duties import written
from stewardship.reports.figures import Figure, Figures

#: Figures whose rows are printed behind the report: what somebody may ask about one by one.
PRINTED_ROWS = ("wanting", "follow_ups", "duties_overdue", "unknown")


def value_text(value: float | None, unit: str, units: str) -> str:
    """A figure's value with its unit, in the program's units; "–" for none."""
    if value is None:
        return "–"
    if unit == "litres":
        return volume_text(value / 1000, units, bulk=True)
    if unit == "m3":
        return volume_text(value, units)
    if unit == "hours":
        return _("%s h") % number_text(value, 1)
    if unit == "days":
        places = 0 if float(value).is_integer() else 1
        return ngettext("%s day", "%s days", 1 if value == 1 else 2) % number_text(value, places)
    return number_text(value)


@dataclass(frozen=True)
class Line:
    """One figure as it is printed."""

    key: str
    label: str
    text: str
    estimated: bool
    note: str


def line_of(figure: Figure, units: str) -> Line:
    missing = figure.without_amount
    note = (
        ngettext(
            "%s visit without its time is not in it",
            "%s visits without their time are not in it",
            missing,
        )
        % missing
        if figure.unit == "hours" and missing
        else ""
    )
    return Line(
        figure.key,
        str(figure.label),
        value_text(figure.value, figure.unit, units),
        figure.basis == "estimate",
        note,
    )


def paper_context(figures: Figures, *, program: Program, made_at: datetime) -> dict[str, Any]:
    """What `reports/yearly.html` shows. The language of the report is active."""
    units = program.units
    period = figures.period
    return {
        "program": program,
        "figures": figures,
        "period": period,
        "starts_on": written(period.starts_on),
        "ends_on": written(period.ends_on),
        "as_of": written(period.as_of),
        "made_at": made_at,
        "headline": [
            (_("sites built"), figures.value("built")),
            (_("agreement in force"), figures.value("in_force")),
            (_("looked at"), figures.value("looked_at")),
            (_("unknown"), figures.value("unknown")),
        ],
        "sentences": _sentences(figures),
        "groups": [
            (str(group.title), [line_of(figure, units) for figure in group.figures])
            for group in figures.groups
        ],
        "by_agency": figures.by_agency,
        "by_site": [
            (
                line,
                _day(line.agreement_ends_on),
                _day(line.last_look_on),
                value_text(line.litres, "litres", units),
            )
            for line in figures.by_site
        ],
        "storms": [(line, written(line.day)) for line in figures.storms],
        "storms_svg": _storms_svg(figures, units),
        "thresholds": [depth_text(um, units) for um in figures.thresholds_um],
        "printed_rows": [
            (str(figure.label), [(_day(row.day), row.site, row.what) for row in figure.rows])
            for figure in map(figures.figure, PRINTED_ROWS)
            if figure.rows
        ],
    }


def _day(day: date | None) -> str:
    return written(day) if day else ""


def _storms_svg(figures: Figures, units: str) -> str:
    if not figures.storms:
        return ""
    return storms_chart(
        [line.day for line in figures.storms],
        [line.greatest_um for line in figures.storms],
        starts_on=figures.period.starts_on,
        ends_on=figures.period.as_of,
        threshold_um=min(figures.thresholds_um, default=None),
        units=units,
    )


def _sentences(figures: Figures) -> list[str]:
    """The report in a few lines; numbers stand behind their words, so that one and many read alike."""
    value = figures.value
    said = [
        _("Built on the last day: %(built)s; of these under an agreement in force: %(in_force)s.")
        % {"built": value("built"), "in_force": value("in_force")},
        _(
            "Looked at in the period: %(seen)s. Last seen by an inspector: %(inspected)s, with a photo: %(photo)s, "
            "by report alone: %(reported)s."
        )
        % {
            "seen": value("looked_at"),
            "inspected": value("looked_at_inspected"),
            "photo": value("looked_at_photo"),
            "reported": value("looked_at_reported"),
        },
    ]
    if value("wanting") or value("follow_ups"):
        said.append(
            _(
                "Found wanting: %(wanting)s. Follow-ups opened: %(count)s; put right in time: %(met)s, late: %(late)s, "
                "overdue: %(overdue)s."
            )
            % {
                "wanting": value("wanting"),
                "count": value("follow_ups"),
                "met": value("follow_ups_met"),
                "late": value("follow_ups_met_late"),
                "overdue": value("follow_ups_overdue"),
            }
        )
    else:
        said.append(_("Nothing was found wanting."))
    if value("unknown"):
        said.append(
            _("Unknown, because nobody looked within %(days)s days before the last one: %(count)s.")
            % {"days": figures.known_for_days, "count": value("unknown")}
        )
    else:
        said.append(_("No site is unknown."))
    return said
