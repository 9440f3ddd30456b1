"""The duties that come with a basin, in the words in which a household is walked through them, and when they fall due.

What is done and how is common practice, no source. The times are the program's usual ones, to be edited by its care rules.
"""

from dataclasses import dataclass

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from sites.choices import Phase
from stewardship.agreements.choices import DutyGroup, InstrumentKind
from stewardship.agreements.instruments import INSTRUMENTS

Text = str | Promise


@dataclass(frozen=True, slots=True)
class Duty:
    """One group of duties: what to do, and what to know about it."""

    group: DutyGroup
    do: Text
    know: Text
    household: bool = False  # said to people who live there, not to an agency's own crews

    @property
    def title(self) -> Text:
        return self.group.label


DUTIES = (
    Duty(
        DutyGroup.LITTER,
        _("Pick up litter, and leaves where they lie on the inlet or the rock lip."),
        _("Leaves that fell among the plants may stay. Gloves; no needle or sharp by hand."),
    ),
    Duty(
        DutyGroup.INLET,
        _(
            "Pull silt, leaves and plants away from the opening in the curb so that water can run in."
        ),
        _("Stand behind the curb, not in the street. Never while water is running."),
    ),
    Duty(
        DutyGroup.TRAP,
        _(
            "Empty the sediment trap when it is half full. It is the bare pit just inside the inlet."
        ),
        _(
            "Half-fill buckets: wet silt is heavy. The program says where it goes; it does not go back into the street."
        ),
    ),
    Duty(
        DutyGroup.PLANTS,
        _("Water young plants, pull weeds before they seed, trim what hangs over the walk."),
        _(
            "No pesticides without licence and leave. Between spring and late summer look for nests before you cut."
        ),
    ),
    Duty(
        DutyGroup.STANDING,
        _("A day after rain, look whether water still stands."),
        _("If it does, tell the program. Do not dig."),
    ),
    Duty(
        DutyGroup.REPORT,
        _("Tell the program when you sell, move, rent out or cannot do it for a while."),
        _("It finds help. An honest “can’t this time” is worth more than silence."),
        household=True,
    ),
    Duty(
        DutyGroup.CAUTION,
        _(
            "Leave broken curb, sunken pavement, fuel, paint, needles and anything in the traffic lane alone, and call."
        ),
        _("Those are for the agency that owns the street. In an emergency call 911 first."),
        household=True,
    ),
)


def duties_of(instrument: str) -> tuple[Duty, ...]:
    """The duties that come with an instrument; none with a helper agreement, which moves none."""
    if not INSTRUMENTS[instrument].covers_sites:
        return ()
    if instrument == InstrumentKind.MEMORANDUM:
        return tuple(duty for duty in DUTIES if not duty.household)
    return DUTIES


#: Shown wherever people are told to work at a basin. Local code and licensed practice decide.
CAUTIONS = (
    _("Keep out of the travel lane, face the traffic, wear a high-visibility vest."),
    _("Never work in flowing water or during lightning; wait 30 minutes after the last thunder."),
    _("In heat work early, drink water, rest in the shade, and stop when you feel unwell."),
    _("Wear gloves and closed shoes. Do not pick up needles or other sharps by hand: call."),
    _("Half-fill buckets and lift with your legs; two people for what is heavy."),
    _("Have underground lines marked before you dig deeper than scraping silt."),
    _("Silt with a sheen, colour or fuel smell is not yours to handle: leave it and call."),
    _("Where local code or a licensed professional says otherwise, follow them."),
)


@dataclass(frozen=True, slots=True)
class ScheduleLine:
    """When what is due in one phase of the planting."""

    phase: Phase
    after_rain: Text
    by_calendar: Text


#: Where no care rules are set: need falls as plants outgrow the water line (common practice, no source).
USUAL_SCHEDULE = (
    ScheduleLine(
        Phase.SETTLING_IN, _("each storm that the program writes to you about"), _("once a month")
    ),
    ScheduleLine(
        Phase.ESTABLISHING,
        _("each storm that the program writes to you about"),
        _("every two months while things grow"),
    ),
    ScheduleLine(
        Phase.SETTLED, _("each storm that the program writes to you about"), _("once a quarter")
    ),
)
