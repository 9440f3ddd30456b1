"""Taking lists in, row by row: each row stands or falls alone; a look does the same and keeps nothing."""

from collections import Counter, defaultdict
from collections.abc import Callable
from dataclasses import asdict, dataclass, field
from datetime import date
from typing import Any

from django.core.exceptions import ValidationError
from django.db import DatabaseError, transaction
from django.utils.translation import gettext as _

from people.likeness import folded
from people.models import Agency, Person, PersonExternalId, Program, User
from sites.models import Basin, Site
from stewardship.agreements.lists import cells
from stewardship.agreements.lists.reading import Lists, Row
from stewardship.agreements.lists.sheets import SHEETS
from stewardship.common.errors import Refused


class Fault(Exception):
    """What is wrong with one cell of a row, or with the row (no column)."""

    def __init__(self, column: str, words: str) -> None:
        super().__init__(words)
        self.column, self.words = column, words


@dataclass(frozen=True, slots=True)
class Outcome:
    """What became of one row: new, changed, same or refused; the last with the column and why."""

    sheet: str
    line: int
    label: str
    what: str
    column: str = ""
    words: str = ""


@dataclass
class Taking:
    """One run over the lists. `rows_of`: rows by the agreement they name."""

    lists: Lists
    kept_by: str
    order: str
    by: User | None
    today: date = field(default_factory=lambda: Program.get().today())
    outcomes: list[Outcome] = field(default_factory=list)
    people: dict[str, Person] = field(default_factory=dict)
    signers: dict[str, list[Row]] = field(default_factory=lambda: defaultdict(list))
    #: lines of a list that name what an earlier line names
    seen: dict[str, dict[str, int]] = field(default_factory=lambda: defaultdict(dict))

    def __post_init__(self) -> None:
        self.agencies = {agency.code.casefold(): agency for agency in Agency.objects.all()}
        for row in self.lists.rows.get("signers", []):
            self.signers[row["agreement"].casefold()].append(row)

    def cell(self, row: Row, column: str, read: Callable[..., Any], **how: Any) -> Any:
        """The cell as a value; what is wrong with it is told at its column."""
        if not row[column] and column in SHEETS[row.sheet].needed:
            raise Fault(column, _("This is needed."))
        try:
            return read(row[column], **how)
        except Refused as refusal:
            raise Fault(column, str(refusal)) from refusal

    def text(self, row: Row, column: str, *, longest: int = 200) -> str:
        words = " ".join(row[column].split())
        if not words and column in SHEETS[row.sheet].needed:
            raise Fault(column, _("This is needed."))
        if len(words) > longest:
            raise Fault(column, _("At most %d characters.") % longest)
        return words

    def day(self, row: Row, column: str) -> date | None:
        return self.cell(row, column, cells.day, order=self.order)

    def agency(self, row: Row) -> Agency | None:
        code = row["agency"].casefold()
        if not code:
            return None
        if code not in self.agencies:
            raise Fault("agency", _("There is no agency of the short name “%s”.") % row["agency"])
        return self.agencies[code]

    def once(self, row: Row, key: str, column: str) -> None:
        """Refuse a row that names what an earlier one named."""
        before = self.seen[row.sheet].setdefault(key.casefold(), row.line)
        if before != row.line:
            raise Fault(column, _("Line %d names the same.") % before)

    def person(self, key: str, column: str) -> Person:
        """Whom the list calls so."""
        found = self.people.get(key.casefold())
        if found is None and self.kept_by:
            link = PersonExternalId.objects.filter(kept_by=self.kept_by, value=key).first()
            found = link.person if link else None
        if found is None:
            raise Fault(column, _("Nobody is called “%s” in the list of people.") % key)
        return found

    def site(self, code: str, column: str) -> Site:
        found = Site.objects.filter(code__iexact=code).first()
        if found is None:
            raise Fault(column, _("There is no site “%s”.") % code)
        return found

    def basin(self, row: Row) -> Basin:
        site = self.site(self.text(row, "site"), "site")
        label = self.text(row, "basin")
        found = site.basins.filter(label__iexact=label).first()
        if found is None:
            raise Fault(
                "basin", _("%(site)s has no basin %(label)s.") % {"site": site, "label": label}
            )
        return found

    # -- running ------------------------------------------------------------------------------------------------
    def run(self) -> None:
        from stewardship.agreements.lists.rows import TAKE, build  # each row's own work

        for name in SHEETS:
            if name == "signers":
                continue  # with their agreement
            for row in self.lists.rows.get(name, []):
                self._row(row, TAKE[name])
        for row in self.lists.rows.get("sites", []):
            if row["built_on"]:
                self._row(row, build)
        known = {row["agreement"].casefold() for row in self.lists.rows.get("agreements", [])}
        for reference, rows in self.signers.items():
            if reference not in known:
                for row in rows:
                    self._refuse(
                        row, "agreement", _("The list of agreements does not have this one.")
                    )

    def _row(self, row: Row, take: Callable[["Taking", Row], str]) -> None:
        label = next(iter(row.cells.values()), "")
        try:
            with transaction.atomic():
                what = take(self, row)
        except Fault as fault:
            self._refuse(row, fault.column, fault.words)
        except Refused as refusal:
            self._refuse(row, "", str(refusal))
        except ValidationError as error:
            self._refuse(row, "", " ".join(error.messages))
        except DatabaseError:
            # a bound of the book that no sentence above has named; the row falls, the others stand
            self._refuse(row, "", _("These values do not go together, or one is too long."))
        else:
            if what:
                self.outcomes.append(Outcome(row.sheet, row.line, label, what))

    def _refuse(self, row: Row, column: str, words: str) -> None:
        label = next(iter(row.cells.values()), "")
        self.outcomes.append(Outcome(row.sheet, row.line, label, "refused", column, words))


class _KeepNothing(Exception):
    """Ends the transaction of a look."""


def go_through(
    lists: Lists, *, kept_by: str, order: str, by: User | None, keep: bool
) -> dict[str, Any]:
    """Take the lists in, or (`keep` False) only see what taking in would do.

    Returns {"counts": {sheet: {what: n}}, "faults": [outcome as dict], "unused": {sheet: [heading]}}.
    """
    taking = Taking(lists, kept_by, order, by)
    try:
        with transaction.atomic():
            taking.run()
            if not keep:
                raise _KeepNothing
    except _KeepNothing:
        pass
    counts: dict[str, Counter[str]] = defaultdict(Counter)
    for one in taking.outcomes:
        counts[one.sheet][one.what] += 1
    return {
        "counts": {sheet: dict(count) for sheet, count in counts.items()},
        "faults": [asdict(one) for one in taking.outcomes if one.what == "refused"],
        "unused": {sheet: names for sheet, names in lists.unused.items() if names},
    }


def same_name(person: Person, given: str, family: str) -> bool:
    return folded(person.full_name) == folded(f"{given} {family}")
