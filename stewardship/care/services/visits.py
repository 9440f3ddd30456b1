"""What people answered and what really happened. Done by is not owed by; happened is not written down."""

import uuid
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.db import transaction
from django.db.models import Q
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from people.models import Agency, OrganisationContact, Person, Program
from sites.models import Basin, SedimentTrap, Site
from stewardship.agreements.models import Responsibility
from stewardship.care import rules
from stewardship.care.choices import (
    NEEDS_WORK,
    AnswerKind,
    CheckReason,
    DutyState,
    Evidence,
    Item,
    Judgement,
    NeedsPerson,
    Outcome,
    Trigger,
)
from stewardship.care.models import Answer, CleanOut, Duty, Finding, Visit
from stewardship.care.services.book import lock_duty, lock_site, new_duty, note, put_on_list
from stewardship.care.services.contacts import open_contact_check
from stewardship.care.services.duties import close_duty
from stewardship.care.services.waiting import renew_waiting
from stewardship.common.errors import Refused


@dataclass(frozen=True)
class Found:
    """One observation to be recorded with a visit. `measured_m`: of a trap, from the inlet bottom down to the silt."""

    item: str
    judgement: str
    basin: Basin | None = None
    note: str = ""
    measured_m: float | None = None


@dataclass(frozen=True)
class TakenOut:
    """Silt taken out of a trap, and the drop before that."""

    trap: SedimentTrap
    litres: float
    drop_before_m: float | None = None


def record_answer(
    *,
    duty: Duty,
    person: Person,
    kind: str,
    at: datetime,
    minutes: int | None = None,
    note: str = "",
    happened_on: date | None = None,
    agent: Person | None = None,
    by=None,
) -> Answer:
    """One of the three answers. The same answer about the same day again is the answer that is there.

    What an `agent` answers counts for the person whose letters they handle, and says who answered.

    done      a visit, reported; the duty is met unless it has rained again since that day
    cannot    the duty stays open, on the coordinator's list
    not_mine  a verify-contact job and the coordinator's list; no more letters about this site to this person meanwhile

    Raises
    ------
    Refused
        "Can't" for a duty that is closed; a day that has not come yet.
    """
    on = at.astimezone(Program.get().tz).date()
    about_on = (happened_on or on) if kind == AnswerKind.DONE else on
    with transaction.atomic():
        duty = lock_duty(duty)
        before = Answer.objects.filter(
            duty=duty, person=person, kind=AnswerKind(kind), about_on=about_on
        ).first()
        if before:
            return before
        if kind == AnswerKind.CANNOT and duty.state != DutyState.OPEN:
            raise Refused(
                _("This has been looked after already; nothing is asked of you any more.")
            )
        visit = None
        if kind == AnswerKind.DONE:
            visit = record_visit(
                site=duty.site,
                happened_on=about_on,
                done_by=person,
                duty=duty,
                outcome=Outcome.DONE,
                evidence=Evidence.REPORTED,
                minutes=minutes,
                note=note,
                at=at,
                by=by,
            )
        answer = Answer.objects.create(
            duty=duty,
            person=person,
            agent=agent,
            kind=kind,
            about_on=about_on,
            note=note,
            visit=visit,
            at=at,
        )
        if kind == AnswerKind.CANNOT:
            put_on_list(duty, NeedsPerson.CANNOT, on=on)
        elif kind == AnswerKind.NOT_MINE:
            _not_mine(duty, person, note=note, on=on)
    return answer


