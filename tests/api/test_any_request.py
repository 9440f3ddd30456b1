"""Whatever a machine sends: an answer for each row or one sentence, nothing doubled, nothing lost."""

import json

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from stewardship.rain.models import Reading, ReadingBatch
from tests.api.conftest import row

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen_day")]

ANYTHING = st.recursive(
    st.none()
    | st.booleans()
    | st.integers()
    | st.floats()
    | st.text(st.characters(), max_size=12)
    | st.sampled_from(["2026-07-14T15:15:00-06:00", "PT15M", "[in_i]", "mm", "trace", "missing"]),
    lambda inner: st.lists(inner, max_size=2) | st.dictionaries(st.text(max_size=5), inner),
    max_leaves=4,
)
GOOD = st.builds(
    lambda quarter, hundredths: row(
        f"{quarter // 4:02}:{quarter % 4 * 15:02}", depth=hundredths / 100
    ),
    st.integers(1, 95),
    st.integers(0, 9),
)
SPOILT = st.builds(
    lambda good, name, value: good | {name: value},
    GOOD,
    st.sampled_from(["start", "end", "step", "depth", "unit", "kind", "more"]),
    ANYTHING,
)


@given(rows=st.lists(GOOD | SPOILT | ANYTHING, min_size=1, max_size=6))
@settings(
    max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
def test_every_row_is_answered_and_a_second_time_nothing_is_new(send, rows):
    ReadingBatch.objects.update(at="2026-01-01T00:00:00Z")  # as if a minute had passed
    before = Reading.objects.count()
    first = send(body=json.dumps({"readings": rows})).json()
    assert [one["index"] for one in first["readings"]] == list(range(len(rows)))
    counts = {name: first[name] for name in ("new", "same", "corrected", "refused")}
    assert sum(counts.values()) == len(rows)
    assert Reading.objects.count() == before + first["new"]
    assert all(bool(one.get("reason")) == (one["result"] == "refused") for one in first["readings"])
    second = send(body=json.dumps({"readings": rows})).json()
    assert (second["new"], second["corrected"], second["refused"]) == (0, 0, first["refused"])
    assert Reading.objects.count() == before + first["new"]


@given(
    body=st.binary(max_size=200)
    | st.text(max_size=100).map(lambda text: text.encode("utf-8", "replace"))
)
@settings(
    max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
def test_a_body_of_any_bytes_is_answered_in_a_sentence(send, body):
    answer = send(body=body)
    assert answer.status_code in (200, 422)
    if answer.status_code == 422:
        assert answer.json()["detail"]
