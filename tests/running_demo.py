"""A demo of its own to measure and to take pictures of: fresh data in a temporary folder, a port of its own."""

import contextlib
import http.cookiejar
import os
import re
import signal
import subprocess
import sys
import tempfile
import time
import urllib.parse
import urllib.request
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
READY_S = 300.0


@dataclass(frozen=True)
class RunningDemo:
    """Where it is reached, its folder, its supervisor's process id, seconds it took to answer."""

    url: str
    var: Path
    pid: int
    seconds: float


@contextlib.contextmanager
def running_demo(**env: str) -> Iterator[RunningDemo]:
    """`manage.py demo` until the block is left; then everything is stopped and the folder removed."""
    with tempfile.TemporaryDirectory(prefix="rillbook-demo-") as folder:
        began = time.monotonic()
        with subprocess.Popen(
            [sys.executable, "manage.py", "demo"],
            cwd=ROOT,
            env=os.environ | {"RILLBOOK_VAR": folder, "NO_COLOR": "1"} | env,
            stdout=subprocess.PIPE,
            text=True,
        ) as demo:
            try:
                yield RunningDemo(_address(demo), Path(folder), demo.pid, time.monotonic() - began)
            finally:
                demo.send_signal(signal.SIGINT)
                demo.stdout.read()
                demo.wait()


def _address(demo: subprocess.Popen) -> str:
    """The address that the demo prints once it answers."""
    for line in demo.stdout:
        if found := re.search(r"http://\S+", line):
            return found.group().rstrip("/")
    raise SystemExit("The demo did not start.")


def signed_in(demo: RunningDemo, email: str, password: str) -> urllib.request.OpenerDirector:
    """A browser without JavaScript, signed in."""
    cookies = http.cookiejar.CookieJar()
    browser = urllib.request.build_opener(urllib.request.HTTPCookieProcessor(cookies))
    browser.open(f"{demo.url}/account/login/").read()
    token = next(cookie.value for cookie in cookies if cookie.name == "csrftoken")
    form = {"login": email, "password": password, "csrfmiddlewaretoken": token}
    request = urllib.request.Request(  # noqa: S310 - our own http address
        f"{demo.url}/account/login/",
        data=urllib.parse.urlencode(form).encode(),
        headers={"Referer": f"{demo.url}/account/login/"},
    )
    browser.open(request).read()
    return browser
