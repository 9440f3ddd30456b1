"""A reader without a log-in: what their link opens, in whose name it writes, and a link that opens nothing."""

from datetime import date

import pytest
from django.test import Client
from django.urls import reverse

from people.choices import Language
from stewardship.rain.choices import GaugeKind
from stewardship.rain.models import Gauge, Reading, ReadingBatch
from stewardship.rain.services import (
    end_gauge,
    make_reader_link,
    set_readers,
    withdraw_reader_link,
)
from tests import factory
from tests.cast import Cast
from tests.rain.morning_form import show, told, type_in

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen_day")]


@pytest.fixture
def link(school, cast) -> str:
    _link, secret = make_reader_link(gauge=school, person=cast.reader.person, by=cast.coordinator)
    return reverse("rain:reading_by_link", args=[secret])


def test_a_link_opens_the_form_of_its_gauge_and_writes_in_its_readers_name(link, school, cast):
    browser = Client(enforce_csrf_checks=True)
    shown = show(browser, link)
    assert "Gauge school: the 24 hours until 7 this morning" in shown
    assert "This link is for Wen Salazar alone" in shown
    token = browser.cookies["csrftoken"].value
    response = type_in(browser, school, "0.4", address=link, csrfmiddlewaretoken=token)
    assert "Written down for school, the 24 hours until 7 this morning: 0.40 in" in told(response)
    batch = ReadingBatch.objects.get()
    assert (batch.source, batch.by, batch.by_person) == ("typed", None, cast.reader.person)
    assert batch.brought_by == "Wen Salazar"
    response = type_in(browser, school, "0.5", address=link, csrfmiddlewaretoken=token)
    assert "0.40 in → 0.50 in" in told(response)
    assert school.reader_links.get().last_used_at == factory.at(factory.TODAY)


def test_opening_a_link_changes_nothing_and_is_kept_by_nobody(link, school, client):
    response = client.get(link)
    assert "no-store" in response.headers["Cache-Control"]
    assert response.headers["X-Robots-Tag"] == "noindex"
    assert response.headers["Referrer-Policy"] == "same-origin"
    assert school.reader_links.get().last_used_at is None
    assert not ReadingBatch.objects.exists()


def test_a_link_lets_nobody_write_for_another_gauge(link, cast, client):
    other = factory.make_gauge("depot", kind=GaugeKind.DAILY)
    other.readers.add(cast.reader.person)
    response = type_in(client, other, "0.4", address=link)
    assert list(response.context["form"].errors) == ["gauge"]
    assert not Reading.objects.exists()


def test_a_link_is_in_its_readers_language(link, cast, client):
    cast.reader.person.language = Language.ES
    cast.reader.person.save()
    response = client.get(link)
    assert response.headers["Content-Language"] == "es"
    assert '<html lang="es">' in response.content.decode()


@pytest.mark.parametrize("secret", ["x", "A" * 43, "é", "A" * 3000])
def test_a_forged_link_opens_nothing_and_says_so(school, client, secret):
    for response in (
        client.get(reverse("rain:reading_by_link", args=[secret])),
        type_in(client, school, "0.4", address=reverse("rain:reading_by_link", args=[secret])),
    ):
        assert response.status_code == 404
        assert "This link does not work" in response.content.decode()
    assert not Reading.objects.exists()


def withdrawn(school: Gauge, cast: Cast) -> None:
    assert withdraw_reader_link(link=school.reader_links.get(), by=cast.coordinator)


def not_theirs(school: Gauge, cast: Cast) -> None:
    set_readers(gauge=school, readers=[], by=cast.coordinator)


def ended(school: Gauge, cast: Cast) -> None:
    end_gauge(gauge=school, on=date(2026, 7, 14), why="", by=cast.coordinator)


@pytest.mark.parametrize("happens", [withdrawn, not_theirs, ended])
def test_a_link_that_was_shut_opens_nothing_and_says_whom_to_call(
    link, school, cast, client, happens
):
    happens(school, cast)
    for response in (client.get(link), type_in(client, school, "0.4", address=link)):
        assert response.status_code == 410
        assert "call 505-555-0100 for a new link" in response.content.decode()
    assert not Reading.objects.exists()
