"""`manage.py demo`: prepares the demo program and runs it with everything it needs, until Ctrl-C."""

import contextlib
import fcntl
import hashlib
import multiprocessing
import os
import shutil
import signal
import socket
import sys
import tempfile
import urllib.error
import urllib.request
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import redis
from django.conf import settings
from django.contrib.staticfiles.finders import get_finders
from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError

from stewardship.management.demo import DEMO_LOGINS
from stewardship.management.supervisor import Child, Supervisor

FIRST_PORT, LAST_PORT = 8000, 8049
#: Longest path of a unix socket: sun_path of sockaddr_un, unix(7), with the closing zero.
SOCKET_PATH_MOST = 107
SWEEP_SECONDS = "5"


class Command(BaseCommand):
    help = (
        "Prepares the demo program and runs it: web pages, worker, beat and a private Redis. "
        "HOST and PORT say where; Ctrl-C stops everything."
    )
    requires_system_checks = ()

    def handle(self, **options: Any) -> None:
        self.var: Path = settings.VAR_DIR.resolve()
        host = os.environ.get("HOST", "127.0.0.1")
        with only_one(self.var / "demo.lock"), listening(host) as door:
            self.prepare_apart()
            self.run(host, door)

    def prepare_apart(self) -> None:
        """`prepare` in a process of its own, so that the memory it takes is given back."""
        self.stdout.write("Preparing the demo; the first time takes a while …")
        self.stdout.flush()
        signal.signal(signal.SIGTERM, signal.default_int_handler)
        preparing = multiprocessing.get_context("fork").Process(target=self.prepare)
        preparing.start()
        try:
            preparing.join()
        except KeyboardInterrupt:
            preparing.terminate()
            preparing.join()
            raise CommandError("Stopped before it was ready; nothing is half-done.") from None
        if preparing.exitcode:
            raise CommandError("The demo could not be prepared; the reason stands above.")

    def prepare(self) -> None:
        """Database, static files, demo data. Quick when all is there already."""
        try:
            call_command("migrate", verbosity=0, interactive=False)
            self.collect_static()
            call_command("load_demo", stdout=self.stdout)
        except CommandError as error:
            self.stderr.write(str(error))
            sys.exit(1)
        except KeyboardInterrupt:
            sys.exit(1)

    def collect_static(self) -> None:
        """Static files, unless those they come from are the same as last time: compressing them takes seconds."""
        sources = hashlib.sha256()
        for finder in get_finders():
            for path, storage in finder.list([]):
                stat = Path(storage.path(path)).stat()
                sources.update(f"{path} {stat.st_size} {stat.st_mtime_ns}\n".encode())
        mark = self.var / "static.sha256"
        if not mark.exists() or mark.read_text() != sources.hexdigest():
            call_command("collectstatic", verbosity=0, interactive=False, clear=True)
            mark.write_text(sources.hexdigest())

    def run(self, host: str, door: socket.socket) -> None:
        port = door.getsockname()[1]
        shown = "127.0.0.1" if host in ("0.0.0.0", "::") else host  # noqa: S104 - only compared
        site_url = os.environ.get("SITE_URL", f"http://{shown}:{port}").rstrip("/")
        with (
            redis_socket(self.var) as redis_path,
            Supervisor(
                cwd=settings.BASE_DIR,
                env=os.environ
                | {
                    "SITE_URL": site_url,
                    "ALLOWED_HOSTS": os.environ.get(
                        "ALLOWED_HOSTS", f"{shown},localhost,127.0.0.1"
                    ),
                    "REDIS_URL": f"redis+socket://{redis_path}",
                    "SWEEP_SECONDS": os.environ.get("SWEEP_SECONDS", SWEEP_SECONDS),
                },
            ) as all_of_it,
        ):
            all_of_it.start(self.redis(redis_path))
            all_of_it.wait_until(lambda: answers_ping(redis_path), seconds=20)
            all_of_it.start(self.web(door))
            login = f"http://{shown}:{port}/account/login/"
            if all_of_it.wait_until(lambda: answers_http(login), seconds=60):
                all_of_it.start(self.worker())
                all_of_it.start(self.beat())
                self.welcome(site_url)
                all_of_it.watch()
            ended = None if all_of_it.told_to_stop else all_of_it.ended()
            if all_of_it.told_to_stop:
                self.stdout.write("\nStopping …")
        if ended:
            raise CommandError(
                f"The {ended.name} stopped by itself, so everything was stopped. Why is in {ended.log}."
            )
        if not all_of_it.told_to_stop:
            raise CommandError(f"The pages did not answer at {login}. Why is in {self.log('web')}.")
        self.stdout.write("Stopped. The demo's data stay; start again with the same command.")

    def welcome(self, site_url: str) -> None:
        self.stdout.write(f"\nRillbook is running: {self.style.SUCCESS(site_url + '/')}\n\n")
        rows = [("Sign in as", "with", "and"), *DEMO_LOGINS]
        widths = [max(len(row[column]) for row in rows) for column in range(2)]
        for who, email, password in rows:
            self.stdout.write(f"  {who:<{widths[0]}}  {email:<{widths[1]}}  {password}")
        self.stdout.write(
            f"\nLetters that go out: {settings.MAILBOX_DIR}\nLogs: {self.var / 'log'}\nCtrl-C stops everything."
        )
        self.stdout.flush()

    # -- the processes ----------------------------------------------------------------------------------------
    def log(self, name: str) -> Path:
        return self.var / "log" / f"{name}.log"

    def redis(self, path: Path) -> Child:
        return Child("Redis", redis_command(path, self.var / "redis"), self.log("redis"))

    def web(self, door: socket.socket) -> Child:
        argv = [
            sys.executable,
            "-m",
            "gunicorn",
            "stewardship.wsgi",
            "--bind",
            f"fd://{door.fileno()}",
        ]
        argv += ["--workers", "1", "--threads", "4", "--access-logfile", "-"]
        return Child("web process", argv, self.log("web"), fds=[door.fileno()])

    def worker(self) -> Child:
        return Child("worker", worker_command(), self.log("worker"))

    def beat(self) -> Child:
        argv = [sys.executable, "-m", "celery", "-A", "stewardship.celery", "beat"]
        argv += ["--pidfile", "", "--loglevel", "INFO"]
        return Child("beat", argv, self.log("beat"))


