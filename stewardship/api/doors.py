"""The doors for machines: a token instead of a session, JSON instead of pages."""

from http import HTTPStatus
from typing import Any, Literal

from django.conf import settings
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.utils.translation import gettext as _
from ninja import NinjaAPI, Schema
from ninja.errors import AuthenticationError
from ninja.openapi.schema import OpenAPISchema
from ninja.security import HttpBearer

from stewardship.api import document
from stewardship.api.body import BadBody, rows_of
from stewardship.rain.choices import Became
from stewardship.rain.models import GaugeToken
from stewardship.rain.services.pushing import REQUESTS_WITHIN, TooOften, push_readings
from stewardship.rain.services.tokens import token_of


class BearerToken(HttpBearer):
    """RFC 6750: `Authorization: Bearer …`, with the token of one gauge."""

    def authenticate(self, request: HttpRequest, token: str) -> GaugeToken | None:
        return token_of(token.strip())


class RowAnswer(Schema):
    """What became of one reading; `index` counts from 0."""

    index: int
    result: Literal["new", "same", "corrected", "refused"]
    reason: str | None = None


class Answer(Schema):
    """What became of the readings of a request, and of each of them in the order in which they came."""

    gauge: str
    new: int
    same: int
    corrected: int
    refused: int
    readings: list[RowAnswer]


class Doors(NinjaAPI):
    """Adds to the OpenAPI document what is read by hand: the request's readings, and problems."""

    def get_openapi_schema(self, **how: Any) -> OpenAPISchema:
        said = super().get_openapi_schema(**how)
        said["servers"] = [{"url": settings.SITE_URL}]
        said["components"]["schemas"] |= {
            "Reading": document.READING,
            "Problem": document.PROBLEM,
        }
        return said


api = Doors(
    title=document.TITLE,
    version="1",
    description=document.ABOUT,
    docs_url=None,
    openapi_url="/openapi.json",
    urls_namespace="api",
)


@api.post(
    "/readings",
    auth=BearerToken(),
    response={200: Answer},
    exclude_none=True,
    url_name="readings",
    operation_id="hand_in_readings",
    summary="Hand in readings of the gauge that the token is for",
    openapi_extra=document.READINGS,
)
def readings(request: HttpRequest) -> dict[str, Any]:
    pushed = push_readings(token=request.auth, rows=rows_of(request))  # type: ignore[attr-defined]
    batch = pushed.batch
    return {
        "gauge": batch.gauge.code,
        "new": batch.added,
        "same": batch.same,
        "corrected": batch.corrected,
        "refused": batch.rejected,
        "readings": [
            {"index": n, "result": one.became}
            | ({"reason": one.why} if one.became == Became.REFUSED else {})
            for n, one in enumerate(pushed.outcomes)
        ],
    }


def _problem(status: int, detail: str, where: str = "", **headers: str) -> HttpResponse:
    said = {"title": HTTPStatus(status).phrase, "status": status, "detail": detail}
    return JsonResponse(
        said | ({"where": where} if where else {}),
        status=status,
        content_type=document.PROBLEM_TYPE,
        headers=headers,
    )


@api.exception_handler(AuthenticationError)
def _no_token(request: HttpRequest, _error: AuthenticationError) -> HttpResponse:
    said = (
        _("This token is not known here, or it was withdrawn.")
        if request.headers.get("Authorization", "").lower().startswith("bearer ")
        else _("Send the gauge’s token along, as “Authorization: Bearer …”.")
    )
    return _problem(401, said, **{"WWW-Authenticate": "Bearer"})


@api.exception_handler(BadBody)
def _bad_body(_request: HttpRequest, error: BadBody) -> HttpResponse:
    return _problem(error.status, error.detail, error.where)


@api.exception_handler(TooOften)
def _too_often(_request: HttpRequest, _error: TooOften) -> HttpResponse:
    wait = str(int(REQUESTS_WITHIN.total_seconds()))
    said = _("Too many requests with this token. Send many readings in one, and wait a minute.")
    return _problem(429, said, **{"Retry-After": wait})
