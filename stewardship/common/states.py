"""States as ink marks: a drop for what goes well, a heap of silt for what needs hands, a pin flag for danger, a pen
stroke for what is over.

The mark never stands alone; `{% state %}` always writes the word beside it.
"""

from typing import Any

TONES: dict[str, tuple[str, ...]] = {
    "settled": (
        "good",
        "met",
        "in_force",
        "built",
        "sent",
        "inspected",
        "known",
        "measured",
        "signed",
        "yes",
        "ready",
    ),
    "begun": (
        "agreed",
        "offered",
        "sending",
        "photo",
        "estimated",
        "accepted",
        "building",
        "representative",
    ),
    "waiting": (
        "proposed",
        "draft",
        "open",
        "queued",
        "held",
        "reported",
        "possible",
        "requested",
        "due",
    ),
    "look": ("watch", "unsure", "coarse", "late_rain"),
    "act": ("act", "overdue", "failed", "refused"),
    "danger": ("unsafe",),
    "closed": ("retired", "ended", "excused", "withdrawn", "suppressed", "paused", "amended", "no"),
    "unknown": ("not_seen", "unknown", "missing", "none"),
}
TONE_BY_STATE = {state: tone for tone, states in TONES.items() for state in states}

_DROP = "M7 1C9.200 4.400 11.500 6.600 11.500 9.700A4.500 4.500 0 0 1 2.500 9.700C2.500 6.600 4.800 4.400 7 1Z"
_HEAP = "M.8 13.200C3.400 13 4.200 5.500 7 5.500S10.600 13 13.200 13.200Z"


def _svg(inner: str) -> str:
    return (
        '<svg viewBox="0 0 14 15" width="13" height="14" aria-hidden="true" focusable="false" fill="none" '
        f'stroke="currentColor" stroke-width="1.5" stroke-linejoin="round" stroke-linecap="round">{inner}</svg>'
    )


MARKS = {
    "settled": _svg(f'<path fill="currentColor" d="{_DROP}"/>'),
    "begun": _svg(
        f'<path d="{_DROP}"/><path fill="currentColor" stroke="none" d="M2.500 9a4.500 5 0 0 0 9 0z"/>'
    ),
    "waiting": _svg(f'<path d="{_DROP}"/>'),
    "look": _svg(f'<path d="{_HEAP}"/>'),
    "act": _svg(f'<path fill="currentColor" d="{_HEAP}"/>'),
    "danger": _svg('<path fill="currentColor" d="M4 14V1.500L12.200 5 4 8.500"/>'),
    "closed": _svg('<path d="M1.500 9.500h11"/>'),
    "unknown": _svg('<circle cx="7" cy="9" r="4.600" stroke-dasharray="1.600 2.200"/>'),
    "plain": _svg('<circle cx="7" cy="9" r="2" fill="currentColor"/>'),
}


def tone_of(state: Any) -> str:
    """The tone of a state's value ("in_force", "not seen", …); "plain" for a word that has none."""
    key = str(getattr(state, "value", state)).strip().lower().replace(" ", "_").replace("-", "_")
    return TONE_BY_STATE.get(key, "plain")
