"""A real Redis, a real Celery worker, and kill -9 in the middle of a batch."""

import contextlib
import email
import os
import signal
import sqlite3
import subprocess
import sys
import time
from collections import Counter
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import environ
import psycopg
import pytest

from stewardship.management.run_demo import answers_ping, redis_command, worker_command
from stewardship.management.supervisor import Child

pytestmark = pytest.mark.worker
Connection = Any  # sqlite3's or psycopg's: both have execute() and close()
ROOT = Path(__file__).resolve().parents[2]
PATIENCE_S = 60.0


@contextlib.contextmanager
def own_database(var: Path) -> Iterator[tuple[str, Callable[[], Connection]]]:
    """Where the worker keeps its book (its DATABASE_URL and a way in): SQLite in its folder, or a database of its own on the
    suite's PostgreSQL."""
    url = os.environ.get("DATABASE_URL", "")
    if not url.startswith("postgres"):
        path = var / "rillbook.sqlite3"
        yield f"sqlite:///{path}", lambda: sqlite3.connect(path)
        return
    config = environ.Env.db_url_config(url)
    name = f"rillbook_worker_{os.getpid()}"
    way_in = {"user": config["USER"], "password": config["PASSWORD"], "host": config["HOST"]}
    way_in |= {"port": config["PORT"]} | config.get("OPTIONS", {})
    way_in = {key: value for key, value in way_in.items() if value}
    with psycopg.connect(dbname="postgres", autocommit=True, **way_in) as server:
        server.execute(f"CREATE DATABASE {name}")
        try:
            own = urlsplit(url)._replace(path=f"/{name}").geturl()
            yield own, lambda: psycopg.connect(dbname=name, **way_in)
        finally:
            server.execute(f"DROP DATABASE {name} WITH (FORCE)")


class Works:
    """The folder with mailbox, Redis and worker, and how to look into it."""

    def __init__(self, var: Path, database_url: str, connect: Callable[[], Connection]) -> None:
        self.var, self.connect = var, connect
        self.socket = var / "redis.sock"
        self.env = os.environ | {
            "DATABASE_URL": database_url,
            "RILLBOOK_VAR": str(var),
            "REDIS_URL": f"redis+socket://{self.socket}",
            "DJANGO_SETTINGS_MODULE": "tests.worker.settings",
            "LOG_LEVEL": "INFO",
        }
        self.children: list[Child] = []

    def start(self, name: str, argv: list[str]) -> Child:
        child = Child(name, argv, self.var / "log" / f"{name}-{len(self.children)}.log")
        child.start(cwd=ROOT, env=self.env)
        self.children.append(child)
        return child

    def kill(self, child: Child) -> None:
        """The worker and its pool are gone from one moment to the next."""
        os.killpg(child.process.pid, signal.SIGKILL)
        child.process.wait()

    def book(self, *argv: str) -> None:
        command = [sys.executable, "-m", "tests.worker.book", *argv]
        subprocess.run(command, cwd=ROOT, env=self.env, check=True)

    def messages(self) -> list[tuple[str, str]]:
        """(Message-ID, status), in the order they were queued."""
        with contextlib.closing(self.connect()) as connection:
            rows = connection.execute(
                "SELECT rfc_message_id, status FROM outbox_message ORDER BY key"
            )
            return rows.fetchall()

    def statuses(self) -> list[str]:
        return [status for _message_id, status in self.messages()]

    def mailbox(self) -> list[str]:
        """The Message-IDs that were taken, in order."""
        files = sorted((self.var / "mailbox").glob("*.eml"))
        return [email.message_from_bytes(path.read_bytes())["Message-ID"] for path in files]

    def wait_until(self, ready: Callable[[], bool]) -> None:
        until = time.monotonic() + PATIENCE_S
        while not ready():
            if time.monotonic() > until:
                logs = "\n".join(child.log.read_text()[-2000:] for child in self.children)
                pytest.fail(f"It did not come to that within {PATIENCE_S} s.\n{logs}")
            time.sleep(0.05)


@pytest.fixture
def works(tmp_path_factory) -> Iterator[Works]:
    var = tmp_path_factory.mktemp("w")
    with own_database(var) as (url, connect):
        works = Works(var, url, connect)
        works.start("redis", redis_command(works.socket, var / "redis"))
        works.wait_until(lambda: answers_ping(works.socket))
        try:
            yield works
        finally:
            for child in reversed(works.children):
                child.stop()


def test_a_worker_killed_in_the_middle_of_a_batch_loses_nothing_and_doubles_nothing(works):
    reminder, notice = 2, 5  # the ones in flight when the worker is killed
    works.book("queue", "rnrrnnrr")

    for in_flight in (reminder, notice):
        (works.var / "hold").write_text(f"Trial {in_flight}")
        worker = works.start("worker", worker_command())
        works.wait_until(lambda n=in_flight: len(works.mailbox()) == n + 1)
        works.kill(worker)
        assert works.statuses()[in_flight] == "sending"
    (works.var / "hold").unlink()

    # The same sweep, which the broker hands to the next worker, goes on where it was cut off.
    works.start("worker", worker_command())
    works.wait_until(lambda: Counter(works.statuses()) == {"sent": 6, "sending": 2})
    assert works.statuses()[reminder] == works.statuses()[notice] == "sending"
    assert len(works.mailbox()) == 8

    works.book("later")
    works.wait_until(lambda: Counter(works.statuses()) == {"sent": 7, "unsure": 1})
    assert works.statuses()[notice] == "unsure"
    # everything was taken once; only the reminder in flight once more, as the same message
    expected = Counter(message_id for message_id, _status in works.messages())
    expected[works.messages()[reminder][0]] += 1
    assert Counter(works.mailbox()) == expected
