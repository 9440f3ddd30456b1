"""Gauges are added, corrected, moved, ended and taken up again; each change leaves an event in the book's language.

None of this changes a past storm by itself: `services.find_again` does, when somebody asks.
"""

from collections.abc import Callable, Iterable
from datetime import date
from typing import Any

from django.db import transaction
from django.utils.translation import gettext as _

from people.models import Person, Program, User
from stewardship.common.errors import Refused
from stewardship.common.events import book_language
from stewardship.common.written import day_text
from stewardship.rain.choices import GaugeChange
from stewardship.rain.models import Gauge, GaugeEvent, GaugePlace
from stewardship.rain.times import last_day, local_day

#: What may be corrected of a gauge; the code stays, places have services of their own.
FACTS = (
    "name",
    "kind",
    "unit",
    "resolution_um",
    "reach_m",
    "observation_hour",
    "lists_dry",
    "started_on",
)
#: These say what readings mean: once there are some, they stay.
FIXED_BY_READINGS = ("kind", "observation_hour")
#: These decide what a gauge says of a storm at a site: storms that were found before keep what they had.
OF_PAST_STORMS = ("reach_m", "lists_dry")


def note_change(gauge: Gauge, change: GaugeChange, why: str, *, by: User | None) -> None:
    """An event of the gauge. `why`: in the book's language."""
    GaugeEvent.objects.create(gauge=gauge, became=change, why=why[:400], by=by)


def _locked(gauge: Gauge) -> Gauge:
    """The gauge as it is now; imports and storm finding wait until the change is done."""
    return Gauge.objects.select_for_update().get(pk=gauge.pk)


def _days_with_readings(gauge: Gauge) -> tuple[date, date] | None:
    """First and last day that readings of the gauge speak of, by the program's clock."""
    readings = gauge.readings.order_by("start_s")
    first, last = readings.first(), readings.last()
    if first is None or last is None:
        return None
    zone = Program.get().tz
    return local_day(first.start_s, zone), last_day(last.end_s, zone)


@transaction.atomic
def create_gauge(
    *,
    code: str,
    lat: float,
    lon: float,
    note: str = "",
    readers: Iterable[Person] = (),
    by: User | None,
    **facts: Any,
) -> Gauge:
    """A new gauge with its first place (degrees) and who reads it. `facts`: the fields named by FACTS.

    Raises
    ------
    Refused
        The code is taken.
    """
    if Gauge.objects.filter(code__iexact=code).exists():
        raise Refused(_("There is a gauge %s already.") % code)
    gauge = Gauge.objects.create(code=code, **facts)
    GaugePlace.objects.create(gauge=gauge, since=gauge.started_on, lat=lat, lon=lon, note=note)
    gauge.readers.set(readers)
    with book_language():
        why = _("Stands at %(place)s since %(day)s") % {
            "place": _place_text(lat, lon),
            "day": day_text(gauge.started_on),
        }
        note_change(gauge, GaugeChange.MADE, why, by=by)
    return gauge


@transaction.atomic
def update_gauge(*, gauge: Gauge, by: User | None, **facts: Any) -> list[str]:
    """Correct facts of a gauge. Returns the names of those that changed.

    Raises
    ------
    Refused
        A fact that says what readings mean would change though there are some, or readings would lie before the first day.
    """
    gauge = _locked(gauge)
    changed = [name for name in FACTS if name in facts and getattr(gauge, name) != facts[name]]
    if not changed:
        return []
    days = _days_with_readings(gauge)
    for name in changed:
        if days and name in FIXED_BY_READINGS:
            raise Refused(
                _("%s has readings already, and they mean what they meant. Add another gauge.")
                % gauge.code
            )
    if "started_on" in changed:
        _start_on(gauge, facts["started_on"], days)
    before = {name: _fact_text(gauge, name) for name in changed}
    for name in changed:
        setattr(gauge, name, facts[name])
    gauge.save(update_fields=changed)
    with book_language():
        said = [
            f"{Gauge._meta.get_field(name).verbose_name}: {before[name]} → {_fact_text(gauge, name)}"
            for name in changed
        ]
        note_change(gauge, GaugeChange.CHANGED, "; ".join(said), by=by)
    return changed


def _start_on(gauge: Gauge, day: date, days: tuple[date, date] | None) -> None:
    """Its first place begins with it."""
    if days and day > days[0]:
        raise Refused(_("It has readings since %s; it stood there then.") % day_text(days[0]))
    if gauge.ended_on and day > gauge.ended_on:
        raise Refused(_("Its last day was %s.") % day_text(gauge.ended_on))
    first, *later = gauge.places.order_by("since")
    if later and day >= later[0].since:
        raise Refused(_("It was moved on %s; it stood there before.") % day_text(later[0].since))
    first.since = day
    first.save(update_fields=["since"])


