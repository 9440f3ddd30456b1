from datetime import date

import django_tables2 as tables
from django.utils.translation import gettext_lazy as _

from stewardship.care.choices import AnswerKind, DutyState
from stewardship.care.models import Duty
from stewardship.care.words import reason_text
from stewardship.common.templatetags.ui import day, state
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
        if record.state == "open" and record.due_on < self.today:
            return state("overdue", _("Open, late"))
        return state(record.state, record.get_state_display())

    def value_state(self, record: Duty) -> str:
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
