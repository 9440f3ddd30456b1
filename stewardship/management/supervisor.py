"""Runs a few processes side by side and stops them together. Knows nothing of Django, so that it stays small."""

import contextlib
import ctypes
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from types import FrameType

PATIENCE_S = 25.0  # [s] for a process to finish what it is doing
PR_SET_PDEATHSIG = 1  # linux/prctl.h


@dataclass
class Child:
    """One process: what it is called, its command line, and the file its output goes to."""

    name: str
    argv: Sequence[str]
    log: Path
    fds: Sequence[int] = ()
    process: subprocess.Popen | None = field(default=None, repr=False)

    @property
    def running(self) -> bool:
        return self.process is not None and self.process.poll() is None

    def start(self, *, cwd: Path, env: dict[str, str]) -> None:
        self.log.parent.mkdir(parents=True, exist_ok=True)
        with self.log.open("wb") as out:
            # A session of its own: Ctrl-C in the terminal reaches only us, and we stop the children in order.
            self.process = subprocess.Popen(  # noqa: S603 - our own command lines
                self.argv,
                cwd=cwd,
                env=env,
                stdin=subprocess.DEVNULL,
                stdout=out,
                stderr=subprocess.STDOUT,
                pass_fds=self.fds,
                start_new_session=True,
                preexec_fn=_end_with_parent(),
            )

    def stop(self) -> None:
        """Ask it to end, wait, and end whatever is left of it and of its own children."""
        if self.process is None:
            return
        if self.running:
            self.process.terminate()
            with contextlib.suppress(subprocess.TimeoutExpired):
                self.process.wait(PATIENCE_S)
        with contextlib.suppress(ProcessLookupError):
            os.killpg(self.process.pid, signal.SIGKILL)
        self.process.wait()


class Supervisor:
    """Starts children one after another; on a signal, or when one of them ends by itself, stops all in reverse order."""

    def __init__(self, *, cwd: Path, env: dict[str, str]) -> None:
        self.cwd, self.env = cwd, env
        self.children: list[Child] = []
        self.told_to_stop = False

    def __enter__(self) -> "Supervisor":
        for number in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP):
            signal.signal(number, self._stop_soon)
        return self

    def __exit__(self, *_exc: object) -> None:
        for child in reversed(self.children):
            child.stop()

    def _stop_soon(self, _number: int, _frame: FrameType | None) -> None:
        self.told_to_stop = True

    def start(self, child: Child) -> None:
        self.children.append(child)
        child.start(cwd=self.cwd, env=self.env)

    def ended(self) -> Child | None:
        """The first child that has ended by itself."""
        return next((child for child in self.children if not child.running), None)

    def wait_until(self, ready: Callable[[], bool], *, seconds: float) -> bool:
        """True once `ready()`; False when time is up, a child has ended, or we were told to stop."""
        until = time.monotonic() + seconds
        while time.monotonic() < until and not self.told_to_stop and self.ended() is None:
            if ready():
                return True
            time.sleep(0.1)
        return False

    def watch(self) -> Child | None:
        """Wait for a signal (None) or for a child that ends by itself."""
        while not self.told_to_stop:
            if child := self.ended():
                return child
            time.sleep(0.3)
        return None


def _end_with_parent() -> Callable[[], None] | None:
    """On Linux, what makes a child end when we are killed without a chance to stop it."""
    if sys.platform != "linux":
        return None
    prctl = ctypes.CDLL(None).prctl
    return lambda: prctl(PR_SET_PDEATHSIG, signal.SIGTERM)
