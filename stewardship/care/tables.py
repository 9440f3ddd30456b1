from datetime import date, datetime

import django_tables2 as tables
from django.urls import reverse
from django.utils.html import format_html
from django.utils.translation import gettext_lazy as _

from people.models import Program
from stewardship.care.choices import AnswerKind, DutyState, RainAsk, RainDecision
from stewardship.care.models import Duty, RainQuestion
from stewardship.care.services.book import last_day_of
from stewardship.care.words import reason_text
from stewardship.common.templatetags.ui import day, state
from stewardship.common.written import day_text, depth_text, moment_text
from stewardship.outbox.choices import Status


class DutyTable(tables.Table):
    """Duties with who owes them, who was told and what they answered."""

    caption = _("Duties")
    exportable = True

    due_on = tables.Column(verbose_name=_("Due"))
    site = tables.LinkColumn(
        "care:duty",
        args=[tables.A("pk")],
        accessor="site__code",
        verbose_name=_("Duty at site"),
    )
    state = tables.Column(verbose_name=_("State"))
    why = tables.Column(empty_values=(), orderable=False, verbose_name=_("Why"))
    owed_by = tables.Column(empty_values=(), orderable=False, verbose_name=_("Owed by"))
    told = tables.Column(accessor="told_status", empty_values=(), verbose_name=_("Told"))
    answer = tables.Column(accessor="answer_kind", empty_values=(), verbose_name=_("Answer"))
    list = tables.Column(
        accessor="needs_person_why", empty_values=(), verbose_name=_("Needs a person")
    )
    opened_on = tables.Column(visible=False)
    closed_on = tables.Column(visible=False, default="")

    class Meta:
        model = Duty
        fields = ["due_on", "site", "state", "why", "owed_by", "told", "answer", "list"]
        empty_text = _("No duty fits.")
        order_by = ("due_on", "pk")

    def __init__(self, *args, today: date, units: str, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        self.today, self.units = today, units

    def render_due_on(self, value: date) -> str:
        return day(value)

    def value_due_on(self, value: date) -> str:
        return value.isoformat()

    value_opened_on = value_closed_on = value_due_on

    def render_state(self, record: Duty) -> str:
        if record.state == "open" and record.disputed_since:
            return state("disputed", _("Open, disputed"))
        if record.state == "open" and record.due_on < self.today:
            return state("overdue", _("Open, late"))
        return state(record.state, record.get_state_display())

    def value_state(self, record: Duty) -> str:
        if record.state == "open" and record.disputed_since:
            return _("Open, disputed")
        return record.get_state_display()

    def render_why(self, record: Duty) -> str:
        return reason_text(record.reason, self.units)

    def render_owed_by(self, record: Duty) -> str:
        return str(record.owed_by.holder) if record.owed_by else _("nobody")

    def render_told(self, record: Duty) -> str:
        if record.told_status is None:
            return _("not yet") if record.state == DutyState.OPEN else "–"
        return state(record.told_status, Status(record.told_status).label)

    def value_told(self, record: Duty) -> str:
        return Status(record.told_status).label if record.told_status else ""

    def render_answer(self, record: Duty) -> str:
        return AnswerKind(record.answer_kind).label if record.answer_kind else _("none")

    def render_list(self, record: Duty) -> str:
        return self.value_list(record) or "–"

    def value_list(self, record: Duty) -> str:
        # A closed duty keeps why it was on the list; nobody has to act on it any more.
        return record.get_needs_person_why_display() if record.state == DutyState.OPEN else ""


class DecisionTable(tables.Table):
    """What was decided about late rain: by whom, why, and what followed."""

    caption = _("Decisions about late rain")
    exportable = True

    decided_at = tables.Column(verbose_name=_("Decided"))
    site = tables.LinkColumn(
        "site",
        args=[tables.A("site__code")],
        accessor="site__code",
        verbose_name=_("Site"),
        attrs={"td": {"class": "nowrap"}},
    )
    storm = tables.LinkColumn(
        "storm",
        args=[tables.A("storm_id")],
        accessor="storm__end_s",
        verbose_name=_("Storm"),
    )
    ask = tables.Column(verbose_name=_("Question"))
    depth = tables.Column(accessor="depth_um", empty_values=(), verbose_name=_("Rain then"))
    decision = tables.Column(verbose_name=_("Decision"))
    decided_by = tables.Column(empty_values=(), verbose_name=_("By"), orderable=False)
    note = tables.Column(verbose_name=_("Why"), default="", orderable=False)
    followed = tables.Column(empty_values=(), orderable=False, verbose_name=_("What followed"))

    class Meta:
        model = RainQuestion
        fields = [
            "decided_at",
            "site",
            "storm",
            "ask",
            "depth",
            "decision",
            "decided_by",
            "note",
            "followed",
        ]
        empty_text = _("No decision fits.")
        order_by = ("-decided_at", "pk")

    def __init__(self, *args, program: Program, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        self.program = program

    def render_decided_at(self, value: datetime) -> str:
        return moment_text(value)

    def value_decided_at(self, value: datetime) -> str:
        return value.isoformat(timespec="minutes")

    def render_storm(self, record: RainQuestion) -> str:
        return day_text(last_day_of(record.storm, self.program.tz))

    def value_storm(self, record: RainQuestion) -> str:
        return last_day_of(record.storm, self.program.tz).isoformat()

    def render_depth(self, record: RainQuestion) -> str:
        return depth_text(record.depth_um, self.program.units) or _("not known")

    def render_decided_by(self, record: RainQuestion) -> str:
        return str(record.decided_by or _("nobody: newer readings"))

    def render_followed(self, record: RainQuestion) -> str:
        said = followed_text(record)
        if not record.duty_id:
            return said
        return format_html('<a href="{}">{}</a>', reverse("care:duty", args=[record.duty_id]), said)

    def value_followed(self, record: RainQuestion) -> str:
        return followed_text(record)


def followed_text(question: RainQuestion) -> str:
    """What a decision brought about."""
    if question.decision != RainDecision.ACT:
        return _("nothing was changed")
    if question.ask == RainAsk.NEEDLESS:
        return _("the duty was withdrawn, or the storm taken out of it")
    return _("a look was asked for")
