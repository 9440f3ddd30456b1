"""The form in which a reader writes down a morning."""

from django.test import Client

from stewardship.rain.models import Gauge

FORM = "/rain/readings/new/"
TODAY = "2026-07-15"


def show(browser: Client, address: str = FORM, **asked: str) -> str:
    response = browser.get(address, asked)
    assert response.status_code == 200
    return response.content.decode()


def type_in(
    browser: Client, gauge: Gauge, amount: str = "", day: str = TODAY, address: str = FORM, **more
):
    said = {"gauge": gauge.pk, "day": day, "amount": amount, "days": "1"} | more
    return browser.post(address, said, follow=True)


def told(response) -> str:
    return " ".join(str(message) for message in response.context["messages"])
