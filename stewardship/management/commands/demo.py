"""`manage.py demo`: prepares the demo program and runs it with everything it needs, until Ctrl-C."""

import fcntl
import hashlib
import os
import sys
from io import StringIO
from pathlib import Path
from typing import Any

from django.conf import settings
from django.contrib.staticfiles.finders import get_finders
from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError


class Command(BaseCommand):
    help = (
        "Prepares the demo program and runs it: web pages, worker, beat and a private Redis. "
        "HOST and PORT say where; Ctrl-C stops everything."
    )
    requires_system_checks = ()

    def handle(self, **options: Any) -> None:
        var: Path = settings.VAR_DIR.resolve()
        lock_one(var / "demo.lock")
        self.stdout.write("Preparing the demo; the first time takes a while …")
        self.stdout.flush()
        try:
            call_command("migrate", verbosity=0, interactive=False)
            collect_static(var)
            call_command("load_demo", stdout=self.stdout)
            call_command("make_seal", stdout=StringIO())
        except KeyboardInterrupt:
            raise CommandError("Stopped before it was ready; nothing is half-done.") from None
        self.stdout.flush()
        # Gives back the memory that all this took: what watches over the processes needs neither Django nor the database.
        os.environ["RILLBOOK_VAR"] = str(var)
        os.chdir(settings.BASE_DIR)
        runner = [sys.executable, "-m", "stewardship.management.run_demo"]
        os.execv(sys.executable, runner)  # noqa: S606 - our own module


def lock_one(path: Path) -> None:
    """Refuse to run twice in one folder. The lock ends with the process, however it ends, and outlives an exec."""
    lock = os.open(path, os.O_RDWR | os.O_CREAT, 0o600)
    try:
        fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        os.close(lock)
        raise CommandError("The demo is running already in this folder; stop it first.") from None
    os.set_inheritable(lock, True)


def collect_static(var: Path) -> None:
    """Static files, unless those they come from are the same as last time: compressing them takes seconds."""
    sources = hashlib.sha256()
    for finder in get_finders():
        for path, storage in finder.list([]):
            stat = Path(storage.path(path)).stat()
            sources.update(f"{path} {stat.st_size} {stat.st_mtime_ns}\n".encode())
    mark = var / "static.sha256"
    if not mark.exists() or mark.read_text() != sources.hexdigest():
        call_command("collectstatic", verbosity=0, interactive=False, clear=True)
        mark.write_text(sources.hexdigest())
