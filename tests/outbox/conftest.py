"""Letter templates of these tests, and a mail server that does as it is told."""

import copy
from collections.abc import Callable, Iterator
from datetime import datetime

import pytest
from django.core.mail.backends import locmem
from django.utils import timezone

from stewardship.outbox.models import Message
from stewardship.outbox.services import queue_message

LETTERS = {
    "letters/after-rain-subject.txt": "{{ program.name }}:\n {% translate 'Sites' %} & {{ site }}",
    "letters/after-rain-body.txt": "{{ to_name }}, it's {{ inches }} in at {{ site }} — {% now 'e' %}\n{{ stop_url }}",
    "letters/after-rain-body.html": "<p>{{ to_name }}: {{ site }}</p>",
    "letters/after-rain-letter.html": "<!doctype html><title>x</title><h1>{{ to_name }}</h1><p>{{ site }}</p>",
    "letters/plain-subject.txt": "Plain",
    "letters/plain-body.txt": "Plain words.",
    "letters/spoken-subject.txt": "{% get_current_language as L %}Spoken in {{ L }}",
    "letters/spoken-body.txt": "{% get_current_language as L %}Words in {{ L }}",
    "letters/broken-subject.txt": "{% if %}",
    "letters/broken-letter.html": "{% if %}",
}


@pytest.fixture(autouse=True)
def letters(settings) -> None:
    """The templates above, before those on disk."""
    engine = copy.deepcopy(settings.TEMPLATES[0])
    engine["APP_DIRS"] = False
    engine["OPTIONS"]["loaders"] = [
        ("django.template.loaders.locmem.Loader", LETTERS),
        "django.template.loaders.filesystem.Loader",
        "django.template.loaders.app_directories.Loader",
    ]
    settings.TEMPLATES = [engine]


class Server(locmem.EmailBackend):
    """Takes every message, unless `Server.answers` holds something to do first: an error to raise, a function to call."""

    opening: list[Exception] = []
    answers: list[Exception | Callable[[], object]] = []

    def open(self) -> bool:
        if Server.opening:
            raise Server.opening.pop(0)
        return True

    def send_messages(self, emails) -> int:
        answer = Server.answers.pop(0) if Server.answers else None
        if isinstance(answer, Exception):
            raise answer
        if answer:
            answer()
        return super().send_messages(emails)


@pytest.fixture
def server(settings) -> Iterator[type[Server]]:
    settings.EMAIL_BACKEND = "tests.outbox.conftest.Server"
    yield Server
    Server.opening, Server.answers = [], []


def queue(key: str = "one", *, due_at: datetime | None = None, **changes) -> Message:
    facts = {
        "message_class": "reminder",
        "channel": "email",
        "to_name": "Ines Quist",
        "to_address": "ines.quist@example.org",
        "language": "en",
        "template": "after-rain",
        "context": {"site": "OAK-1", "inches": "0.62"},
    }
    return queue_message(key=key, due_at=due_at or timezone.now(), **(facts | changes))
