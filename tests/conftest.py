"""Fixtures of the whole suite."""

from collections.abc import Callable, Iterator

import pytest
import time_machine
from django.test import Client
from django.utils import translation

from people.models import Program
from tests import factory
from tests.cast import Cast, make_cast


@pytest.fixture(autouse=True)
def _english() -> Iterator[None]:
    """A page that was read in Spanish leaves no Spanish to the next test."""
    with translation.override("en"):
        yield


@pytest.fixture
def program(db) -> Program:
    return factory.make_program()


@pytest.fixture
def cast(db) -> Cast:
    return make_cast()


@pytest.fixture
def client_of(cast: Cast) -> Callable[[str], Client]:
    """client_of("reviewer") → a browser signed in as that role; "anonymous" is nobody."""

    def browser(role: str) -> Client:
        client = Client()
        user = cast.user(role)
        if user is not None:
            client.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
        return client

    return browser


@pytest.fixture
def coordinator(client_of) -> Client:
    return client_of("coordinator")


@pytest.fixture
def reviewer(client_of) -> Client:
    return client_of("reviewer")


@pytest.fixture
def frozen_day() -> Iterator[time_machine.Traveller]:
    """It is noon of 15 July 2026 in the program's town, and stays so until the test moves it."""
    with time_machine.travel(factory.at(factory.TODAY), tick=False) as traveller:
        yield traveller
