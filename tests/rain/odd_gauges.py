"""Gauges whose records are odd, and the page on which that is said."""

from datetime import date, timedelta

from django.urls import reverse

from stewardship.rain.choices import GaugeKind
from stewardship.rain.models import Suspicion
from tests import factory

DAY = timedelta(days=1)
FIRST = date(2026, 3, 1)
#: It rains every third day, at the neighbours a third more.
RAIN = [3 * (5 + n * 7 % 11) / 100 if n % 3 == 0 else 0 for n in range(135)]
NEAR = [4 * (5 + n * 7 % 11) / 100 if n % 3 == 0 else 0 for n in range(135)]
STUCK_SINCE, STUCK_UNTIL = 90, 120
MISSED = sum(NEAR[STUCK_SINCE:STUCK_UNTIL])


def mornings(code: str, depths_in: list, **facts):
    gauge = factory.make_gauge(code, kind=GaugeKind.DAILY, **facts)
    factory.make_readings(gauge, factory.at(FIRST, "07:00"), DAY, depths_in, found=True)
    return gauge


def stuck_gauge(**facts):
    """A gauge that says dry for a month between wet ones, beside two that do not."""
    depths = [0 if STUCK_SINCE <= n < STUCK_UNTIL else depth for n, depth in enumerate(RAIN)]
    gauge = mornings("G1", depths, **facts)
    mornings("G2", NEAR)
    mornings("G3", NEAR)
    return gauge


def page(browser, code="G1", **query) -> str:
    response = browser.get(reverse("rain:gauge", args=[code]), query)
    assert response.status_code == 200
    return response.content.decode()


def post(browser, suspicion: Suspicion, **values):
    url = reverse("rain:suspicion", args=[suspicion.gauge.code, suspicion.pk])
    return browser.post(url, values, follow=True)
