"""Readings as a machine sends them: objects parsed from JSON, each understood or refused by itself."""

import json
import re
from collections.abc import Sequence
from datetime import UTC, datetime
from decimal import Decimal
from typing import Any, NamedTuple

import numpy as np
from django.utils.translation import gettext as _

from stewardship.rain.choices import DepthUnit, ReadingKind
from stewardship.rain.intake.amounts import read_amount
from stewardship.rain.intake.blocks import KINDS, NO_DEPTH, Block
from stewardship.rain.times import LONGEST_DAY_S, seconds

FIELDS = ("start", "end", "step", "depth", "unit", "kind")
#: UCUM, the Unified Code for Units of Measure: the international inch, the millimetre
UCUM = {"[in_i]": DepthUnit.INCH, "mm": DepthUnit.MM}
#: RFC 3339, section 5.6, date-time: the offset is not optional
_MOMENT = re.compile(
    r"\d{4}-\d\d-\d\d[Tt ]\d\d:\d\d:\d\d(?P<part>\.\d+)?([Zz]|[+-]\d\d:\d\d)", re.ASCII
)
_NAIVE = re.compile(r"\d{4}-\d\d-\d\d[Tt ]\d\d:\d\d(:\d\d(\.\d+)?)?", re.ASCII)
#: RFC 3339, appendix A, duration, without months and years, which have no fixed length
_STEP = re.compile(
    r"P(?=[\dT])(?:(\d{1,2})D)?(?:T(?=\d)(?:(\d{1,3})H)?(?:(\d{1,5})M)?(?:(\d{1,7})S)?)?", re.ASCII
)
_YEARS = range(1800, 2200)  # far enough for any record of rain, near enough to be a date anywhere
SHOWN = 60  # characters of a value in a sentence about it
_WITHOUT_DEPTH = (ReadingKind.ZERO, ReadingKind.TRACE, ReadingKind.MISSING)


class _Row(NamedTuple):
    start_s: int = 0
    end_s: int = 0
    kind: str = ReadingKind.MISSING
    depth_um: int | None = None
    typed: str = ""


class _Wrong(Exception):
    """What is wrong with a row, in words."""


def block_of_rows(rows: Sequence[Any]) -> Block:
    """Parsed rows as a block. Lines count from 0, as the answer does; a row that is not understood carries why.

    A row is {"start" or "step", "end", "depth" with "unit", "kind"}: moments as RFC 3339 writes them with their offset, `step` a
    duration, `depth` a Decimal, `unit` a UCUM code. Rows that say different things of one interval are all refused.
    """
    understood: list[_Row] = []
    why: dict[int, str] = {}
    for n, row in enumerate(rows):
        try:
            understood.append(_row(row))
        except _Wrong as wrong:
            understood.append(_Row())
            why[n] = str(wrong)
    _refuse_contradictions(understood, why)
    return Block(
        line=np.arange(len(rows)),
        start_s=np.array([row.start_s for row in understood], dtype=np.int64),
        end_s=np.array([row.end_s for row in understood], dtype=np.int64),
        kind=np.array([KINDS.index(row.kind) for row in understood], dtype=np.int64),
        depth_um=np.array(
            [NO_DEPTH if row.depth_um is None else row.depth_um for row in understood],
            dtype=np.int64,
        ),
        typed=[row.typed for row in understood],
        # Plain ASCII: half a character pair or a zero byte, which JSON may hold, fits no database.
        text=[json.dumps(row, default=str) for row in rows],
        why=why,
    )


def _row(row: Any) -> _Row:
    if not isinstance(row, dict):
        raise _Wrong(_("A reading is an object, as {…}; this is %s.") % _shown(row))
    for name in row:
        if name not in FIELDS:
            raise _Wrong(
                _("%(name)s is not known here; a reading has %(fields)s.")
                % {"name": _shown(name), "fields": ", ".join(FIELDS)}
            )
    start_s, end_s = _interval(row)
    kind, depth_um, typed = _amount(row)
    if kind == ReadingKind.MULTI_DAY and end_s - start_s <= LONGEST_DAY_S:
        raise _Wrong(_("A total of several days spans more than a day."))
    return _Row(start_s, end_s, kind, depth_um, typed)


def _interval(row: dict[str, Any]) -> tuple[int, int]:
    start, end, step = (row.get(name) for name in ("start", "end", "step"))
    if end is None:
        raise _Wrong(_("“end” is missing: the moment at which the reading ends."))
    if (start is None) == (step is None):
        raise _Wrong(_("Give either “start” or “step”, so that it is known how long it rained."))
    end_s = _moment_s("end", end)
    return (_moment_s("start", start) if step is None else end_s - _step_s(step)), end_s


