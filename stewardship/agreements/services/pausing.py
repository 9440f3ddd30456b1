"""Times in which somebody cannot care for a site, or in which the site itself rests."""

from datetime import date

from django.db import transaction
from django.db.models import Q
from django.utils.translation import gettext as _

from people.models import OrganisationContact, Person, User
from sites.models import Site, SiteEvent
from stewardship.agreements.choices import PauseEffect, PauseKind, ResponsibilityRole
from stewardship.agreements.models import Pause, Responsibility
from stewardship.common.errors import Refused
from stewardship.common.events import book_language
from stewardship.common.written import day_text


@transaction.atomic
def pause_person(
    *,
    site: Site,
    person: Person,
    starts_on: date,
    ends_on: date | None = None,
    effect: str = PauseEffect.OWED,
    cover: Person | None = None,
    why: str = "",
    by: User | None = None,
) -> Pause:
    """Somebody cannot care for a site for a time. `ends_on`: the first day on which they can again. `why` is private.

    Somebody covers and it stays owed; or nobody does, and it stays owed (a coordinator sees to it) or is excused.

    Raises
    ------
    Refused : they do not do the work there, the days are the wrong way round, they are paused there at that time already,
        they cover for themselves, nothing may be written to the cover, or it is covered and excused at once.
    """
    _refuse_days(starts_on, ends_on)
    site = Site.objects.select_for_update(no_key=True).get(pk=site.pk)
    if not _does_the_work(site, person, starts_on):
        raise Refused(
            _("%(person)s does not do the work at %(site)s then.")
            % {"person": person, "site": site.code}
        )
    if cover is not None:
        if cover.pk == person.pk:
            raise Refused(_("Somebody else has to cover for %s.") % person)
        if cover.is_silent:
            raise Refused(_("Nobody writes to %s; choose somebody else.") % cover)
        if effect == PauseEffect.EXCUSED:
            raise Refused(_("If somebody covers, it stays owed; excuse it where nobody does."))
    _refuse_overlap(site.pauses.filter(person=person), starts_on, ends_on, str(person))
    pause = Pause.objects.create(
        site=site,
        kind=PauseKind.PERSON,
        person=person,
        starts_on=starts_on,
        ends_on=ends_on,
        effect=effect,
        cover=cover,
        why=why.strip()[:200],
        entered_by=by,
    )
    # Why they cannot is private and stays out of the site's history.
    with book_language():
        _note(site, pause_words(pause), by=by)
    return pause


@transaction.atomic
def rest_site(
    *, site: Site, starts_on: date, ends_on: date | None = None, why: str, by: User | None = None
) -> Pause:
    """The site itself rests: nothing is due there meanwhile, and what is due is withdrawn.

    Raises
    ------
    Refused : no reason, the days are the wrong way round, or it rests at that time already.
    """
    why = " ".join(why.split())
    if not why:
        raise Refused(_("Say why, in a few words."))
    _refuse_days(starts_on, ends_on)
    site = Site.objects.select_for_update(no_key=True).get(pk=site.pk)
    _refuse_overlap(site.pauses.filter(kind=PauseKind.WORKS), starts_on, ends_on, site.code)
    pause = Pause.objects.create(
        site=site,
        kind=PauseKind.WORKS,
        starts_on=starts_on,
        ends_on=ends_on,
        effect=PauseEffect.EXCUSED,
        why=why[:200],
        entered_by=by,
    )
    with book_language():
        _note(site, f"{pause_words(pause)}: {why}", by=by)
    return pause


@transaction.atomic
def end_pause(*, pause: Pause, on: date, by: User | None = None) -> Pause:
    """Everything is as usual again from that day; a pause that has not begun never holds.

    Raises
    ------
    Refused : it has ended by then.
    """
    pause = (
        Pause.objects.select_for_update(of=("self",))
        .select_related("site", "person")
        .get(pk=pause.pk)
    )
    if pause.ends_on and pause.ends_on <= on:
        raise Refused(_("That pause has ended already."))
    pause.ends_on = max(on, pause.starts_on)
    pause.save(update_fields=["ends_on"])
    who = pause.person or pause.site.code
    with book_language():
        _note(pause.site, _("The pause of %s has ended") % who, by=by)
    return pause


def pause_words(pause: Pause) -> str:
    """What rests, from when until when, and who covers; never why."""
    if pause.kind == PauseKind.WORKS:
        said = _("The site rests from %s") % day_text(pause.starts_on)
    else:
        said = _("%(person)s cannot, from %(day)s") % {
            "person": pause.person,
            "day": day_text(pause.starts_on),
        }
    if pause.ends_on:
        said = _("%(pause)s until before %(day)s") % {"pause": said, "day": day_text(pause.ends_on)}
    if pause.cover:
        return _("%(pause)s; covered by %(cover)s") % {"pause": said, "cover": pause.cover}
    if pause.kind == PauseKind.PERSON:
        effect = pause.get_effect_display()
        return _("%(pause)s; nobody covers, the duty %(effect)s") % {
            "pause": said,
            "effect": effect,
        }
    return said


def _does_the_work(site: Site, person: Person, on: date) -> bool:
    held = Responsibility.objects.as_of(on).filter(site=site, role=ResponsibilityRole.DOES)
    speaks = OrganisationContact.objects.on(on).filter(person=person).values("organisation")
    return held.filter(Q(person=person) | Q(organisation__in=speaks)).exists()


def _refuse_days(starts_on: date, ends_on: date | None) -> None:
    if ends_on and ends_on <= starts_on:
        raise Refused(_("The last day is before the first."))


def _refuse_overlap(pauses, starts_on: date, ends_on: date | None, who: str) -> None:
    standing = pauses.filter(Q(ends_on=None) | Q(ends_on__gt=starts_on))
    if ends_on:
        standing = standing.filter(starts_on__lt=ends_on)
    if standing.exists():
        raise Refused(_("%s is paused at that time already.") % who)


def _note(site: Site, why: str, *, by: User | None) -> None:
    SiteEvent.objects.create(site=site, was=site.stage, became=site.stage, why=why[:400], by=by)
