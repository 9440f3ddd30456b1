"""How long somebody else who writes waits on SQLite while the largest upload is worked on: `python -m tests.bench_waiting [seed]`.

SQLite has one writer. A second process writes a row fifty times a second and notes how long each write takes, while a file of as many
rows as an upload may hold is taken in, its storms are found, all its wet rows are corrected, and both files are taken back. Nobody gets
an error as long as the longest wait stays below the setting; more than half of it fails.
"""

import os
import sqlite3
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from platform import processor, python_version
from typing import Any

import numpy as np

FIRST = datetime(2019, 1, 1, 7, tzinfo=UTC)
ROW_BYTES = 19  # of a row as dense as they come: "2019-01-01 00:01,0" and its line end
SITES = 30
#: between two writes of the other process [s]
PAUSE_S = 0.02


def rain_ticks(rng: np.random.Generator, rows: int) -> np.ndarray:
    """Hundredths of an inch in each minute: about four hundred showers a year of half an hour to ten hours, one minute in nine wet."""
    raining = np.zeros(rows, dtype=bool)
    for first in rng.integers(0, rows, rows // 1_300):
        raining[first : first + rng.integers(30, 600)] = True
    wet = raining & (rng.random(rows) < 0.5)
    return np.where(wet, rng.integers(1, 4, rows), 0)


def write_csv(path: Path, ticks: np.ndarray) -> None:
    with path.open("w") as file:
        file.write("time,rain\n")
        for n, tick in enumerate(ticks.tolist()):
            stamp = FIRST + timedelta(minutes=n)
            file.write(f"{stamp:%Y-%m-%d %H:%M},{tick / 100 if tick else 0:g}\n")


class OtherWriter:
    """A process that writes now and then, and how long it waited."""

    def __init__(self, database: str, notes: Path) -> None:
        self.notes = notes
        self.longest_s = 0.0
        notes.touch()
        self.process = subprocess.Popen(
            [sys.executable, "-m", "tests.bench_waiting", database, notes]
        )

    def during(self, what: str, work: Callable[[], Any]) -> Any:
        """Print how long work took and the longest wait meanwhile; returns its result."""
        noted = self.notes.stat().st_size
        before = time.perf_counter()
        result = work()
        took_s = time.perf_counter() - before
        time.sleep(20 * PAUSE_S)  # the write that waited is noted after it
        with self.notes.open() as file:
            file.seek(noted)
            waits = [float(line) for line in file.read().split()]
        print(f"{what:24} {took_s:7.2f} s   longest wait {max(waits):7.2f} s", flush=True)
        self.longest_s = max(self.longest_s, *waits)
        return result


def write_on(database: str, notes: Path) -> None:
    other = sqlite3.connect(database, timeout=3_600, isolation_level=None)
    with notes.open("a", buffering=1) as file:
        while True:
            before = time.perf_counter()
            other.execute("BEGIN IMMEDIATE")
            other.execute("UPDATE people_program SET name = name")
            other.execute("COMMIT")
            file.write(f"{time.perf_counter() - before:.3f}\n")
            time.sleep(PAUSE_S)


def run(seed: int, folder: Path) -> None:
    from django.core.management import call_command
    from django.db import connection

    from stewardship.rain.forms.files import MOST_UPLOADED_BYTES
    from stewardship.rain.services import (
        confirm_file,
        find_waiting_storms,
        look_through,
        take_in,
        undo_batch,
        upload_file,
    )
    from tests import factory

    call_command("migrate", verbosity=0)
    factory.make_program()
    for number in range(SITES):
        factory.make_built_site(f"S-{number}", on=FIRST.date())
    gauge = factory.make_gauge("BENCH", started_on=FIRST.date() - timedelta(days=1))
    by = factory.make_user("coordinator")
    rows = MOST_UPLOADED_BYTES // ROW_BYTES
    ticks = rain_ticks(np.random.default_rng(seed), rows)
    print(f"{rows:,} rows of a minute, {(ticks > 0).sum():,} wet, {SITES} sites, seed {seed}")
    others = OtherWriter(connection.settings_dict["NAME"], folder / "waits")

    def bring(name: str, ticks: np.ndarray):
        path = folder / "rain.csv"
        write_csv(path, ticks)
        with path.open("rb") as content:
            file = others.during(
                f"{name}: uploaded",
                lambda: upload_file(gauge=gauge, file_name=path.name, content=content, by=by),
            )
        others.during(f"{name}: looked through", lambda: look_through(file.pk))
        file.refresh_from_db()
        confirm_file(file=file, seen=file.looked_at.isoformat(), by=by)
        others.during(f"{name}: taken in", lambda: take_in(file.pk))
        others.during(f"{name}: storms found", find_waiting_storms)
        return file.batches.get()

    try:
        first = bring("new", ticks)
        second = bring("corrected", 2 * ticks)
        for name, batch in (("corrected", second), ("new", first)):
            others.during(
                f"{name}: taken back", lambda batch=batch: undo_batch(batch=batch, by=by, why="-")
            )
            others.during(f"{name}: storms found", find_waiting_storms)
    finally:
        others.process.kill()
        others.process.wait()
    limit_s = connection.settings_dict["OPTIONS"]["timeout"]
    print(
        f"longest wait {others.longest_s:.1f} s; a writer waits up to {limit_s} s before it gives up"
    )
    if others.longest_s > limit_s / 2:
        raise SystemExit(1)


def main() -> None:
    if len(sys.argv) == 3:
        write_on(sys.argv[1], Path(sys.argv[2]))
    print(
        f"Python {python_version()}, {processor() or 'processor unknown'}, {os.cpu_count()} cores, "
        f"SQLite {sqlite3.sqlite_version}"
    )
    with tempfile.TemporaryDirectory() as folder:
        # A database and settings of its own, whatever the shell says.
        os.environ["RILLBOOK_VAR"] = folder
        os.environ.pop("DATABASE_URL", None)
        os.environ.setdefault("LOG_LEVEL", "ERROR")
        os.environ["DJANGO_SETTINGS_MODULE"] = "tests.settings"
        import django
        from django.db import connections

        django.setup()
        try:
            run(int(sys.argv[1]) if len(sys.argv) > 1 else 1, Path(folder))
        finally:
            connections.close_all()


if __name__ == "__main__":
    main()
