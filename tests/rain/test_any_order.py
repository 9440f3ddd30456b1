"""The same readings give the same storms and the same rain at the sites, in whatever order, batches and pieces they come."""

from datetime import date, timedelta
from unittest.mock import patch

from django.db import transaction
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from hypothesis.extra.django import TestCase

from stewardship.rain.choices import BatchSource, GaugeKind, ReadingKind
from stewardship.rain.intake.blocks import NewReading
from stewardship.rain.models import RainRule, ReadingBatch
from stewardship.rain.services import add_readings, find_waiting_storms
from tests import factory
from tests.rain.pictures import picture

FIRST_DAY = date(2026, 4, 28)  # a new dry gap starts on 1 May
START_S = factory.seconds(factory.at(FIRST_DAY, "00:00"))
QUARTER_S, HOUR_S, DAY_S = 900, 3_600, 86_400


def reading(start_s: int, end_s: int, depth: int | str | None) -> NewReading:
    """Depth in hundredths of an inch, "T", or None for missing."""
    if depth is None:
        return NewReading(start_s, end_s, ReadingKind.MISSING, None)
    if depth == "T":
        return NewReading(start_s, end_s, ReadingKind.TRACE, 0)
    if depth == 0:
        return NewReading(start_s, end_s, ReadingKind.ZERO, 0)
    kind = ReadingKind.MULTI_DAY if end_s - start_s > 25 * HOUR_S else ReadingKind.MEASURED
    return NewReading(start_s, end_s, kind, depth * 254)


wet = st.sampled_from([30, 1, 5])
dry = st.sampled_from([0, 0, "T", None])


@st.composite
def record(
    draw, wet_s: list[int], dry_s: list[int], gaps_s: list[int], most: int
) -> list[NewReading]:
    """Readings of one gauge, one after another, with gaps between some; lengths of wet and of dry ones in seconds."""
    rows, at_s = [], START_S + draw(st.integers(0, 24)) * QUARTER_S
    for _n in range(draw(st.integers(0, most))):
        at_s += draw(st.sampled_from(gaps_s))
        is_wet = draw(st.booleans())
        end_s = at_s + draw(st.sampled_from(wet_s if is_wet else dry_s))
        rows.append(reading(at_s, end_s, draw(wet if is_wet else dry)))
        at_s = end_s
    return rows


@st.composite
def town(draw) -> dict[str, list[NewReading]]:
    """Three gauges over about four days: dense with dry times listed, sparse and silent when dry, and a daily reader."""
    quarter, hour, day = QUARTER_S, HOUR_S, DAY_S
    return {
        "quarter": draw(record([quarter, hour], [9 * hour, 4 * hour], [0, 0, 0, 2 * hour], 14)),
        "silent": draw(record([quarter], [hour], [20 * hour, 9 * hour, 0, 3 * hour], 9)),
        "daily": draw(record([day, day, 3 * day], [day], [0, 0, day], 4)),
    }


class AnyOrderTests(TestCase):
    def setUp(self) -> None:
        factory.make_program()
        RainRule.objects.create(starts_on=date(2026, 5, 1), dry_gap_s=3 * HOUR_S)
        kinds = {
            "quarter": {"lat": factory.LAT + 0.002},
            "silent": {"lists_dry": False, "lat": factory.LAT - 0.02},
            "daily": {"kind": GaugeKind.DAILY, "lat": factory.LAT + 0.01},
        }
        self.gauges = {code: factory.make_gauge(code, **facts) for code, facts in kinds.items()}
        factory.make_built_site("OAK-1", basins=2)
        factory.make_built_site("ELM-2", lat=factory.LAT - 0.05)
        factory.make_built_site("ASH-3", lat=None, lon=None)
        factory.make_built_site("FIR-4", built_on=FIRST_DAY + timedelta(days=2))

    def add(self, code: str, rows: list[NewReading]) -> None:
        add_readings(gauge=self.gauges[code], rows=rows, source=BatchSource.TYPED)

    def pictured(
        self, batches: list[tuple[str, list[NewReading], bool]], piece_s: int = 92 * DAY_S
    ) -> dict[str, list]:
        with (
            transaction.atomic(),
            patch("stewardship.rain.services.storms.PIECE_S", piece_s),
        ):
            for code, rows, find in batches:
                self.add(code, rows)
                if find:
                    find_waiting_storms()
            find_waiting_storms()
            assert not ReadingBatch.objects.filter(storms_found_at=None).exists()
            seen = picture()
            transaction.set_rollback(True)
        return seen

    @settings(max_examples=30, deadline=None, suppress_health_check=list(HealthCheck))
    @given(town=town(), data=st.data())
    def test_any_order_and_batching_gives_the_same_storms_and_site_rain(self, town, data) -> None:
        at_once = self.pictured([(code, rows, False) for code, rows in town.items() if rows])

        rows = data.draw(st.permutations([(code, r) for code, rs in town.items() for r in rs]))
        if data.draw(st.booleans()):  # one gauge after another, so that the last has the last word
            turn = data.draw(st.permutations(list(town)))
            rows = sorted(rows, key=lambda row: turn.index(row[0]))
        batches: list[tuple[str, list[NewReading], bool]] = []
        while rows:
            # Mostly single readings, each looked at before the next comes: then hardly anything is looked at twice by chance.
            size = data.draw(st.sampled_from([1, 1, 1, 1, 3, 8]))
            batch, rows = rows[:size], rows[size:]
            for code in town:
                own = [r for c, r in batch if c == code]
                if own:
                    batches.append((code, own, data.draw(st.integers(0, 4)) > 0))
        piece_s = data.draw(st.sampled_from([HOUR_S, 10 * HOUR_S, 92 * DAY_S]))
        assert self.pictured(batches, piece_s) == at_once