def redis_command(path: Path, kept: Path) -> list[str]:
    """A private Redis on a socket, without a port; its append-only file brings back after a power cut what was waiting."""
    program = shutil.which("redis-server")
    if program is None:
        raise CommandError(
            "redis-server is not installed. On Debian or Ubuntu: "
            "sudo apt-get install -y --no-install-recommends redis-server"
        )
    kept.mkdir(parents=True, exist_ok=True)
    return [
        *(program, "--port", "0", "--unixsocket", str(path), "--unixsocketperm", "700"),
        *("--dir", str(kept), "--appendonly", "yes", "--appendfsync", "everysec"),
        *("--save", "", "--maxmemory-policy", "noeviction", "--daemonize", "no"),
    ]


def worker_command() -> list[str]:
    return [
        *(sys.executable, "-m", "celery", "-A", "stewardship.celery", "worker"),
        *("--concurrency", "1", "--without-gossip", "--without-mingle", "--loglevel", "INFO"),
    ]


@contextlib.contextmanager
def only_one(path: Path) -> Iterator[None]:
    """Refuse to run twice in one folder. The lock ends with the process, however it ends."""
    with path.open("a") as lock:
        try:
            fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            raise CommandError(
                "The demo is running already in this folder; stop it first."
            ) from None
        yield


@contextlib.contextmanager
def listening(host: str) -> Iterator[socket.socket]:
    """A socket that listens where the pages will be: at PORT, else at the first free port from 8000."""
    wanted = os.environ.get("PORT", "")
    if wanted and not (wanted.isdecimal() and 0 < int(wanted) < 65_536):
        raise CommandError(f"PORT is “{wanted}”, which is not a port number.")
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    ports = [int(wanted)] if wanted else range(FIRST_PORT, LAST_PORT + 1)
    for port in ports:
        try:
            door = socket.create_server((host, port), family=family, backlog=64)
        except OSError as error:
            why = error.strerror
            continue
        with door:
            door.set_inheritable(True)
            yield door
        return
    where = f"{host}:{wanted}" if wanted else f"{host}, ports {FIRST_PORT} to {LAST_PORT}"
    raise CommandError(f"Cannot listen at {where}: {why}. Name another port: make demo PORT=8100")


@contextlib.contextmanager
def redis_socket(var: Path) -> Iterator[Path]:
    """Where the private Redis listens: under var/, or in a private temporary folder when that path is too long."""
    path = var / "redis.sock"
    if len(os.fsencode(path)) <= SOCKET_PATH_MOST:
        yield path
        return
    with tempfile.TemporaryDirectory(prefix="rillbook-") as folder:
        yield Path(folder) / "redis.sock"


def answers_ping(path: Path) -> bool:
    with (
        contextlib.suppress(redis.exceptions.ConnectionError, redis.exceptions.BusyLoadingError),
        redis.Redis(unix_socket_path=str(path)) as client,
    ):
        return client.ping()
    return False


def answers_http(url: str) -> bool:
    try:
        with urllib.request.urlopen(url, timeout=10) as answer:  # noqa: S310 - our own http address
            return answer.status == 200
    except (urllib.error.URLError, OSError):
        return False
