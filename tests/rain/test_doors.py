"""Tokens and links are made once, shown once, listed and withdrawn; who did it stays in the gauge's history."""

import hashlib
import re

import pytest
from django.test import Client
from django.urls import reverse

from stewardship.common.errors import Refused
from stewardship.rain.choices import GaugeChange, GaugeKind
from stewardship.rain.models import Gauge, GaugeToken, ReaderLink
from stewardship.rain.services import (
    end_gauge,
    make_reader_link,
    make_token,
    set_readers,
    withdraw_reader_link,
)
from stewardship.rain.services.tokens import token_of
from tests import factory

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen_day")]


@pytest.fixture
def roof(program) -> Gauge:
    return factory.make_gauge("roof", kind=GaugeKind.TIPPING)


@pytest.fixture
def school(cast) -> Gauge:
    gauge = factory.make_gauge("school", kind=GaugeKind.DAILY)
    gauge.readers.add(cast.reader.person)
    return gauge


def text(response) -> str:
    return response.content.decode()


def page(browser: Client, gauge: Gauge) -> str:
    return text(browser.get(reverse("rain:doors", args=[gauge.code])))


def changes(gauge: Gauge) -> list[tuple[str, str]]:
    return list(gauge.events.order_by("pk").values_list("became", "why"))


# -- tokens ----------------------------------------------------------------------------------------------------
def ask_token(browser: Client, gauge: Gauge, label: str):
    return browser.post(reverse("rain:token_new", args=[gauge.code]), {"label": label})


def test_a_token_is_shown_once_with_how_to_use_it_and_only_its_digest_is_kept(
    coordinator, roof, cast
):
    response = ask_token(coordinator, roof, " Roof logger ")
    shown = text(response)
    secret = re.search(r"rillgauge_[\w-]{43}", shown)[0]
    assert "no-store" in response.headers["Cache-Control"]
    assert "it is not shown again" in shown
    assert f"Authorization: Bearer {secret}" in shown
    token = GaugeToken.objects.get()
    assert (token.label, token.made_by) == ("Roof logger", cast.coordinator)
    assert token.digest == hashlib.sha256(secret.encode()).hexdigest()
    assert token_of(secret) == token
    again = page(coordinator, roof)
    assert "Roof logger" in again
    assert secret not in again
    assert "not yet" in again
    assert changes(roof) == [(GaugeChange.DOOR_MADE, "Token for “Roof logger”")]


def test_two_tokens_are_never_alike(roof):
    made = {make_token(gauge=roof, label=f"{n}", by=None)[1] for n in range(20)}
    assert len(made) == 20


def test_making_a_token_again_by_loading_the_page_anew_makes_none(coordinator, roof):
    ask_token(coordinator, roof, "Roof logger")
    response = ask_token(coordinator, roof, "Roof logger")
    assert response.status_code == 422
    assert "“Roof logger” has a token since Wed 15 Jul, noon. Withdraw that one first." in (
        text(response)
    )
    assert 'value="Roof logger"' in text(response)
    assert GaugeToken.objects.count() == 1


@pytest.mark.parametrize("label", ["", "   ", "x" * 81])
def test_a_token_names_its_machine(coordinator, roof, label):
    assert ask_token(coordinator, roof, label).status_code == 422
    assert not GaugeToken.objects.exists()


def test_a_withdrawn_token_is_listed_as_such_and_its_name_is_free_again(coordinator, roof, cast):
    token, secret = make_token(gauge=roof, label="Roof logger", by=cast.coordinator)
    address = reverse("rain:token_withdraw", args=["roof", token.pk])
    shown = text(coordinator.post(address, follow=True))
    assert "The token of “Roof logger” opens nothing any more. What it brought stays." in shown
    assert "withdrawn" in shown
    assert token_of(secret) is None
    coordinator.post(address)
    assert [became for became, _why in changes(roof)] == [
        GaugeChange.DOOR_MADE,
        GaugeChange.DOOR_SHUT,
    ]
    assert ask_token(coordinator, roof, "Roof logger").status_code == 200
    shown = text(coordinator.get(reverse("rain:gauge", args=["roof"])))
    assert "A way in was withdrawn" in shown
    assert "Rosa Lind" in shown


