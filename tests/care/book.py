"""Short ways to say what rained and what was told, for the tests of care."""

from collections.abc import Iterable
from datetime import date, datetime

from django.http import HttpResponse
from django.test import Client

from sites.models import Site
from stewardship.care import services
from stewardship.care.models import Duty, RainQuestion
from stewardship.outbox.models import Message
from stewardship.rain.models import Gauge, SiteRain, Storm
from tests import factory

TUESDAY = date(2026, 7, 14)  # the day before factory.TODAY


def rain(
    *sites: Site,
    day: date = TUESDAY,
    clock: str = "15:00",
    depth_in: float | None = 0.62,
    storm: Storm | None = None,
    **fields,
) -> Storm:
    """A two-hour storm on that day, with site rain that waits to be weighed at each of `sites`."""
    storm = storm or factory.make_storm(factory.at(day, clock), depth_in=depth_in or 0.62)
    for site in sites:
        factory.make_site_rain(storm, site, depth_in=depth_in, gauge=a_gauge(), **fields)
    return storm


def a_gauge() -> Gauge:
    return Gauge.objects.filter(code="G1").first() or factory.make_gauge("G1")


def revise(storm: Storm, site: Site, *, depth_in: float | None) -> None:
    """New readings change what the storm was at the site, as the rain app writes it."""
    storm.revision += 1
    if depth_in is not None:
        storm.greatest_um = factory.um(depth_in)
    storm.save()
    SiteRain.objects.filter(storm=storm, site=site).update(
        depth_um=None if depth_in is None else factory.um(depth_in),
        sureness="unknown" if depth_in is None else "estimated",
        storm_revision=storm.revision,
        weighed_at=None,
    )


def sweep(day: date = factory.TODAY, clock: str = "12:00") -> dict[str, int]:
    return services.sweep(at=factory.at(day, clock))


def open_duty(site: Site) -> Duty:
    return Duty.objects.open().get(site=site)


def letters_to(address: str) -> list[Message]:
    return list(Message.objects.filter(to_address=address).order_by("pk"))


def statuses(messages: Iterable[Message]) -> list[str]:
    return [message.status for message in messages]


def noon(day: date = factory.TODAY) -> datetime:
    return factory.at(day)


def decide(
    browser: Client, decision: str, *questions: RainQuestion, note: str = ""
) -> HttpResponse:
    """A coordinator ticks questions of one group on the desk and decides."""
    first = questions[0]
    prefix = f"s{first.storm_id}-{first.ask}"
    typed = {
        f"{prefix}-pick": [question.pk for question in questions],
        f"{prefix}-note": note,
        "decision": decision,
    }
    return browser.post(f"/care/rain/{first.storm_id}/{first.ask}/", typed)
