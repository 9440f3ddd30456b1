"""How fast and how lean importing is: `python -m tests.bench_import [seed]`. Prints figures, judges nothing.

A million-row CSV of 5-min readings is validated, stored and split into storms. The baseline is the raw insert of the same rows: ready as
tuples, put into the same empty table, with its indexes, checks and foreign keys, by one plain `executemany`, or by COPY if DATABASE_URL
names a PostgreSQL server (`.ci/with-postgres .venv/bin/python -m tests.bench_import`). A table that would take any gauge and any batch is
not the same table, so without foreign keys it is printed beside and not held against the limit. Then one new reading comes in on the gauge with these nine and a half years
behind it; and the same file goes the way of the page: uploaded, looked through by a worker that writes nothing, confirmed, taken in.
The database is its own: a temporary SQLite, or a test database on that server.
"""

import os
import resource
import sqlite3
import statistics
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from itertools import repeat
from pathlib import Path
from platform import processor, python_version

import numpy as np

ROWS = 1_000_000
STEP_S = 300
FIRST = datetime(2017, 1, 1, tzinfo=UTC)
TICK_UM = 254  # 0.01 in
ONE_MORE_TIMES = 21
#: What is promised: import and storms over the raw insert, memory of it all, one more reading.
MOST_TIMES, MOST_MB, MOST_ONE_MORE_MS = 3, 500, 100
SITES = 30


def rain_ticks(rng: np.random.Generator) -> np.ndarray:
    """Hundredths of an inch in each step: about four hundred showers a year of half an hour to ten hours, one step in ten wet."""
    raining = np.zeros(ROWS, dtype=bool)
    for first in rng.integers(0, ROWS, 2_200):
        raining[first : first + rng.integers(6, 120)] = True
    wet = raining & (rng.random(ROWS) < 0.8)
    return np.where(wet, rng.geometric(0.4, ROWS), 0)


def write_csv(path: Path, ticks: np.ndarray) -> None:
    with path.open("w") as file:
        file.write("time,rain\n")
        for n, tick in enumerate(ticks.tolist(), start=1):
            stamp = FIRST + timedelta(seconds=n * STEP_S)
            file.write(f"{stamp:%Y-%m-%dT%H:%M:%SZ},{tick / 100:.2f}\n")


@contextmanager
def timed(found: dict[str, float], what: str) -> Iterator[None]:
    before = time.perf_counter()
    yield
    found[what] = time.perf_counter() - before


def peak_mb() -> float:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


NAMES = "gauge_id, start_s, end_s, kind, depth_um, typed, batch_id"


def ready_rows(ticks: np.ndarray) -> list[tuple]:
    starts = (int(FIRST.timestamp()) + STEP_S * np.arange(ROWS)).tolist()
    return list(
        zip(
            repeat(1),
            starts,
            [start + STEP_S for start in starts],
            ["measured" if tick else "zero" for tick in ticks.tolist()],
            [tick * TICK_UM for tick in ticks.tolist()],
            [f"{tick / 100:.2f} in" for tick in ticks.tolist()],
            repeat(1),
        )
    )


def plain_insert(ticks: np.ndarray, *, keys: bool) -> float:
    """Seconds of the baseline: the same rows into the same table in a database of its own, foreign keys looked at or not. [s]"""
    from django.db import connection

    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT sql FROM sqlite_master WHERE tbl_name = 'rain_reading' AND sql NOT NULL"
        )
        made = [sql for (sql,) in cursor.fetchall()]
    rows = ready_rows(ticks)
    with tempfile.TemporaryDirectory() as folder:
        database = sqlite3.connect(Path(folder) / "plain.sqlite3", isolation_level=None)
        database.executescript("PRAGMA journal_mode=WAL; PRAGMA synchronous=NORMAL;")
        for sql in made:
            database.execute(sql)
        for parent in ("rain_gauge", "rain_readingbatch"):
            database.execute(f"CREATE TABLE {parent} (id INTEGER PRIMARY KEY)")
            database.execute(f"INSERT INTO {parent} VALUES (1)")
        database.execute(f"PRAGMA foreign_keys={'ON' if keys else 'OFF'}")
        before = time.perf_counter()
        database.execute("BEGIN IMMEDIATE")
        database.executemany(
            f"INSERT INTO rain_reading ({NAMES}) VALUES (?, ?, ?, ?, ?, ?, ?)",  # noqa: S608
            rows,
        )
        database.execute("COMMIT")
        seconds = time.perf_counter() - before
        database.close()
    return seconds


def plain_copy(ticks: np.ndarray, batch, *, keys: bool) -> float:
    """Seconds of the baseline on PostgreSQL: COPY of the same rows into the same empty table, or one like it without foreign keys. [s]"""
    from django.db import connection, transaction

    rows = [(batch.gauge_id, *row[1:-1], batch.pk) for row in ready_rows(ticks)]
    with connection.cursor() as cursor:
        cursor.execute("TRUNCATE rain_reading CASCADE")
        # LIKE … INCLUDING ALL takes over indexes and checks, but no foreign keys (PostgreSQL manual, CREATE TABLE).
        cursor.execute("CREATE TABLE without_keys (LIKE rain_reading INCLUDING ALL)")
    table = "rain_reading" if keys else "without_keys"
    before = time.perf_counter()
    with (
        transaction.atomic(),
        connection.cursor() as cursor,
        cursor.copy(f"COPY {table} ({NAMES}) FROM STDIN") as copy,
    ):
        for row in rows:
            copy.write_row(row)
    seconds = time.perf_counter() - before
    with connection.cursor() as cursor:
        cursor.execute("DROP TABLE without_keys")
    return seconds