def record_visit(
    *,
    site: Site,
    happened_on: date,
    done_by: Person | None = None,
    done_by_agency: Agency | None = None,
    duty: Duty | None = None,
    outcome: str = Outcome.DONE,
    evidence: str = Evidence.REPORTED,
    minutes: int | None = None,
    note: str = "",
    findings: Iterable[Found] = (),
    clean_outs: Iterable[TakenOut] = (),
    entry_key: uuid.UUID | None = None,
    at: datetime | None = None,
    by=None,
) -> Visit:
    """Write down a visit, meet the duties that it answers, and open follow-ups for what was found wanting.

    A visit that was done meets the site's open duties whose rain was over by then, whoever owes them. "Tried, could not"
    meets nothing. The same `entry_key` again is the visit that is there.

    Raises
    ------
    Refused
        A day that has not come yet; both a person and an agency; two findings for one item of a basin.
    """
    at = at or timezone.now()
    today = at.astimezone(Program.get().tz).date()
    findings, clean_outs = list(findings), list(clean_outs)
    _check(happened_on, done_by, done_by_agency, findings, today=today)
    with transaction.atomic():
        site = lock_site(site.pk)
        if entry_key and (before := Visit.objects.filter(entry_key=entry_key).first()):
            return before
        visit = Visit.objects.create(
            site=site,
            duty=duty,
            done_by=done_by,
            done_by_agency=done_by_agency,
            happened_on=happened_on,
            entered_at=at,
            entered_by=by,
            outcome=outcome,
            evidence=evidence,
            minutes=minutes,
            note=note.strip(),
            entry_key=entry_key,
        )
        Finding.objects.bulk_create(
            Finding(
                visit=visit,
                basin=found.basin,
                item=found.item,
                judgement=found.judgement,
                note=found.note,
                measured_m=found.measured_m,
            )
            for found in findings
        )
        CleanOut.objects.bulk_create(
            CleanOut(visit=visit, trap=out.trap, litres=out.litres, drop_before_m=out.drop_before_m)
            for out in clean_outs
        )
        if outcome == Outcome.DONE:
            _meet(visit, findings, clean_outs, today=today, by=by)
        elif duty and duty.state == DutyState.OPEN:
            _tried(duty, visit, by=by)
        for found in findings:
            if found.judgement in NEEDS_WORK:
                _follow_up(visit, found, today=today, by=by)
    return visit


def _check(
    happened_on: date,
    done_by: Person | None,
    done_by_agency: Agency | None,
    findings: list[Found],
    *,
    today: date,
) -> None:
    if happened_on > today:
        raise Refused(_("That day has not come yet."))
    if done_by and done_by_agency:
        raise Refused(_("A visit is done by a person or by an agency, not by both."))
    items = [(found.basin.pk if found.basin else None, found.item) for found in findings]
    if len(items) != len(set(items)):
        raise Refused(_("One item of a basin is judged twice."))


def _meet(
    visit: Visit, findings: list[Found], clean_outs: list[TakenOut], *, today: date, by=None
) -> None:
    """Close the open duties of the site that this visit answers. `closed_on` is the day it happened."""
    open_here = (
        Duty.objects.open()
        .filter(site=visit.site)
        .select_related("site", "rule", "owed_by")
        .select_for_update(of=("self",))
        .order_by("pk")
    )
    for duty in open_here:
        if _is_met(duty, visit, findings, clean_outs, today=today):
            by_others = duty.owed_by and visit.done_by and not _is_own(duty.owed_by, visit)
            why = gettext_lazy("Done by others") if by_others else gettext_lazy("Done")
            close_duty(duty, state=DutyState.MET, closed_on=visit.happened_on, why=why, by=by)
        elif visit.duty_id == duty.pk:
            note(duty, gettext_lazy("Done before the newest rain; one more look is due"), by=by)
    if visit.duty and visit.duty.state == DutyState.OPEN:
        visit.duty.refresh_from_db(fields=["state", "closed_on"])


def _is_own(owed_by: Responsibility, visit: Visit) -> bool:
    """Whether whoever was there owes it, or answers for the organisation that does."""
    if owed_by.organisation_id is None:
        return owed_by.person_id == visit.done_by_id
    contacts = OrganisationContact.objects.on(visit.happened_on)
    return contacts.filter(organisation=owed_by.organisation_id, person=visit.done_by_id).exists()


