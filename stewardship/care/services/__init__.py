"""Every change to duties, visits, answers and verify-contact jobs goes through these functions."""

from stewardship.care.services.asking import (
    Decided,
    change_late_news_rule,
    decide_rain_question,
    decide_rain_questions,
)
from stewardship.care.services.contacts import (
    came_back,
    close_contact_check,
    note_bounced,
    open_contact_check,
)
from stewardship.care.services.disputes import settle_dispute
from stewardship.care.services.duties import excuse_duty, follow_responsibility, withdraw_duty
from stewardship.care.services.flows import (
    Recorded,
    act_on_flow,
    record_flow,
    report_flow,
    set_aside_flow,
)
from stewardship.care.services.hand_on import walk_hand_on
from stewardship.care.services.pauses import follow_pauses
from stewardship.care.services.reminding import (
    put_to,
    remind,
    remind_again,
    send_first_reminders,
    send_new_link,
)
from stewardship.care.services.rounds import open_calendar_duties
from stewardship.care.services.silence import record_death, stop_writing
from stewardship.care.services.sweeping import sweep
from stewardship.care.services.visits import Found, TakenOut, record_answer, record_visit
from stewardship.care.services.weighing import weigh_site_rains

__all__ = [
    "Decided",
    "Found",
    "Recorded",
    "TakenOut",
    "act_on_flow",
    "came_back",
    "change_late_news_rule",
    "close_contact_check",
    "decide_rain_question",
    "decide_rain_questions",
    "excuse_duty",
    "follow_pauses",
    "follow_responsibility",
    "note_bounced",
    "open_calendar_duties",
    "open_contact_check",
    "put_to",
    "record_answer",
    "record_death",
    "record_flow",
    "record_visit",
    "remind",
    "remind_again",
    "report_flow",
    "send_first_reminders",
    "send_new_link",
    "set_aside_flow",
    "settle_dispute",
    "stop_writing",
    "sweep",
    "walk_hand_on",
    "weigh_site_rains",
    "withdraw_duty",
]