def test_a_token_of_another_gauge_is_not_there_to_withdraw(coordinator, roof):
    yard = factory.make_gauge("yard", kind=GaugeKind.TIPPING)
    token, _secret = make_token(gauge=yard, label="Yard", by=None)
    assert (
        coordinator.post(reverse("rain:token_withdraw", args=["roof", token.pk])).status_code == 404
    )
    assert GaugeToken.objects.live().count() == 1


def test_a_gauge_that_stands_no_more_gets_no_token(roof):
    end_gauge(gauge=roof, on=factory.TODAY, why="", by=None)
    with pytest.raises(Refused, match="roof stands no more"):
        make_token(gauge=roof, label="Roof logger", by=None)


# -- links -----------------------------------------------------------------------------------------------------
def ask_link(browser: Client, gauge: Gauge, person):
    return browser.post(
        reverse("rain:link_new", args=[gauge.code]), {"person": person.pk}, follow=True
    )


def test_a_link_is_shown_once_and_opens_the_readers_form(coordinator, school, cast, settings):
    settings.SITE_URL = "https://book.example.org"
    assert "No link." in page(coordinator, school)
    response = ask_link(coordinator, school, cast.reader.person)
    shown = text(response)
    address = re.search(r"https://book\.example\.org(/rain/r/[\w-]{43}/)", shown)[1]
    assert "no-store" in response.headers["Cache-Control"]
    assert "The link for Wen Salazar" in shown
    assert Client().get(address).status_code == 200
    again = page(coordinator, school)
    assert address not in again
    assert "not used yet" in again
    assert changes(school) == [(GaugeChange.DOOR_MADE, "Link for Wen Salazar")]


def test_one_reader_has_one_link_to_a_gauge_at_a_time(coordinator, school, cast):
    ask_link(coordinator, school, cast.reader.person)
    shown = text(ask_link(coordinator, school, cast.reader.person))
    assert "Wen Salazar has a link since Wed 15 Jul, noon. Withdraw that one first." in shown
    assert ReaderLink.objects.count() == 1


def test_a_withdrawn_link_may_be_followed_by_another(coordinator, school, cast):
    link, _secret = make_reader_link(gauge=school, person=cast.reader.person, by=None)
    shown = text(
        coordinator.post(reverse("rain:link_withdraw", args=["school", link.pk]), follow=True)
    )
    assert "The link of Wen Salazar opens nothing any more. What they wrote stays." in shown
    assert not withdraw_reader_link(link=link, by=None)
    ask_link(coordinator, school, cast.reader.person)
    assert ReaderLink.objects.live().get() != link


def test_only_a_reader_of_the_gauge_gets_a_link(coordinator, school, cast):
    shown = text(ask_link(coordinator, school, cast.owner))
    assert "That person does not read school." in shown
    with pytest.raises(Refused, match="Ines Quist does not read school"):
        make_reader_link(gauge=school, person=cast.owner, by=None)
    assert not ReaderLink.objects.exists()


def test_a_link_of_somebody_who_reads_no_more_is_shown_as_open_to_nothing(
    coordinator, school, cast
):
    make_reader_link(gauge=school, person=cast.reader.person, by=None)
    set_readers(gauge=school, readers=[], by=None)
    shown = page(coordinator, school)
    assert "no longer reads it, so the link does not work" in shown
    assert "Withdraw the link of Wen Salazar" in shown


def test_a_gauge_without_readers_says_where_to_name_them(coordinator, cast):
    gauge = factory.make_gauge("porch", kind=GaugeKind.DAILY)
    assert reverse("rain:gauge_readers", args=["porch"]) in page(coordinator, gauge)


def test_a_machine_gets_no_link(roof, cast):
    roof.readers.add(cast.reader.person)
    with pytest.raises(Refused, match="roof reports by itself"):
        make_reader_link(gauge=roof, person=cast.reader.person, by=None)


def test_a_gauges_page_leads_to_its_ways_in(coordinator, roof, school):
    for gauge in (roof, school):
        shown = text(coordinator.get(reverse("rain:gauge", args=[gauge.code])))
        assert reverse("rain:doors", args=[gauge.code]) in shown
