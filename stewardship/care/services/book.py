"""Small steps that every care service shares: lock, event, coordinator's list, who owes it."""

from collections.abc import Iterable
from datetime import date
from typing import Any

from django.db import transaction
from django.db.models import F
from django.utils.functional import Promise

from sites.models import Site
from stewardship.agreements.choices import ResponsibilityRole
from stewardship.agreements.models import Responsibility
from stewardship.care.choices import DutyState, NeedsPerson
from stewardship.care.models import Duty, DutyEvent
from stewardship.common.events import in_book_language
from stewardship.rain.models import Storm
from stewardship.rain.times import last_day, local_day


def lock_site(site_pk: int) -> Site:
    """The site's row, locked: it orders everything that opens, joins or closes duties there."""
    return Site.objects.select_for_update(no_key=True).get(pk=site_pk)


def lock_sites(site_pks: Iterable[int]) -> None:
    """Several sites' rows, all before anything is changed and in one order: two such works at once wait for each other."""
    held = Site.objects.select_for_update(no_key=True).filter(pk__in=list(site_pks))
    list(held.order_by("pk").values_list("pk", flat=True))


def lock_duty(duty: Duty) -> Duty:
    """The duty as it is now, with its site's row and its own locked."""
    lock_site(duty.site_id)
    return Duty.objects.select_for_update(of=("self",)).select_related("site").get(pk=duty.pk)


def note(
    duty: Duty,
    why: str | Promise,
    *,
    words: dict[str, Any] | None = None,
    was: str | None = None,
    by=None,
) -> None:
    """An event of the duty; without `was` its state has not changed."""
    DutyEvent.objects.create(
        duty=duty,
        was=duty.state if was is None else was,
        became=duty.state,
        why=in_book_language(why, words)[:400],
        by=by,
    )


_SILENCE = (
    NeedsPerson.NO_ANSWER,
    NeedsPerson.NO_CHANNEL,
    NeedsPerson.PAUSED,
    NeedsPerson.SILENT,
)
#: What passes by itself: a pause ends, somebody is named who reads the letters.
PASSING = (NeedsPerson.PAUSED, NeedsPerson.SILENT)


def put_on_list(duty: Duty, why: NeedsPerson, *, on: date) -> None:
    """Onto the coordinator's list; the first day stays. What somebody said, or saw unsafe, outweighs mere silence."""
    with transaction.atomic():
        locked = Duty.objects.select_for_update(of=("self",)).get(pk=duty.pk)
        weaker = why in _SILENCE or locked.needs_person_why in (why, NeedsPerson.UNSAFE)
        if locked.state == DutyState.OPEN and not (locked.needs_person_why and weaker):
            locked.needs_person_since = locked.needs_person_since or on
            locked.needs_person_why = why
            locked.save(update_fields=["needs_person_since", "needs_person_why"])
            note(locked, why.label)
    duty.needs_person_since, duty.needs_person_why = (
        locked.needs_person_since,
        locked.needs_person_why,
    )


def take_off_list(duty: Duty, why: str | Promise) -> None:
    """Off the coordinator's list again, where it stood only for what has passed. Called with the duty locked."""
    if duty.needs_person_why in PASSING:
        duty.needs_person_since, duty.needs_person_why = None, ""
        duty.save(update_fields=["needs_person_since", "needs_person_why"])
        note(duty, why)


def owed_on(site: Site, on: date) -> Responsibility | None:
    """Whose responsibility the work at a site is on that day: persons and organisations before agencies, the longest first."""
    return (
        Responsibility.objects.as_of(on)
        .filter(site=site, role=ResponsibilityRole.DOES)
        .order_by(F("agency_id").asc(nulls_first=True), "starts_on", "pk")
        .first()
    )


def last_day_of(storm: Storm, zone: Any) -> date:
    return last_day(storm.end_s, zone)


def first_day_of(storm: Storm, zone: Any) -> date:
    return local_day(storm.start_s, zone)


def new_duty(*, why: str | Promise, by=None, **fields: Any) -> Duty:
    """An open duty with its first event; who owes it is whoever does the work on the day it opens."""
    fields.setdefault("owed_by", owed_on(fields["site"], fields["opened_on"]))
    duty = Duty.objects.create(state=DutyState.OPEN, **fields)
    note(duty, why, was="", by=by)
    return duty
