"""A real Chromium on a live server. It is looked for on the machine (or named by CHROMIUM); nothing is downloaded."""

import os
import shutil
from collections.abc import Callable, Iterator

import pytest
import time_machine
from django.conf import settings
from django.test import Client
from playwright.sync_api import Browser, Page, sync_playwright

from tests import factory
from tests.cast import Cast

NAMES = ("chromium", "chromium-browser", "google-chrome")
PHONE = {"width": 390, "height": 844}
TABLET = {"width": 820, "height": 1180}
DESK = {"width": 1280, "height": 900}


@pytest.fixture(scope="module")
def chromium() -> Iterator[Browser]:
    path = os.environ.get("CHROMIUM") or next(filter(None, map(shutil.which, NAMES)), None)
    if path is None:
        pytest.skip("There is no Chromium on this machine; CHROMIUM may name one.")
    # Playwright keeps an event loop in this thread, which makes Django take plain code for asynchronous.
    patch = pytest.MonkeyPatch()
    patch.setenv("DJANGO_ALLOW_ASYNC_UNSAFE", "1")
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(
            executable_path=path,
            args=[
                "--no-sandbox",
                "--disable-gpu",
                "--disable-dev-shm-usage",
                "--no-first-run",
                "--disable-background-networking",
                "--disable-component-update",
                "--disable-sync",
            ],
        )
        yield browser
        browser.close()
    patch.undo()


@pytest.fixture
def summer_day() -> Iterator[None]:
    """It is noon of 15 July 2026 in the program's town, and time goes on, as a browser expects."""
    with time_machine.travel(factory.at(factory.TODAY), tick=True):
        yield


@pytest.fixture
def page_of(
    live_server, chromium: Browser, cast: Cast, summer_day
) -> Iterator[Callable[..., Page]]:
    """page_of("reviewer") → a page of a browser of its own, signed in as that role; "anonymous" is nobody."""
    contexts = []

    def page(role: str = "anonymous", viewport: dict[str, int] = DESK) -> Page:
        context = chromium.new_context(base_url=live_server.url, viewport=viewport, locale="en-US")
        contexts.append(context)
        user = cast.user(role)
        if user is not None:
            client = Client()
            client.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
            cookie = client.cookies[settings.SESSION_COOKIE_NAME]
            context.add_cookies(
                [{"name": cookie.key, "value": cookie.value, "url": live_server.url}]
            )
        return context.new_page()

    yield page
    for context in contexts:
        context.close()