def _moment_s(name: str, said: Any) -> int:
    facts = {"name": name, "said": _shown(said)}
    found = _MOMENT.fullmatch(said) if isinstance(said, str) else None
    if found is None:
        if isinstance(said, str) and _NAIVE.fullmatch(said):
            raise _Wrong(
                _("“%(name)s” is %(said)s, without an offset: write Z or one as -06:00 behind it.")
                % facts
            )
        raise _Wrong(
            _("“%(name)s” is %(said)s, not a moment as 2026-07-14T15:15:00-06:00 is.") % facts
        )
    if found["part"] and found["part"].strip(".0"):
        raise _Wrong(_("“%(name)s” is %(said)s; readings keep whole seconds.") % facts)
    whole = said.replace(found["part"], "") if found["part"] else said
    try:
        moment = datetime.fromisoformat(whole.upper())
    except ValueError:
        raise _Wrong(
            _("“%(name)s” is %(said)s, which no calendar or clock shows.") % facts
        ) from None
    if moment.replace(tzinfo=UTC).year not in _YEARS:
        raise _Wrong(_("“%(name)s” is %(said)s, too far from now.") % facts)
    return seconds(moment)


def _step_s(said: Any) -> int:
    found = _STEP.fullmatch(said) if isinstance(said, str) else None
    if found is None:
        raise _Wrong(
            _("“step” is %s, not a duration as PT15M is, for fifteen minutes.") % _shown(said)
        )
    days, hours, minutes, rest = (int(part or 0) for part in found.groups())
    return ((days * 24 + hours) * 60 + minutes) * 60 + rest


def _amount(row: dict[str, Any]) -> tuple[str, int | None, str]:
    depth, unit, kind = (row.get(name) for name in ("depth", "unit", "kind"))
    if kind is not None and kind not in KINDS:
        raise _Wrong(
            _("“kind” is %(said)s; it may be %(kinds)s.")
            % {"said": _shown(kind), "kinds": ", ".join(KINDS)}
        )
    if kind in _WITHOUT_DEPTH:
        if depth is not None and depth != 0 or kind == ReadingKind.MISSING and depth is not None:
            raise _Wrong(_("A reading of kind “%s” has no depth.") % kind)
        return kind, None if kind == ReadingKind.MISSING else 0, ""
    if depth is None:
        raise _Wrong(_("There is no depth. If nobody knows it, say “kind”: “missing”."))
    if isinstance(depth, bool) or not isinstance(depth, Decimal):
        raise _Wrong(_("“depth” is %s, not a number.") % _shown(depth))
    if not isinstance(unit, str) or unit not in UCUM:
        said = _("missing") if unit is None else _shown(unit)
        raise _Wrong(
            _("“unit” is %(said)s; it may be %(units)s.")
            % {"said": said, "units": _(" or ").join(UCUM)}
        )
    if depth < 0:
        raise _Wrong(
            _("“depth” is below zero; rain is not. If nobody knows it, say “kind”: “missing”.")
        )
    amount = read_amount(str(depth), unit=UCUM[unit])
    if amount.problem:
        raise _Wrong(amount.problem)
    if kind == ReadingKind.MULTI_DAY:
        return kind, amount.depth_um or 0, amount.typed
    return amount.kind, amount.depth_um, amount.typed


def _refuse_contradictions(rows: list[_Row], why: dict[int, str]) -> None:
    """Rows of one request that give different depths for one interval: which is right, nobody can tell."""
    said: dict[tuple[int, int], dict[tuple[str, int | None], int]] = {}
    for n, row in enumerate(rows):
        if n not in why and row.kind != ReadingKind.MISSING:
            said.setdefault((row.start_s, row.end_s), {}).setdefault((row.kind, row.depth_um), n)
    for n, row in enumerate(rows):
        values = said.get((row.start_s, row.end_s), {})
        if n in why or row.kind == ReadingKind.MISSING or len(values) < 2:
            continue
        other = next(at for value, at in values.items() if value != (row.kind, row.depth_um))
        why[n] = _("Reading %s of this request gives another depth for the same time.") % other


def _shown(value: Any) -> str:
    """A value as it came, short and in plain letters."""
    said = str(value) if isinstance(value, Decimal) else json.dumps(value, default=str)
    return said if len(said) <= SHOWN else f"{said[:SHOWN]}…"