def _fact_text(gauge: Gauge, name: str) -> str:
    display: Callable[[], str] | None = getattr(gauge, f"get_{name}_display", None)
    if display is not None:
        return str(display())
    value = getattr(gauge, name)
    if isinstance(value, bool):
        return _("yes") if value else _("no")
    return str(day_text(value)) if isinstance(value, date) else str(value)


def _place_text(lat: float, lon: float) -> str:
    return f"{lat:.5f}, {lon:.5f}"


@transaction.atomic
def move_gauge(
    *, gauge: Gauge, since: date, lat: float, lon: float, note: str, by: User | None
) -> GaugePlace:
    """From `since` on it stands elsewhere; what it measured before stays where it stood.

    Raises
    ------
    Refused
        It did not stand yet or any more on that day, the day is to come, or it was moved on that very day already.
    """
    gauge = _locked(gauge)
    if since > Program.get().today():
        raise Refused(_("That day is still to come."))
    if since <= gauge.started_on:
        raise Refused(
            _("It stands since %s. If it never stood where the book says, correct the place.")
            % day_text(gauge.started_on)
        )
    if gauge.ended_on and since > gauge.ended_on:
        raise Refused(_("Its last day was %s.") % day_text(gauge.ended_on))
    if gauge.places.filter(since=since).exists():
        raise Refused(_("It was moved on that day already; correct that place."))
    place = GaugePlace.objects.create(gauge=gauge, since=since, lat=lat, lon=lon, note=note)
    with book_language():
        why = _("Stands at %(place)s since %(day)s") % {
            "place": _place_text(lat, lon),
            "day": day_text(since),
        }
        note_change(gauge, GaugeChange.MOVED, _with_note(why, note), by=by)
    return place


@transaction.atomic
def correct_place(
    *, place: GaugePlace, lat: float, lon: float, note: str, by: User | None
) -> GaugePlace:
    """The book was wrong about where it stood. Storms that were found before keep what they had."""
    gauge = _locked(place.gauge)
    place = gauge.places.get(pk=place.pk)
    if (place.lat, place.lon, place.note) == (lat, lon, note):
        return place
    before = _place_text(place.lat, place.lon)
    place.lat, place.lon, place.note = lat, lon, note
    place.save(update_fields=["lat", "lon", "note"])
    with book_language():
        why = _("Since %(day)s: not %(before)s but %(place)s") % {
            "day": day_text(place.since),
            "before": before,
            "place": _place_text(lat, lon),
        }
        note_change(gauge, GaugeChange.PLACE, _with_note(why, note), by=by)
    return place


def _with_note(why: str, note: str) -> str:
    return f"{why}: {note}" if note else why


@transaction.atomic
def end_gauge(*, gauge: Gauge, on: date, why: str, by: User | None) -> Gauge:
    """It stands no more after the day `on`; readings of later days are refused from now on.

    Raises
    ------
    Refused
        It is ended already, the day is to come or before it stood, or there are readings of later days.
    """
    gauge = _locked(gauge)
    if gauge.ended_on:
        raise Refused(_("Its last day was %s.") % day_text(gauge.ended_on))
    if on > Program.get().today():
        raise Refused(_("That day is still to come."))
    since = gauge.places.order_by("since").last()
    if on < gauge.started_on or (since and on < since.since):
        raise Refused(
            _("It stands there since %s.") % day_text(since.since if since else gauge.started_on)
        )
    days = _days_with_readings(gauge)
    if days and on < days[1]:
        raise Refused(_("It has readings until %s. End it then, or later.") % day_text(days[1]))
    gauge.ended_on = on
    gauge.save(update_fields=["ended_on"])
    with book_language():
        said = _("Last day %s") % day_text(on)
        note_change(gauge, GaugeChange.ENDED, _with_note(said, why), by=by)
    return gauge


@transaction.atomic
def take_up_gauge(*, gauge: Gauge, why: str, by: User | None) -> Gauge:
    """It stands again where it stood. Nothing is known of the days between, unless readings come in for them.

    Raises
    ------
    Refused
        It was never ended.
    """
    gauge = _locked(gauge)
    if gauge.ended_on is None:
        raise Refused(_("It stands."))
    with book_language():
        said = _("Had ended %s") % day_text(gauge.ended_on)
        note_change(gauge, GaugeChange.AGAIN, _with_note(said, why), by=by)
    gauge.ended_on = None
    gauge.save(update_fields=["ended_on"])
    return gauge


@transaction.atomic
def set_readers(*, gauge: Gauge, readers: Iterable[Person], by: User | None) -> None:
    """Who reads it by hand from now on; only these may write its readings down."""
    gauge = _locked(gauge)
    readers = sorted(readers, key=str)
    if set(readers) == set(gauge.readers.all()):
        return
    gauge.readers.set(readers)
    with book_language():
        said = ", ".join(str(person) for person in readers) or _("nobody by hand")
        note_change(gauge, GaugeChange.READERS, said, by=by)
