"""What is odd about a gauge's readings, in one plain sentence, and what to do about it."""

from dataclasses import dataclass
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from stewardship.common.written import depth_text, hours_text, number_text
from stewardship.rain.choices import SuspicionKind
from stewardship.rain.models import Suspicion
from stewardship.rain.times import HOUR_S


@dataclass(frozen=True)
class Said:
    why: str
    do: str


def suspicion_words(suspicion: Suspicion, units: str) -> Said:
    """Why a stretch of a record looks wrong, with its figures, and what a coordinator can do."""
    return _SAY[SuspicionKind(suspicion.kind)](suspicion.facts, units)


def _stuck(facts: dict[str, Any], units: str) -> Said:
    said = ngettext(
        "It said dry on %(n)s day on which %(gauges)s had %(depth)s.",
        "It said dry on %(n)s days on which %(gauges)s had %(depth)s in all.",
        facts["days"],
    ) % {
        "n": facts["days"],
        "gauges": _listed(facts["gauges"]),
        "depth": depth_text(facts["near_um"], units),
    }
    odds = _("By its own past, that comes about by itself less than once in %s times.") % (
        number_text(min(int(1 / max(facts["chance"], 1e-6)), 1_000_000) // 1000 * 1000)
    )
    return Said(
        f"{said} {odds}",
        _("Look whether leaves, a nest or a cable stop it. If it was out, write that down; its dry readings then count as not known."),
    )  # fmt: skip


def _rate(facts: dict[str, Any], units: str) -> Said:
    said = _("%(depth)s within %(span)s: %(share)s %% of the most that was ever measured anywhere in so short a time.") % {
        "depth": depth_text(facts["depth_um"], units),
        "span": hours_text(facts["length_s"] / HOUR_S),
        "share": round(100 * facts["share"]),
    }  # fmt: skip
    return Said(
        said,
        _("Ask what happened there: a hose, a counter that began anew, a slip of the decimal point. A right depth for the same time replaces a wrong one."),
    )  # fmt: skip


def _streak(facts: dict[str, Any], units: str) -> Said:
    said = ngettext(
        "%(n)s wet reading says %(depth)s.",
        "%(n)s wet readings one after another say %(depth)s.",
        facts["times"],
    )
    return Said(
        said % {"n": facts["times"], "depth": depth_text(facts["depth_um"], units)},
        _("Rain does not repeat itself like that. Ask whether a number was filled in, or whether the logger hung."),
    )  # fmt: skip


def _odd(facts: dict[str, Any], units: str) -> Said:
    said = _("%(odd)s of %(of)s wet readings are no multiple of %(least)s, the least it can show.") % {
        "odd": number_text(facts["odd"]),
        "of": number_text(facts["of"]),
        "least": _fine(facts["resolution_um"], units),
    }  # fmt: skip
    return Said(
        said,
        _("Either the unit of a file was mixed up, or its least amount is written down wrong: correct its facts."),
    )  # fmt: skip


def _shifted(facts: dict[str, Any], _units: str) -> Said:
    if facts["days_late"] > 0:
        said = _("Its days fit those of %(gauges)s when they are taken a day earlier: %(fit)s %% then, %(now)s %% as written.")  # fmt: skip
    else:
        said = _("Its days fit those of %(gauges)s when they are taken a day later: %(fit)s %% then, %(now)s %% as written.")  # fmt: skip
    return Said(
        said
        % {
            "gauges": _listed(facts["gauges"]),
            "fit": round(100 * facts["fit"]),
            "now": round(100 * facts["as_written"]),
        },
        _("Ask its reader which morning they write the rain under: it belongs to the morning on which it is read."),
    )  # fmt: skip


_SAY = {
    SuspicionKind.STUCK: _stuck,
    SuspicionKind.RATE: _rate,
    SuspicionKind.STREAK: _streak,
    SuspicionKind.ODD: _odd,
    SuspicionKind.SHIFTED: _shifted,
}


def _listed(codes: list[str]) -> str:
    if len(codes) < 2:
        return "".join(codes)
    return _("%(first)s and %(last)s") % {"first": ", ".join(codes[:-1]), "last": codes[-1]}


def _fine(um: int, units: str) -> str:
    """A depth too small for two places of an inch or one of a millimetre is given in full."""
    text = depth_text(um, units) or ""
    return text if um % 254 == 0 or (units != "us" and um % 100 == 0) else f"{um / 1000:g} mm"
