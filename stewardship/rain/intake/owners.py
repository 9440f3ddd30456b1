"""Whose columns, rows or stations a file holds: matched with gauges by their codes, or as a person says."""

import re
from collections.abc import Iterable, Sequence

from django.utils.translation import gettext as _

from stewardship.common.errors import Refused
from stewardship.rain.models import Gauge

_UNIT_AT_END = re.compile(r"\s*([(\[].*[)\]]|\b(in|inch|inches|mm))\.?$", re.IGNORECASE)


class Owners:
    """Gauges by the names that a file has for them."""

    def __init__(self, said: str, gauges: Iterable[Gauge]) -> None:
        by_code = {gauge.code.casefold(): gauge for gauge in gauges}
        self.gauge_of = by_code.copy()
        told: dict[str, Gauge] = {}
        for part in filter(None, (one.strip() for one in re.split(r"[,;]", said))):
            name, sign, code = (piece.strip() for piece in part.rpartition("="))
            if not sign or not name:
                raise Refused(
                    _("“%s” does not say whose it is; write name in the file=gauge code.") % part
                )
            if code.casefold() not in by_code:
                raise Refused(
                    _("There is no gauge “%(code)s” here; there are %(codes)s.")
                    % {"code": code, "codes": ", ".join(g.code for g in by_code.values()) or "–"}
                )
            gauge = told[name.casefold()] = by_code[code.casefold()]
            self.gauge_of.pop(gauge.code.casefold(), None)  # what is said wins over its code
        self.gauge_of |= told

    def of(self, name: str) -> Gauge | None:
        """The gauge that a name in the file stands for; a unit behind it does not matter."""
        said = name.strip().casefold()
        return self.gauge_of.get(said) or self.gauge_of.get(_UNIT_AT_END.sub("", said))

    def of_columns(self, columns: Sequence[str], taken: Iterable[int]) -> dict[Gauge, int]:
        """The column of each gauge that has one. Refuses two columns for one gauge."""
        taken = set(taken)
        found: dict[Gauge, int] = {}
        for n, name in enumerate(columns):
            gauge = None if n in taken else self.of(name)
            if gauge is None:
                continue
            if gauge in found:
                raise Refused(
                    _("The columns “%(one)s” and “%(other)s” are both of gauge %(gauge)s.")
                    % {"one": columns[found[gauge]], "other": name, "gauge": gauge.code}
                )
            found[gauge] = n
        return found

    def column_of_names(
        self, width: int, body: Sequence[list[str]], taken: Iterable[int]
    ) -> tuple[int, dict[Gauge, str]] | None:
        """The column in which gauges are named, and the name of each, if there is one."""
        taken = set(taken)
        best: tuple[int, dict[Gauge, str]] | None = None
        for n in range(width):
            if n in taken:
                continue
            names = dict.fromkeys(cells[n].strip() for cells in body if len(cells) > n)
            found = {gauge: name for name in names if (gauge := self.gauge_of.get(name.casefold()))}
            if found and (best is None or len(found) > len(best[1])):
                best = n, found
        return best
