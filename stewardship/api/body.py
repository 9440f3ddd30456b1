"""The body of a request, from bytes to rows, with one sentence for what is wrong with the whole of it."""

import json
from decimal import Decimal, InvalidOperation
from typing import Any

from django.http import HttpRequest
from django.utils.translation import gettext as _

from stewardship.common.written import number_text
from stewardship.rain.services.pushing import MOST_ROWS

#: [bytes] A reading takes some 120; Django reads no more than 2.5 MB of a body anyway.
MOST_BYTES = 2_000_000


class BadBody(Exception):
    """Nothing of the request can be taken in: the status, why, and where in the body."""

    def __init__(self, status: int, detail: str, where: str = "") -> None:
        super().__init__(detail)
        self.status, self.detail, self.where = status, detail, where


def rows_of(request: HttpRequest) -> list[Any]:
    """The readings of a request as parsed JSON, numbers as Decimal, NaN and its like as text.

    Raises
    ------
    BadBody
    """
    length = request.headers.get("Content-Length", "")
    if not length.isdecimal() or length == "0":
        raise BadBody(422, _("The body is empty, or comes without a Content-Length."))
    if int(length[:20]) > MOST_BYTES:
        raise BadBody(
            413,
            _("The body has more than %s bytes. Send the readings in several requests.")
            % number_text(MOST_BYTES),
        )
    body = _parsed(request.body)
    if not isinstance(body, dict) or not isinstance(body.get("readings"), list):
        raise BadBody(422, _("The body is an object with a list of “readings”, this is not."))
    others = sorted(set(body) - {"readings"})
    if others:
        raise BadBody(
            422,
            _("The body has nothing beside “readings”, this has something else."),
            json.dumps(others[0])[:60],
        )
    rows: list[Any] = body["readings"]
    if not rows:
        raise BadBody(422, _("There are no readings in it."), "readings")
    if len(rows) > MOST_ROWS:
        raise BadBody(
            413,
            _("There are %(n)s readings in it; one request takes %(most)s.")
            % {"n": number_text(len(rows)), "most": number_text(MOST_ROWS)},
            f"readings[{MOST_ROWS}]",
        )
    return rows


def _number(said: str) -> Decimal | str:
    try:
        return Decimal(said)
    except InvalidOperation:  # an exponent of more digits than any machine counts
        return said


def _parsed(body: bytes) -> Any:
    try:
        text = body.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise BadBody(422, _("The body is not UTF-8."), f"byte {error.start}") from None
    try:
        # What is not JSON but commonly written (NaN, Infinity) spoils its own reading only.
        return json.loads(text, parse_float=_number, parse_int=_number, parse_constant=str)
    except json.JSONDecodeError as error:
        raise BadBody(
            422,
            _("The body is not JSON: %s.") % error.msg,
            f"line {error.lineno}, column {error.colno}",
        ) from None
    except RecursionError:
        raise BadBody(422, _("The body is nested too deeply to be readings.")) from None
