"""Starting the demo's processes and stopping them so that nothing is left."""

import os
import signal
import socket
import subprocess
import sys
import time
from pathlib import Path

import pytest
from django.core.management.base import CommandError

from stewardship.management import supervisor
from stewardship.management.commands.demo import lock_one
from stewardship.management.run_demo import (
    SOCKET_PATH_MOST,
    CannotRun,
    listening,
    redis_socket,
)
from stewardship.management.supervisor import Child, Supervisor

ROOT = Path(__file__).resolve().parents[2]
SLEEP = "import time; time.sleep(60)"
STUBBORN = (
    "import signal; signal.signal(signal.SIGTERM, signal.SIG_IGN);print('up', flush=True);" + SLEEP
)
PARENT = (
    "import subprocess, sys; p = subprocess.Popen([sys.executable, '-c', 'import time; time.sleep(60)']);"
    "print(p.pid, flush=True);" + SLEEP
)


@pytest.fixture(autouse=True)
def signals_as_they_were():
    numbers = (signal.SIGINT, signal.SIGTERM, signal.SIGHUP)
    before = [signal.getsignal(number) for number in numbers]
    yield
    for number, handler in zip(numbers, before, strict=True):
        signal.signal(number, handler)


@pytest.fixture
def together(tmp_path):
    return Supervisor(cwd=tmp_path, env=dict(os.environ))


def child(folder: Path, name: str, code: str) -> Child:
    return Child(name, [sys.executable, "-c", code], folder / f"{name}.log")


def alive(pid: int) -> bool:
    """Whether the process runs; one that has ended and waits to be asked how does not."""
    try:
        return Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0] != "Z"
    except FileNotFoundError:
        return False


def until(ready, seconds: float = 20.0) -> bool:
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        if ready():
            return True
        time.sleep(0.05)
    return False


def test_leaving_stops_all_of_them_and_their_own_children(together, tmp_path):
    with together:
        together.start(child(tmp_path, "one", SLEEP))
        together.start(child(tmp_path, "two", PARENT))
        assert until(lambda: (tmp_path / "two.log").read_text().strip())
        pids = [c.process.pid for c in together.children]
        pids.append(int((tmp_path / "two.log").read_text()))
        assert all(alive(pid) for pid in pids)
    assert until(lambda: not any(alive(pid) for pid in pids))


def test_one_that_does_not_listen_is_ended_after_a_while(together, tmp_path, monkeypatch):
    monkeypatch.setattr(supervisor, "PATIENCE_S", 0.2)
    with together:
        together.start(child(tmp_path, "stubborn", STUBBORN))
        assert until(lambda: "up" in (tmp_path / "stubborn.log").read_text())
    assert together.children[0].process.returncode == -signal.SIGKILL


def test_one_that_ends_by_itself_is_named(together, tmp_path):
    with together:
        together.start(child(tmp_path, "steady", SLEEP))
        together.start(child(tmp_path, "brief", "raise SystemExit(3)"))
        assert together.watch().name == "brief"
    assert not together.children[0].running


def test_a_signal_ends_the_watch(together, tmp_path):
    with together:
        together.start(child(tmp_path, "steady", SLEEP))
        os.kill(os.getpid(), signal.SIGTERM)
        assert together.watch() is None
        assert together.told_to_stop


@pytest.mark.skipif(sys.platform != "linux", reason="PR_SET_PDEATHSIG is Linux's")
def test_killing_the_supervisor_itself_leaves_nothing_running(tmp_path):
    code = (
        "import os, sys; from pathlib import Path\n"
        "from stewardship.management.supervisor import Child, Supervisor\n"
        "with Supervisor(cwd=Path('.'), env=dict(os.environ)) as s:\n"
        f"    s.start(Child('c', [sys.executable, '-c', {SLEEP!r}], Path({str(tmp_path / 'log')!r})))\n"
        "    print(s.children[0].process.pid, flush=True)\n"
        "    s.watch()\n"
    )
    with subprocess.Popen([sys.executable, "-c", code], cwd=ROOT, stdout=subprocess.PIPE) as parent:
        pid = int(parent.stdout.readline())
        parent.kill()
    assert until(lambda: not alive(pid))


# -- where the demo listens -----------------------------------------------------------------------------------
def test_a_port_that_is_taken_makes_room_for_the_next(monkeypatch):
    monkeypatch.delenv("PORT", raising=False)
    with listening("127.0.0.1") as first, listening("127.0.0.1") as second:
        assert first.getsockname()[1] < second.getsockname()[1]


def test_a_port_asked_for_that_is_taken_says_so(monkeypatch):
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = taken.getsockname()[1]
        monkeypatch.setenv("PORT", str(port))
        sentence = f"Cannot listen at 127.0.0.1:{port}: Address"
        with pytest.raises(CannotRun, match=sentence), listening("127.0.0.1"):
            pass


@pytest.mark.parametrize("port", ["web", "0", "70000", "-1"])
def test_a_port_that_is_none_says_so(monkeypatch, port):
    monkeypatch.setenv("PORT", port)
    with pytest.raises(CannotRun, match="is not a port number"), listening("127.0.0.1"):
        pass


def test_the_demo_runs_once_per_folder(tmp_path):
    lock_one(tmp_path / "lock")
    with pytest.raises(CommandError, match="running already"):
        lock_one(tmp_path / "lock")
    lock_one(tmp_path / "another")


def test_redis_listens_under_var_or_where_the_path_is_short_enough(tmp_path):
    """unix(7): sun_path holds 108 bytes with the closing zero."""
    with redis_socket(Path("/srv/var")) as path:
        assert path == Path("/srv/var/redis.sock")
    deep = tmp_path / ("x" * 120)
    with redis_socket(deep) as path:
        assert len(os.fsencode(path)) <= SOCKET_PATH_MOST
        assert path.parent.stat().st_mode & 0o077 == 0
    assert not path.parent.exists()
