"""How long one reading of a file lasts, told by the distances between its times."""

import re
from collections import Counter
from collections.abc import Sequence
from datetime import tzinfo as TimeZone

import numpy as np
from django.utils.translation import gettext as _

from stewardship.common.errors import Refused
from stewardship.common.written import hours_text
from stewardship.hydrology.units import IntArray
from stewardship.rain.intake.stamps import NO_CLOCK, StampReader
from stewardship.rain.times import DAY_S, HOUR_S, LONGEST_DAY_S

EVEN_SHARE = 0.3  # share of the commonest distance between stamps that makes a step
#: [s] Times of a gauge that is read once a day are further apart than this; two readings a day are not.
LEAST_DAY_APART_S = 18 * HOUR_S
#: [s] Tips are put together into readings of this length: fine enough for the shortest intensity that storms are given, and what
#: automatic gauges report; common practice, no source.
TIP_STEP_S = 300
#: share of the commonest distance that makes counted tips a column of even intervals
EVEN_TIPS_SHARE = 0.8
EVEN_LEAST_SHARE = 0.5  # and of depths that are all one tip; a smaller share makes tips of them
WHOLE_DAY = 0  # stands for a step of one day by the wall clock, 23 to 25 hours
_STEP = re.compile(r"(\d+(?:\.\d+)?)\s*(s|sec|m|min|minutes?|h|hours?|d|days?)?$")
_STEP_SECONDS = {"s": 1, "m": 60, "h": HOUR_S, "d": DAY_S}


def step_named(text: str) -> int:
    """Seconds of a step such as "15m", "1h", "1d"; WHOLE_DAY for a day; a bare number is minutes."""
    found = _STEP.match(text.strip().lower())
    step_s = float(found[1]) * _STEP_SECONDS[(found[2] or "m")[0]] if found else 0
    if step_s <= 0 or step_s != int(step_s) or step_s > DAY_S:
        raise Refused(_("“%s” is not a step of at most a day, e.g. 15m, 1h or 1d.") % text)
    return WHOLE_DAY if step_s == DAY_S else int(step_s)


def step_of(
    wish: str,
    texts: Sequence[str],
    zone: TimeZone,
    day_first: bool,
    gauge_code: str,
    daily_hour: int | None,
    usual_step_s: int | None,
) -> int:
    if wish:
        return step_named(wish)
    apart_s = apart_of(texts, zone, day_first)
    if apart_s is None:
        return WHOLE_DAY
    if daily_hour is not None:
        if apart_s.size and np.median(apart_s) < LEAST_DAY_APART_S:
            raise Refused(
                _(
                    "The times in the file are mostly %(step)s apart, and %(gauge)s is read once a day. "
                    "Is it the right gauge? If so, say how long one reading lasts, e.g. 15m, 1h or 1d."
                )
                % {
                    "step": hours_text(float(np.median(apart_s)) / HOUR_S),
                    "gauge": gauge_code,
                }
            )
        return WHOLE_DAY
    counted = Counter(apart_s.tolist())
    if not counted:
        if usual_step_s is not None:
            return usual_step_s
        raise Refused(
            _("One reading alone does not say how long it lasted. Give the step, e.g. 15m or 1h.")
        )
    step_s, times = counted.most_common(1)[0]
    if times < EVEN_SHARE * counted.total() or step_s > LONGEST_DAY_S:
        raise Refused(
            _("The times in the file are not evenly apart. Give the step, e.g. 15m or 1h.")
        )
    return int(step_s)


def apart_of(texts: Sequence[str], zone: TimeZone, day_first: bool) -> IntArray | None:
    """Distances between stamps in order of time, without those of the same time; None where there are only dates. [s]"""
    reader = StampReader(zone, day_first=day_first)
    day, clock_s, ahead_s, readable = reader.spelled(texts)
    if readable.any() and np.all(clock_s[readable] == NO_CLOCK):
        return None
    found_s, _problems = reader.instants(day, clock_s, ahead_s, readable)
    apart_s = np.diff(np.sort(found_s[readable]))
    return apart_s[apart_s > 0]


def is_even(apart_s: IntArray | None, share: float) -> bool:
    if apart_s is None or apart_s.size < 2:
        return apart_s is None
    return Counter(apart_s.tolist()).most_common(1)[0][1] > share * apart_s.size


def usual_step(wish: str, texts: Sequence[str], apart_s: IntArray | None) -> int:
    """The usual distance between the rows of a running total; they need not be even."""
    if wish:
        return step_named(wish)
    if apart_s is None:
        return WHOLE_DAY
    if not apart_s.size:
        raise Refused(_("A running total needs two rows at least; the depth is their difference."))
    usual_s = int(Counter(apart_s.tolist()).most_common(1)[0][0])
    return min(usual_s, DAY_S)
