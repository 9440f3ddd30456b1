"""One pass over all that time and rain bring about. Running it twice, or twice at once, does nothing twice."""

import logging
from collections.abc import Callable
from datetime import datetime

from people.models import Program
from stewardship.care.services.contacts import note_bounced
from stewardship.care.services.duties import follow_responsibility
from stewardship.care.services.hand_on import walk_hand_on
from stewardship.care.services.pauses import follow_pauses
from stewardship.care.services.reminding import send_first_reminders
from stewardship.care.services.rounds import open_calendar_duties
from stewardship.care.services.silence import stop_letters_of_silent
from stewardship.care.services.weighing import weigh_site_rains

log = logging.getLogger(__name__)


def sweep(*, at: datetime) -> dict[str, int]:
    """Stop letters, weigh rain, open rounds, follow responsibility and pauses, tell people, walk hand-on steps. Returns how much each part did.

    A part that fails is logged and left out of the result; the others run.
    """
    on = at.astimezone(Program.get().tz).date()
    parts: dict[str, Callable[[], int]] = {
        "stopped": stop_letters_of_silent,
        "weighed": lambda: weigh_site_rains(on=on),
        "rounds": lambda: open_calendar_duties(on=on),
        "handed_over": lambda: follow_responsibility(on=on),
        "paused": lambda: follow_pauses(on=on),
        "bounced": lambda: note_bounced(on=on),
        "letters": lambda: send_first_reminders(at=at),
        "steps": lambda: walk_hand_on(on=on, at=at),
    }
    done = {}
    for name, part in parts.items():
        try:
            done[name] = part()
        except Exception:
            log.exception("Sweep of duties: %s failed", name)
    return done
