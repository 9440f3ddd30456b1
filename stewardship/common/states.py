"""States as ink marks: a drop for what goes well, a heap of silt for what needs hands, a pin flag for danger, a pen
stroke for what is over.

The mark never stands alone; `{% state %}` always writes the word beside it.
"""

from typing import Any

from stewardship.common.pen import NAMES, SOFT, SOIL, WATER

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
        "acted",
        "taken",
    ),
    "begun": (
        "agreed",
        "offered",
        "sending",
        "photo",
        "estimated",
        "declared",
        "building",
        "confirmed",
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
        "new",
        "waiting",
        "looked",
    ),
    "look": ("watch", "unsure", "coarse", "disputed", "paused"),
    "act": ("act", "overdue", "failed", "refused"),
    "danger": ("unsafe",),
    "closed": (
        "retired",
        "ended",
        "excused",
        "withdrawn",
        "suppressed",
        "set_aside",
        "no",
        "undone",
    ),
    "unknown": ("not_seen", "unknown", "missing", "none"),
}
TONE_BY_STATE = {state: tone for tone, states in TONES.items() for state in states}

_DROP = "M7 1C9.200 4.400 11.500 6.600 11.500 9.700A4.500 4.500 0 0 1 2.500 9.700C2.500 6.600 4.800 4.400 7 1Z"
_HEAP = "M.8 13.200C3.400 13 4.200 5.500 7 5.500S10.600 13 13.200 13.200Z"


def _mark(colour: str, line: str, *, filled: str = "") -> str:
    """A mark of one colour: `line` drawn, `filled` drawn solid."""
    name = NAMES[colour]
    solid = f'<path class="f-{name} s-{name}" fill="{colour}" d="{filled}"/>' if filled else ""
    return (
        '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 14 15" width="13" height="14" aria-hidden="true" focusable="false">'
        f'<g class="s-{name}" fill="none" stroke="{colour}" stroke-width="1.5" stroke-linejoin="round" '
        f'stroke-linecap="round">{solid}<path d="{line}"/></g></svg>'
    )


MARKS = {
    "settled": _mark(WATER, _DROP, filled=_DROP),
    "begun": _mark(WATER, _DROP, filled="M3 10h8a4 4 0 0 1-8 0z"),
    "waiting": _mark(WATER, _DROP),
    "look": _mark(SOIL, _HEAP),
    "act": _mark(SOIL, _HEAP, filled=_HEAP),
    "danger": _mark(SOIL, "M4 14V1.500", filled="M4 1.500L12.200 5 4 8.500z"),
    "closed": _mark(SOFT, "M1.500 9.500h11"),
    "unknown": _mark(
        SOFT,
        "M4.300 6.300a4.500 4.500 0 0 1 5.400 0M11.500 9.500a4.500 4.500 0 0 1-2.500 3.600M5 13.100a4.500 4.500 0 0 1-2.500-3.600",
    ),
    "plain": _mark(
        WATER, "M7 8h.1", filled="M7 10.500a1.500 1.500 0 0 1 0-3 1.500 1.500 0 0 1 0 3z"
    ),
}


def tone_of(state: Any) -> str:
    """The tone of a state's value ("in_force", "not seen", …); "plain" for a word that has none."""
    key = str(getattr(state, "value", state)).strip().lower().replace(" ", "_").replace("-", "_")
    return TONE_BY_STATE.get(key, "plain")
