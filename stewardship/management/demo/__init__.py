"""The demo program: an invented town, its people, basins, promises, rain and what was done about it.

Everything here and in the `fixtures` folder is invented. E-mail addresses end in example.org and
telephone numbers are 555-01xx, which belong to nobody.
"""

import csv
import json
from functools import cache
from typing import Any

from django.conf import settings

SEED = 20_317  # of the invented rain and of who is quick or slow to act
PASSWORD = "curb-to-root-7"  # noqa: S105  of every demo log-in; printed when the demo starts

#: (who they are, person in fixtures/people.csv, role, agency, e-mail)
LOGINS = (
    ("Coordinator", "solano-maren", "coordinator", "", "maren.solano@example.org"),
    ("Reviewer, streets", "kimble-darrow", "reviewer", "streets", "street.maintenance@example.org"),
    ("Reviewer, parks", "armijo-celina", "reviewer", "parks", "grounds@example.org"),
    ("Volunteer", "larkmoor-nell", "volunteer", "", "nell.larkmoor@example.org"),
    ("Gauge reader", "eastlake-morris", "reader", "", "morris.eastlake@example.org"),
)

#: (who, e-mail, password), for people who try the demo
DEMO_LOGINS = [(who, email, PASSWORD) for who, _person, _role, _agency, email in LOGINS]


def read_table(name: str) -> list[dict[str, str]]:
    """The rows of fixtures/<name>.csv."""
    path = settings.BASE_DIR / "fixtures" / f"{name}.csv"
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


@cache
def facts() -> dict[str, Any]:
    """fixtures/program.json: the program, its agencies, rules, and where the middle of the town is."""
    path = settings.BASE_DIR / "fixtures" / "program.json"
    loaded: dict[str, Any] = json.loads(path.read_text(encoding="utf-8"))
    return loaded
