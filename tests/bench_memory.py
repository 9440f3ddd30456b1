"""How much memory the demo's processes take together: `python -m tests.bench_memory`."""

import time
from pathlib import Path

from tests.running_demo import RunningDemo, running_demo, signed_in

LIMIT_MB = 700
#: Sweeps of every kind have run by then: the slowest comes each 20 s in the demo.
SWEEPS_S = 30


def family(pid: int) -> list[int]:
    """A process and all that descend from it."""
    found = [pid]
    for parent in found:
        for task in Path(f"/proc/{parent}/task").iterdir():
            found += [int(child) for child in (task / "children").read_text().split()]
    return found


def memory_mb(pid: int, field: str) -> float:
    for line in Path(f"/proc/{pid}/smaps_rollup").read_text().splitlines():
        if line.startswith(f"{field}:"):
            return int(line.split()[1]) / 1024
    return 0.0


def report(words: str, demo: RunningDemo) -> float:
    """Print each process; return their resident memory together, shared pages counted each time. [MB]"""
    rows = [(memory_mb(pid, "Rss"), memory_mb(pid, "Pss"), what(pid)) for pid in family(demo.pid)]
    rss, pss = sum(row[0] for row in rows), sum(row[1] for row in rows)
    print(f"{words}: {rss:.0f} MB resident, {pss:.0f} MB with shared pages counted once")
    for own_rss, own_pss, name in rows:
        print(f"  {own_rss:6.0f} {own_pss:6.0f}  {name}")
    return rss


def what(pid: int) -> str:
    argv = Path(f"/proc/{pid}/cmdline").read_bytes().decode().split("\0")
    known = ("demo", "redis-server", "gunicorn", "worker", "beat")
    return next((word for word in known for arg in argv if word in arg), argv[0])


def main() -> None:
    from stewardship.management.demo import DEMO_LOGINS

    with running_demo(PORT="8091") as demo:
        print(f"Answers after {demo.seconds:.1f} s, with fresh data")
        peak = report("After start", demo)
        time.sleep(SWEEPS_S)
        peak = max(peak, report("After sweeps of every kind", demo))
        _who, email, password = DEMO_LOGINS[0]
        browser = signed_in(demo, email, password)
        for path in ("/", "/sites/", "/rain/storms/", "/people/", "/letters/paper/letters.pdf"):
            browser.open(demo.url + path).read()
        peak = max(peak, report("After some pages and a PDF", demo))
    print(f"{peak:.0f} MB of at most {LIMIT_MB} MB")
    if peak > LIMIT_MB:
        raise SystemExit(1)


if __name__ == "__main__":
    main()
