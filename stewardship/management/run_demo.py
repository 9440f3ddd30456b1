"""The demo's processes: `python -m stewardship.management.run_demo`, to which `manage.py demo` hands over.

Watches over a private Redis, the web process, the worker and beat. Imports no Django, so that it stays small.
"""

import contextlib
import os
import shutil
import socket
import sys
import tempfile
import urllib.error
import urllib.request
from collections.abc import Iterator
from pathlib import Path

from stewardship.management.demo import DEMO_LOGINS
from stewardship.management.supervisor import Child, Supervisor

FIRST_PORT, LAST_PORT = 8000, 8049
#: Longest path of a unix socket: sun_path of sockaddr_un, unix(7), with the closing zero.
SOCKET_PATH_MOST = 107
SWEEP_SECONDS = "5"
ANY_ADDRESS = ("0.0.0.0", "::")  # noqa: S104 - only compared
CELERY = (sys.executable, "-m", "celery", "-A")


class CannotRun(Exception):
    """Why the demo does not run, in one sentence."""


def main() -> None:
    try:
        run(Path(os.environ["RILLBOOK_VAR"]), os.environ.get("HOST", "127.0.0.1"))
    except CannotRun as why:
        sys.exit(str(why))


def run(var: Path, host: str) -> None:
    """Run the demo until a signal.

    Raises
    ------
    CannotRun
        Nothing is running any more; the message says what went wrong.
    """
    with listening(host) as door, redis_socket(var) as redis_path:
        shown = "127.0.0.1" if host in ANY_ADDRESS else host
        here = f"http://{shown}:{door.getsockname()[1]}"
        env = {
            "SITE_URL": here,
            "ALLOWED_HOSTS": "*" if host in ANY_ADDRESS else f"{shown},localhost,127.0.0.1",
            "SWEEP_SECONDS": SWEEP_SECONDS,
            **os.environ,
            "REDIS_URL": f"redis+socket://{redis_path}",
        }
        logs = var / "log"
        web = [
            sys.executable,
            "-m",
            "gunicorn",
            "stewardship.wsgi",
            "--bind",
            f"fd://{door.fileno()}",
        ]
        web += ["--workers", "1", "--threads", "4", "--access-logfile", "-"]
        beat = [*CELERY, "stewardship.celery:beat", "beat", "--pidfile", "", "--loglevel", "INFO"]
        with Supervisor(cwd=Path.cwd(), env=env) as all_of_it:
            all_of_it.start(
                Child("Redis", redis_command(redis_path, var / "redis"), logs / "redis.log")
            )
            all_of_it.wait_until(lambda: answers_ping(redis_path), seconds=20)
            all_of_it.start(Child("web process", web, logs / "web.log", fds=[door.fileno()]))
            answered = all_of_it.wait_until(
                lambda: answers_http(f"{here}/account/login/"), seconds=90
            )
            if answered:
                all_of_it.start(Child("worker", worker_command(), logs / "worker.log"))
                all_of_it.start(Child("beat", beat, logs / "beat.log"))
                say(welcome(env["SITE_URL"], var))
                all_of_it.watch()
            stopped, ended = all_of_it.told_to_stop, all_of_it.ended()
            if stopped:
                say("\nStopping …")
    if stopped:
        say("Stopped. The demo's data stay; start again with the same command.")
    elif ended:
        raise CannotRun(
            f"The {ended.name} stopped by itself, so everything was stopped. Why is in {ended.log}."
        )
    else:
        raise CannotRun(f"The pages did not answer at {here}. Why is in {logs / 'web.log'}.")


def say(words: str) -> None:
    sys.stdout.write(words + "\n")
    sys.stdout.flush()


def welcome(site_url: str, var: Path) -> str:
    rows = [("Sign in as", "with", "and"), *DEMO_LOGINS]
    widths = [max(len(row[column]) for row in rows) for column in range(2)]
    lines = [f"  {who:<{widths[0]}}  {email:<{widths[1]}}  {word}" for who, email, word in rows]
    return (
        f"\nRillbook is running: {site_url}/\n\n"
        + "\n".join(lines)
        + f"\n\nLetters that go out: {var / 'mailbox'}\nLogs: {var / 'log'}\nCtrl-C stops everything."
    )


def redis_command(path: Path, kept: Path) -> list[str]:
    """A private Redis on a socket, without a port; its append-only file brings back after a power cut what was waiting."""
    program = shutil.which("redis-server")
    if program is None:
        raise CannotRun(
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
        *(*CELERY, "stewardship.celery", "worker", "--concurrency", "1"),
        *("--without-gossip", "--without-mingle", "--loglevel", "INFO"),
    ]


@contextlib.contextmanager
def listening(host: str) -> Iterator[socket.socket]:
    """A socket that listens where the pages will be: at PORT, else at the first free port from 8000."""
    wanted = os.environ.get("PORT", "")
    if wanted and not (wanted.isdecimal() and 0 < int(wanted) < 65_536):
        raise CannotRun(f"PORT is “{wanted}”, which is not a port number.")
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    why: str | None = None
    for port in [int(wanted)] if wanted else range(FIRST_PORT, LAST_PORT + 1):
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
    raise CannotRun(f"Cannot listen at {where}: {why}. Name another port: make demo PORT=8100")


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
    """Whether Redis is ready: it answers PING (as text, which its protocol allows), and not that it is still loading."""
    try:
        with socket.socket(socket.AF_UNIX) as door:
            door.settimeout(5)
            door.connect(str(path))
            door.sendall(b"PING\r\n")
            return door.recv(64).startswith(b"+PONG")
    except OSError:
        return False


def answers_http(url: str) -> bool:
    try:
        with urllib.request.urlopen(url, timeout=10) as answer:  # noqa: S310 - our own http address
            return answer.status == 200
    except (urllib.error.URLError, OSError):
        return False


if __name__ == "__main__":
    main()
