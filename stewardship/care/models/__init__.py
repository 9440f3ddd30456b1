"""When what is due, who was told, what really happened: rules, duties, reminders, answers, visits, findings."""

from stewardship.care.models.duties import (
    Answer,
    CareRule,
    Duty,
    DutyEvent,
    HandOnStep,
    Reminder,
)
from stewardship.care.models.flows import FlowReport, LateNewsRule
from stewardship.care.models.questions import ContactCheck, RainQuestion
from stewardship.care.models.visits import CleanOut, Finding, Visit

__all__ = [
    "Answer",
    "CareRule",
    "CleanOut",
    "ContactCheck",
    "Duty",
    "DutyEvent",
    "Finding",
    "FlowReport",
    "HandOnStep",
    "LateNewsRule",
    "RainQuestion",
    "Reminder",
    "Visit",
]
