"""What a report counts. Every figure is made of its dated rows, so it can always be asked "which ones?".

The state of a duty is taken as of the last day of the period (or today, while the period runs): what was met after that day
belongs to the next period. The same figures, as plain data, are what an issued report keeps.
"""

from collections.abc import Iterable
from dataclasses import asdict, dataclass, field
from datetime import date
from statistics import median
from typing import Any

from django.utils.functional import Promise


@dataclass(frozen=True)
class Period:
    """A span of days, both ends included, and the day as of which it is told."""

    starts_on: date
    ends_on: date
    as_of: date

    @classmethod
    def until(cls, starts_on: date, ends_on: date, *, today: date) -> "Period":
        """The period as it can be told today: a running one is told as of today."""
        return cls(starts_on, ends_on, min(ends_on, today))

    @property
    def is_running(self) -> bool:
        return self.as_of < self.ends_on

    def holds(self, day: date) -> bool:
        return self.starts_on <= day <= self.as_of


@dataclass(frozen=True)
class Row:
    """One dated fact behind a figure. `amount` is what a sum or a median takes."""

    day: date | None
    site: str
    what: str
    amount: float | None = None


@dataclass(frozen=True)
class Figure:
    """A number and the rows it is made of. `kind`: "count" of rows, "sum" or "median" of their amounts.

    `unit`: "" for a count, else "days", "hours", "litres" or "m3". `basis`: "record" (written down by people) or "estimate".
    """

    key: str
    label: str | Promise
    kind: str = "count"
    unit: str = ""
    basis: str = "record"
    rows: list[Row] = field(default_factory=list)

    @property
    def value(self) -> float | int | None:
        """The number; None for a median of nothing."""
        if self.kind == "count":
            return len(self.rows)
        amounts = [row.amount for row in self.rows if row.amount is not None]
        if self.kind == "sum":
            return sum(amounts)
        return median(amounts) if amounts else None

    @property
    def without_amount(self) -> int:
        """Rows of a sum that carry no amount, e.g. visits whose time nobody wrote down."""
        return 0 if self.kind == "count" else sum(row.amount is None for row in self.rows)


@dataclass(frozen=True)
class Group:
    title: str | Promise
    figures: list[Figure]


@dataclass(frozen=True)
class SiteLine:
    """One site's line in the table. Words are in the report's language; counts are of the period."""

    code: str
    address: str
    agency: str
    condition: str
    condition_words: str
    agreement: str
    agreement_ends_on: date | None
    looks: int
    last_look_on: date | None
    evidence: str
    opened: int
    met_in_time: int
    met_late: int
    overdue: int
    litres: float


@dataclass(frozen=True)
class AgencyLine:
    """How many of an agency's sites; an empty name stands for ground that no agency owns."""

    name: str
    built: int
    in_force: int
    looked_at: int
    wanting: int
    overdue: int
    unknown: int


@dataclass(frozen=True)
class StormLine:
    """One storm: greatest depth at a gauge, least and greatest at the sites told of here, sites without a figure. [µm]"""

    day: date
    hours: float
    greatest_um: int
    site_least_um: int | None
    site_greatest_um: int | None
    sites_unknown: int
    over_threshold: bool
    revision: int


@dataclass(frozen=True)
class Figures:
    """Everything that a report says. `scope` is the agency whose sites are counted; "" for the whole program."""

    period: Period
    scope: str
    known_for_days: int
    thresholds_um: list[int]
    groups: list[Group]
    by_agency: list[AgencyLine]
    by_site: list[SiteLine]
    storms: list[StormLine]

    def figure(self, key: str) -> Figure:
        for group in self.groups:
            for figure in group.figures:
                if figure.key == key:
                    return figure
        raise KeyError(key)

    def value(self, key: str) -> float | int | None:
        return self.figure(key).value

    def as_data(self) -> dict[str, Any]:
        """Plain data for freezing: dates as ISO text, lazy words as text, every figure with its value."""
        data = _plain(asdict(self))
        for group, own in zip(data["groups"], self.groups, strict=True):
            for figure, its in zip(group["figures"], own.figures, strict=True):
                figure["value"] = its.value
                figure["without_amount"] = its.without_amount
        return data


def _plain(value: Any) -> Any:
    if isinstance(value, dict):
        return {name: _plain(item) for name, item in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(item) for item in value]
    if isinstance(value, date):
        return value.isoformat()
    return str(value) if isinstance(value, Promise) else value


def count_by(rows: Iterable[Row]) -> dict[str, int]:
    """How many rows each site has."""
    counts: dict[str, int] = {}
    for row in rows:
        counts[row.site] = counts.get(row.site, 0) + 1
    return counts
