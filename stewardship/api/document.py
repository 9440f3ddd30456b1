"""What the OpenAPI document says beside what the code says for itself. It is for programmers and tools: in English, like the standard."""

from typing import Any

from stewardship.rain.intake.pushed import UCUM
from stewardship.rain.services.pushing import MOST_ROWS

TITLE = "Rain readings"
ABOUT = """An automatic gauge hands in its readings here, many at once and as often as it likes.

Each reading is answered by itself: `new`, `same` (known already), `corrected` (the same interval with another depth; what stood
there is kept) or `refused` with the reason. Refused readings do not hold up the others. A request that is sent again changes
nothing, so send it again whenever you do not know whether it arrived.

Moments are RFC 3339 with their offset; without one nobody could tell which hour is meant. Units are UCUM codes."""

READING: dict[str, Any] = {
    "title": "Reading",
    "description": "How much rain fell in an interval: after its start, until and with its end.",
    "type": "object",
    "properties": {
        "start": {
            "type": "string",
            "format": "date-time",
            "description": "When the interval starts. Either this or `step`.",
        },
        "end": {"type": "string", "format": "date-time", "description": "When it ends."},
        "step": {
            "type": "string",
            "format": "duration",
            "description": "How long it is, as an RFC 3339 duration in days, hours, minutes and seconds: `PT15M`.",
        },
        "depth": {
            "type": "number",
            "minimum": 0,
            "description": "How much fell in it, in `unit`; 0 if it was dry.",
        },
        "unit": {
            "type": "string",
            "enum": list(UCUM),
            "description": "UCUM code: `[in_i]` inch, `mm` millimetre.",
        },
        "kind": {
            "type": "string",
            "enum": ["measured", "zero", "trace", "missing", "multi_day"],
            "description": "Needed for what a depth does not say: `trace` (too little to measure), `missing` (nobody knows), "
            "`multi_day` (one depth for several days). `zero` is a depth of 0.",
        },
    },
    "required": ["end"],
    "additionalProperties": False,
    "allOf": [
        {"oneOf": [{"required": ["start"]}, {"required": ["step"]}]},
        {
            "if": {
                "required": ["kind"],
                "properties": {"kind": {"enum": ["zero", "trace", "missing"]}},
            },
            "then": {"properties": {"depth": {"const": 0}}},
            "else": {"required": ["depth", "unit"]},
        },
    ],
}

REQUEST_EXAMPLE: dict[str, Any] = {
    "readings": [
        {
            "start": "2026-07-14T15:00:00-06:00",
            "end": "2026-07-14T15:15:00-06:00",
            "depth": 0.12,
            "unit": "[in_i]",
        },
        {"end": "2026-07-14T21:30:00Z", "step": "PT15M", "depth": 1.8, "unit": "mm"},
        {"end": "2026-07-14T21:45:00Z", "step": "PT15M", "kind": "trace"},
        {"end": "2026-07-14T22:00:00Z", "step": "PT15M", "kind": "missing"},
        {"end": "2026-07-14T16:15:00", "step": "PT15M", "depth": 0, "unit": "mm"},
    ]
}
ANSWER_EXAMPLE: dict[str, Any] = {
    "gauge": "roof",
    "new": 3,
    "same": 1,
    "corrected": 0,
    "refused": 1,
    "readings": [
        {"index": 0, "result": "same"},
        {"index": 1, "result": "new"},
        {"index": 2, "result": "new"},
        {"index": 3, "result": "new"},
        {
            "index": 4,
            "result": "refused",
            "reason": '“end” is "2026-07-14T16:15:00", without an offset: write Z or one as -06:00 behind it.',
        },
    ],
}
#: RFC 9457, Problem Details for HTTP APIs
PROBLEM: dict[str, Any] = {
    "title": "Problem",
    "type": "object",
    "properties": {
        "title": {"type": "string", "description": "The status in words."},
        "status": {"type": "integer"},
        "detail": {"type": "string", "description": "What is wrong, in a sentence."},
        "where": {"type": "string", "description": "At which place of the body, if it is there."},
    },
    "required": ["title", "status", "detail"],
}
PROBLEM_TYPE = "application/problem+json"


def _problem(description: str, **headers: dict[str, Any]) -> dict[str, Any]:
    said: dict[str, Any] = {
        "description": description,
        "content": {PROBLEM_TYPE: {"schema": {"$ref": "#/components/schemas/Problem"}}},
    }
    return said | ({"headers": headers} if headers else {})


#: merged into the description of POST /api/readings
READINGS: dict[str, Any] = {
    "requestBody": {
        "required": True,
        "content": {
            "application/json": {
                "schema": {
                    "title": "Readings",
                    "type": "object",
                    "properties": {
                        "readings": {
                            "type": "array",
                            "items": {"$ref": "#/components/schemas/Reading"},
                            "minItems": 1,
                            "maxItems": MOST_ROWS,
                        }
                    },
                    "required": ["readings"],
                    "additionalProperties": False,
                },
                "example": REQUEST_EXAMPLE,
            }
        },
    },
    "responses": {
        200: {
            "description": "What became of each reading. Look at `refused`.",
            "content": {"application/json": {"example": ANSWER_EXAMPLE}},
        },
        401: _problem(
            "The token is missing, unknown or withdrawn.",
            **{"WWW-Authenticate": {"schema": {"type": "string"}}},
        ),
        413: _problem("Too many bytes or readings for one request."),
        422: _problem("The body is not JSON, or not an object with a list of readings."),
        429: _problem(
            "Too many requests with this token.",
            **{"Retry-After": {"schema": {"type": "integer"}, "description": "Seconds to wait."}},
        ),
    },
}