def the_pages_way(path: Path) -> None:
    """Upload the file as the page does, and work on it as the worker does."""
    from stewardship.rain.models import ReadingFile
    from stewardship.rain.services import confirm_file, look_through, take_in, upload_file
    from tests import factory

    took: dict[str, float] = {}
    by = factory.make_user("coordinator")
    gauge = factory.make_gauge("PAGE", started_on=FIRST.date() - timedelta(days=1))
    with path.open("rb") as content, timed(took, "upload"):
        file = upload_file(gauge=gauge, file_name=path.name, content=content, by=by)
    with timed(took, "look"):
        assert look_through(file.pk)
    file.refresh_from_db()
    confirm_file(file=file, seen=file.looked_at.isoformat(), by=by)
    with timed(took, "take"):
        assert take_in(file.pk)
    file = ReadingFile.objects.get()
    assert (file.state, file.batches.get().added) == ("taken", ROWS), file.refusal
    print(f"uploaded               {took['upload']:6.2f} s   kept in parts")
    print(f"looked through         {took['look']:6.2f} s   by the worker, nothing written")
    print(f"taken in               {took['take']:6.2f} s   by the worker, one transaction")


def one_more(gauge, n: int) -> tuple[float, float]:
    """Time to take in one more wet reading and find its storm, water at 30 sites included: by the clock, of the processor. [ms]"""
    from stewardship.rain.choices import BatchSource, ReadingKind
    from stewardship.rain.services import add_readings, find_waiting_storms

    start_s = int(FIRST.timestamp()) + STEP_S * (ROWS + n)
    before, own_before = time.perf_counter(), time.process_time()
    row = (start_s, start_s + STEP_S, ReadingKind.MEASURED, 2 * TICK_UM, "0.02 in")
    add_readings(gauge=gauge, rows=[row], source=BatchSource.DEMO)
    find_waiting_storms()
    return (time.perf_counter() - before) * 1000, (time.process_time() - own_before) * 1000


def run(seed: int, folder: Path) -> None:
    from django.core.management import call_command
    from django.db import connection

    from stewardship.rain.intake.ingest import import_file
    from stewardship.rain.models import GaugeStorm
    from stewardship.rain.services import find_waiting_storms
    from tests import factory

    call_command("migrate", verbosity=0)
    factory.make_program()
    gauge = factory.make_gauge("BENCH", started_on=FIRST.date() - timedelta(days=1))
    path = folder / "million.csv"
    ticks = rain_ticks(np.random.default_rng(seed))
    write_csv(path, ticks)
    size_mb = path.stat().st_size / 1e6
    print(f"{ROWS:,} rows of 5 min, {size_mb:.0f} MB, seed {seed}")

    took: dict[str, float] = {}
    start_mb = peak_mb()
    with timed(took, "import"):
        batch = import_file(gauge=gauge, file_name=path.name, content=path)
    with timed(took, "storms"):
        find_waiting_storms()
    whole_mb = peak_mb()
    storms = GaugeStorm.objects.count()
    assert (batch.added, batch.rejected) == (ROWS, 0)
    print(f"validated and stored   {took['import']:6.2f} s")
    print(f"split into storms      {took['storms']:6.2f} s   {storms:,} storms with all windows")
    print(
        f"peak memory            {whole_mb:6.0f} MB  ({start_mb:.0f} MB before the import; at most {MOST_MB})"
    )

    for number in range(SITES):
        factory.make_built_site(f"S-{number}", on=FIRST.date())
    times, own = zip(*(one_more(gauge, n) for n in range(ONE_MORE_TIMES)), strict=True)
    print(
        f"one new reading        {statistics.median(times):6.1f} ms  median of {ONE_MORE_TIMES}, {SITES} sites; at most "
        f"{MOST_ONE_MORE_MS}; processor {statistics.median(own):.1f} ms; slowest {max(times):.0f} ms"
    )

    the_pages_way(path)
    print(f"peak memory            {peak_mb():6.0f} MB  (at most {MOST_MB})")
    copies = connection.vendor == "postgresql"
    whole_s = took["import"] + took["storms"]
    name = "COPY" if copies else "executemany"
    for keys in (True, False):
        plain_s = plain_copy(ticks, batch, keys=keys) if copies else plain_insert(ticks, keys=keys)
        said = "with its" if keys else "without"
        print(
            f"raw insert, {name:11}{plain_s:6.2f} s   the same rows into the same table {said} foreign keys"
        )
        limit = f" (at most {MOST_TIMES})" if keys else ", beside"
        print(f"import and storms take {whole_s / plain_s:6.2f} times that{limit}")


def main() -> None:
    seed = int(sys.argv[1]) if len(sys.argv) > 1 else 1
    print(
        f"Python {python_version()}, {processor() or 'processor unknown'}, {os.cpu_count()} cores"
    )
    with tempfile.TemporaryDirectory() as folder:
        # A database and settings of its own, whatever the shell says.
        os.environ["RILLBOOK_VAR"] = folder
        if not os.environ.get("DATABASE_URL", "").startswith("postgres"):
            os.environ.pop("DATABASE_URL", None)
        os.environ.setdefault("LOG_LEVEL", "ERROR")
        os.environ["DJANGO_SETTINGS_MODULE"] = "tests.settings"
        import django
        from django.db import connection, connections

        django.setup()
        own, name = connection.vendor == "postgresql", connection.settings_dict["NAME"]
        if own:
            connection.creation.create_test_db(verbosity=0, autoclobber=True)
        try:
            run(seed, Path(folder))
        finally:
            if own:
                connection.creation.destroy_test_db(name, verbosity=0)
            connections.close_all()


if __name__ == "__main__":
    main()
