import json
from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client

from stewardship.rain.choices import GaugeKind
from stewardship.rain.models import Gauge, GaugeToken
from stewardship.rain.services import make_token
from tests import factory

URL = "/api/readings"


@pytest.fixture
def roof(program) -> Gauge:
    return factory.make_gauge("roof", kind=GaugeKind.INTERVAL)


@pytest.fixture
def made(roof, frozen_day) -> tuple[GaugeToken, str]:
    return make_token(gauge=roof, label="Roof logger", by=None)


@pytest.fixture
def send(made) -> Callable[..., Any]:
    """send([rows]) or send(body="…") → the response to a push with the roof's token; `token` another one."""

    def post(rows: Any = None, *, body: str | bytes | None = None, token: str = made[1]) -> Any:
        content = json.dumps({"readings": rows}) if body is None else body
        return Client(enforce_csrf_checks=True).post(
            URL,
            content,
            content_type="application/json",
            headers={"Authorization": f"Bearer {token}"},
        )

    return post


def row(clock: str = "15:15", **changes: Any) -> dict[str, Any]:
    """A quarter of an hour of 14 July 2026 in the program's town, 0.12 in; None takes a field out."""
    usual = {
        "end": f"2026-07-14T{clock}:00-06:00",
        "step": "PT15M",
        "depth": 0.12,
        "unit": "[in_i]",
    }
    return {name: value for name, value in (usual | changes).items() if value is not None}


def results(answer: Any) -> list[str]:
    assert answer.status_code == 200, answer.content
    rows = answer.json()["readings"]
    assert [one["index"] for one in rows] == list(range(len(rows)))
    return [one["result"] for one in rows]
