"""What care knows of a person whose data are erased: their words go, what was done and when stays under the pseudonym."""

from datetime import date
from typing import Any

from django.db.models import Q, QuerySet
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from people.erasing import messages_to
from people.erasure import Share, Subject, unquote
from stewardship.care.models import (
    Answer,
    ContactCheck,
    Duty,
    DutyEvent,
    Finding,
    FlowReport,
    RainQuestion,
    Reminder,
    Visit,
)
from stewardship.common.events import in_book_language
from stewardship.outbox.erasing import wipe_messages
from stewardship.outbox.models import Message

_ERASED = gettext_lazy("Personal data erased")


def share(sender: Any, *, subject: Subject, on: date, **kwargs: Any) -> Share:
    found = Share()
    noted = (_answers(subject), _visits(subject), _findings(subject), _reports(subject))
    found.wipe(
        _("what they wrote in answers, visits and reports"),
        sum(rows.exclude(note="").count() for rows in noted),
    )
    checks = ContactCheck.objects.filter(person__in=subject.keys)
    found.wipe(_("notes on where they can be reached"), checks.count())
    done = _("Facts of the basin: what was done and seen there, on which day.")
    found.keep(_("visits"), done, _visits(subject).count())
    found.keep(_("answers"), done, _answers(subject).count())
    reminders = Reminder.objects.filter(person__in=subject.keys)
    found.keep(
        _("that they were reminded, and when"),
        _("Facts of the duty; whom and where is wiped."),
        reminders.count(),
    )
    return found


def wipe(sender: Any, *, subject: Subject, on: date, by: Any, **kwargs: Any) -> None:
    why = in_book_language(_ERASED)
    wipe_messages(messages=_their_messages(subject), pseudonym=subject.pseudonym, why=why, by=by)
    visits = list(_visits(subject).values_list("pk", flat=True))
    reports = list(_reports(subject).values_list("pk", flat=True))
    notes = [
        text
        for rows in (_answers(subject), _visits(subject))
        for text in rows.values_list("note", flat=True)
    ]
    unquote(DutyEvent.objects.all(), "why", notes)
    _wipe_reasons(subject, visits=visits)
    for rows in (_answers(subject), _findings(subject), _reports(subject), _visits(subject)):
        rows.update(note="")
    checks = ContactCheck.objects.filter(person__in=subject.keys)
    checks.filter(closed_at=None).update(closed_at=timezone.now())
    checks.update(note="", outcome=why)
    subject.scrub_rows(FlowReport.objects.exclude(pk__in=reports), "told_by", "note", "why")
    subject.scrub_rows(ContactCheck.objects.all(), "note", "outcome")
    subject.scrub_rows(RainQuestion.objects.all(), "note")
    for model in (Answer, Visit, Finding):
        subject.scrub_rows(model.objects.all(), "note")
    subject.scrub_rows(Duty.objects.all(), "reason")
    theirs = Q(duty__owed_by__person__in=subject.keys) | Q(duty__reminders__person__in=subject.keys)
    subject.scrub_rows(DutyEvent.objects.all(), "why", about_them=theirs)


def _answers(subject: Subject) -> QuerySet[Answer]:
    return Answer.objects.filter(Q(person__in=subject.keys) | Q(agent__in=subject.keys))


def _visits(subject: Subject) -> QuerySet[Visit]:
    """What they did, or wrote down without saying who did it."""
    return Visit.objects.filter(
        Q(done_by__in=subject.keys) | Q(done_by=None, entered_by__in=subject.users)
    )


def _findings(subject: Subject) -> QuerySet[Finding]:
    return Finding.objects.filter(visit__in=_visits(subject))


def _reports(subject: Subject) -> QuerySet[FlowReport]:
    """What they told, or wrote down without saying who told it."""
    return FlowReport.objects.filter(
        Q(person__in=subject.keys) | Q(person=None, told_by="", by__in=subject.users)
    )


def _their_messages(subject: Subject) -> QuerySet[Message]:
    """Reminders of theirs that `messages_to` does not find, e.g. to an earlier address; not those that tell others too."""
    mine = Reminder.objects.filter(Q(person__in=subject.keys) | Q(agent__in=subject.keys))
    others = Reminder.objects.exclude(person__in=subject.keys)
    return (
        Message.objects.filter(pk__in=mine.values("message"))
        .exclude(pk__in=others.values("message"))
        .exclude(pk__in=messages_to(subject).values("pk"))
    )


def _wipe_reasons(subject: Subject, *, visits: list[int]) -> None:
    """Duties quote what was written: notes of findings, and of reports that water ran."""
    reported = Q(flow_reports__in=_reports(subject))
    for duty in Duty.objects.filter(reported | Q(reason__visit__in=visits)).distinct():
        if duty.reason.get("visit") in visits:
            duty.reason["note"] = ""
        notes = set(_reports(subject).filter(duty=duty).values_list("note", flat=True))
        for flow in duty.reason.get("flows", []):
            if flow.get("note") in notes:
                flow["note"] = ""
        duty.save(update_fields=["reason"])