def _is_met(
    duty: Duty,
    visit: Visit,
    findings: list[Found],
    clean_outs: list[TakenOut],
    *,
    today: date,
) -> bool:
    if duty.trigger == Trigger.AFTER_RAIN:
        return rules.meets_rain(happened_on=visit.happened_on, last_rain=last_rain_of(duty))
    if duty.trigger == Trigger.CALENDAR:
        every_days = duty.reason.get("every_days") or (duty.rule.every_days if duty.rule else 1)
        return visit.happened_on >= duty.opened_on or not rules.calendar_due(
            last_look=visit.happened_on, every_days=every_days, on=today
        )
    if visit.happened_on < date.fromisoformat(duty.reason.get("day", duty.opened_on.isoformat())):
        return False
    return visit.duty_id == duty.pk or _put_right(duty, findings, clean_outs)


def last_rain_of(duty: Duty) -> date:
    """The last day on which water ran that an after-rain duty is about."""
    return max(duty.water_days, default=duty.opened_on)


def _put_right(duty: Duty, findings: list[Found], clean_outs: list[TakenOut]) -> bool:
    """Whether what a follow-up is about was seen good again, or its trap was emptied."""
    item, basin = duty.reason.get("item"), duty.reason.get("basin", "")
    good = any(
        found.item == item
        and (found.basin.label if found.basin else "") == basin
        and found.judgement in (Judgement.GOOD, Judgement.WATCH)
        for found in findings
    )
    emptied = item == Item.TRAP and any(out.trap.inlet.basin.label == basin for out in clean_outs)
    return good or emptied


def _tried(duty: Duty, visit: Visit, *, by=None) -> None:
    note(
        duty,
        gettext_lazy("Tried, could not: %(note)s"),
        words={"note": visit.note or "—"},
        by=by,
    )


def _follow_up(visit: Visit, found: Found, *, today: date, by=None) -> None:
    """A duty for what was found wanting; an open one about the same thing goes on instead of a second one."""
    basin = found.basin.label if found.basin else ""
    same = next(
        (
            duty
            for duty in Duty.objects.open().filter(site=visit.site, trigger=Trigger.FINDING)
            if duty.reason.get("item") == found.item and duty.reason.get("basin", "") == basin
        ),
        None,
    )
    reason = {
        "item": found.item,
        "judgement": found.judgement,
        "basin": basin,
        "note": found.note,
        "day": visit.happened_on.isoformat(),
        "visit": visit.pk,
    }
    days = rules.FINDING_DUE_DAYS[found.judgement]
    if same is None:
        duty = new_duty(
            why=gettext_lazy("Found wanting on a visit"),
            by=by,
            site=visit.site,
            trigger=Trigger.FINDING,
            opened_on=today,
            due_on=max(today, visit.happened_on + timedelta(days=days)),
            reason=reason,
        )
    else:
        duty = same
        worse = found.judgement == Judgement.UNSAFE != duty.reason.get("judgement")
        duty.reason = reason if worse else duty.reason
        duty.due_on = max(duty.opened_on, min(duty.due_on, today)) if worse else duty.due_on
        duty.save(update_fields=["reason", "due_on"])
        note(duty, gettext_lazy("Seen again on a visit"), by=by)
    if found.judgement == Judgement.UNSAFE:
        put_on_list(duty, NeedsPerson.UNSAFE, on=today)
        renew_waiting(duty)


def _not_mine(duty: Duty, person: Person, *, note: str, on: date) -> None:
    open_contact_check(person=person, site=duty.site, reason=CheckReason.NOT_MINE, note=note)
    put_on_list(duty, NeedsPerson.NOT_MINE, on=on)
    asked = Q(reminders__person=person) & Q(site=duty.site)
    for other in Duty.objects.open().filter(asked).distinct():
        renew_waiting(other)
