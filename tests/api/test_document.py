"""The OpenAPI document, checked by a library; the page for people, whose examples are run; a walk over a real socket."""

import html
import json
import re
import subprocess
import sys
import urllib.error
import urllib.request
from datetime import date
from typing import Any

import pytest
import time_machine
from django.test import Client
from openapi_schema_validator import OAS31Validator
from openapi_spec_validator import OpenAPIV31SpecValidator, validate

from stewardship.rain.choices import GaugeKind
from stewardship.rain.models import Reading, ReadingBatch
from stewardship.rain.services import make_token
from tests import factory
from tests.api.conftest import results, row


@pytest.fixture
def document(program, client) -> dict[str, Any]:
    answer = client.get("/api/openapi.json")
    assert answer.status_code == 200
    return answer.json()


def fits(document: dict[str, Any], schema: dict[str, Any], value: Any) -> bool:
    """Whether a value is as a schema of the document says."""
    return OAS31Validator(schema | {"components": document["components"]}).is_valid(value)


def of_reading() -> dict[str, str]:
    return {"$ref": "#/components/schemas/Reading"}


def hand_in(document: dict[str, Any]) -> dict[str, Any]:
    return document["paths"]["/api/readings"]["post"]


# -- the document ----------------------------------------------------------------------------------------------
def test_the_document_is_openapi_3_1(document):
    # OpenAPI Specification 3.1, by its published schema
    assert document["openapi"].startswith("3.1")
    validate(document, cls=OpenAPIV31SpecValidator)
    assert list(document["paths"]) == ["/api/readings"]
    assert hand_in(document)["security"] == [{"BearerToken": []}]
    assert document["components"]["securitySchemes"]["BearerToken"]["scheme"] == "bearer"


def test_the_documents_example_is_answered_as_the_document_says(document, send):
    operation = hand_in(document)
    asked = operation["requestBody"]["content"]["application/json"]
    told = operation["responses"]["200"]["content"]["application/json"]
    rows = asked["example"]["readings"]
    send(rows[:1])
    answer = send(rows)
    assert answer.json() == told["example"] | {"gauge": "roof"}
    assert fits(document, told["schema"], answer.json())
    assert not fits(document, told["schema"], {"gauge": "roof"})


@pytest.mark.parametrize(
    "changes",
    [
        {},
        {"depth": 0},
        {"kind": "trace", "depth": None, "unit": None},
        {"kind": "missing", "depth": None, "unit": None},
        {"kind": "multi_day", "step": "P2D"},
        {"step": None, "start": "2026-07-14T15:00:00-06:00"},
        {"unit": "in"},
        {"unit": None},
        {"depth": None},
        {"depth": "0.12"},
        {"depth": -1},
        {"kind": "drizzle"},
        {"kind": "trace"},
        {"end": None},
        {"step": None},
        {"start": "2026-07-14T15:00:00-06:00"},
        {"dept": 1},
    ],
)
def test_the_document_and_the_door_agree_on_what_a_reading_is(document, send, changes):
    taken = results(send([row(**changes)])) == ["new"]
    assert fits(document, of_reading(), row(**changes)) == taken


@pytest.mark.parametrize(
    ("how", "status"),
    [({"token": "no"}, 401), ({"body": b" " * 2_000_001}, 413), ({"body": b"x"}, 422)],
)
def test_problems_are_as_the_document_says(document, send, how, status):
    answer = send(**how)
    told = hand_in(document)["responses"][str(status)]["content"]
    assert answer.status_code == status
    assert answer.headers["Content-Type"] in told
    assert fits(document, told["application/problem+json"]["schema"], answer.json())


# -- the page for people ---------------------------------------------------------------------------------------
def test_the_page_tells_how_to_hand_in_readings_and_loads_nothing_from_elsewhere(program, client):
    shown = client.get("/api/").content.decode()
    assert "505-555-0100" in shown
    assert "/api/openapi.json" in shown
    assert "5,000 readings and 2,000,000 bytes" in shown
    assert not re.findall(r'(?:src|href)="(?:https?:)?//', shown)


# -- a real client on a real socket ----------------------------------------------------------------------------
@pytest.fixture
def secret(db) -> str:
    factory.make_program()
    gauge = factory.make_gauge("roof", kind=GaugeKind.TIPPING)
    return make_token(gauge=gauge, label="Roof logger", by=None)[1]


def post(url: str, secret: str, body: bytes) -> tuple[int, dict[str, Any]]:
    request = urllib.request.Request(
        f"{url}/api/readings", data=body, headers={"Authorization": f"Bearer {secret}"}
    )
    try:
        with urllib.request.urlopen(request, timeout=20) as answer:
            return answer.status, json.load(answer)
    except urllib.error.HTTPError as error:
        return error.code, json.load(error)


@pytest.mark.django_db(transaction=True)
def test_a_machine_hands_in_a_day_corrects_it_and_is_shut_out(live_server, secret):
    with time_machine.travel(factory.at(factory.TODAY), tick=True):
        rows = [row(f"{hour:02}:00", step="PT1H", depth=0.01 * hour) for hour in range(1, 24)]
        status, said = post(live_server.url, secret, json.dumps({"readings": rows}).encode())
        assert (status, said["new"], said["refused"]) == (200, 23, 0)

        rows[14]["depth"] = 0.5
        rows[15]["end"] = "2026-07-14T16:00:00"
        status, said = post(live_server.url, secret, json.dumps({"readings": rows}).encode())
        assert (status, said["same"], said["corrected"], said["refused"]) == (200, 21, 1, 1)
        assert said["readings"][14]["result"] == "corrected"
        assert "without an offset" in said["readings"][15]["reason"]

        status, said = post(live_server.url, secret, b'{"readings": [')
        assert (status, said["where"]) == (422, "line 1, column 15")
        assert post(live_server.url, "rillgauge_other", b"{}")[0] == 401
    assert Reading.objects.count() == 23
    assert ReadingBatch.objects.count() == 2


@pytest.mark.django_db(transaction=True)
def test_the_python_on_the_page_works_as_it_is_printed(live_server, settings, secret, tmp_path):
    settings.SITE_URL = live_server.url
    shown = Client().get("/api/").content.decode()
    code = html.unescape(re.search(r'<code id="python">(.*?)</code>', shown, re.DOTALL)[1])
    assert len(code.strip().splitlines()) <= 15
    script = tmp_path / "send.py"
    script.write_text(code.replace("TOKEN", secret))
    run = subprocess.run([sys.executable, script], capture_output=True, text=True, check=False)
    assert (run.stdout.split(), run.stderr) == (["0", "new"], "")
    assert Reading.objects.get().typed == "0.12 in"
    assert Reading.objects.get().start_at.date() >= date(2023, 1, 1)
