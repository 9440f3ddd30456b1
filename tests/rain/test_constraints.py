"""What the database itself refuses, and beside each what it takes."""

from collections.abc import Callable
from datetime import date
from typing import Any

import pytest
from django.apps import apps
from django.db import IntegrityError, transaction

from stewardship.rain.choices import GaugeKind, ReadingKind, Sureness
from stewardship.rain.models import (
    RainRule,
    ReadingBatch,
)
from tests import factory
from tests.rain.rows import (
    DAY,
    batch,
    came,
    declared,
    file_parts,
    finished_file,
    found_right,
    frequencies,
    gauge,
    links,
    merged,
    outage,
    part,
    places,
    reading,
    reading_file,
    revisions,
    rules,
    search,
    site_rain,
    storm,
    suspicion,
    tokens,
    undone,
    water,
)

pytestmark = pytest.mark.django_db

MONTH_S = 31 * 86_400
KINDS = ReadingKind

#: name of the constraint: (what is refused, what is taken)
CASES: dict[str, tuple[Callable[[], Any], Callable[[], Any]]] = {
    "rain_rule_gap_positive": (
        lambda: RainRule.objects.create(starts_on=DAY, dry_gap_s=0),
        lambda: RainRule.objects.create(starts_on=DAY, dry_gap_s=1),
    ),
    "rain_rule_once_a_day": (lambda: rules(None, None), lambda: rules(factory.at(DAY), None)),
    "storm_search_span_forward": (
        lambda: search(end_s=0, reached_s=0),
        lambda: search(end_s=1, reached_s=0),
    ),
    "storm_search_reached_forward": (lambda: search(reached_s=-1), lambda: search(reached_s=0)),
    "storm_search_has_reason": (lambda: search(why=""), lambda: search(why="The roof was wrong")),
    "gauge_kind_known": (
        lambda: gauge(kind="bucket", observation_hour=None),
        lambda: gauge(kind=GaugeKind.TIPPING),
    ),
    "gauge_unit_known": (lambda: gauge(unit="cm"), lambda: gauge(unit="mm")),
    "gauge_resolution_positive": (lambda: gauge(resolution_um=0), lambda: gauge(resolution_um=1)),
    "gauge_place_on_earth": (
        lambda: factory.make_gauge(lat=90.1),
        lambda: factory.make_gauge(lat=-90, lon=180),
    ),
    "gauge_place_once_a_day": (lambda: places(DAY, DAY), lambda: places(DAY, factory.TODAY)),
    "reading_file_state_known": (
        lambda: reading_file(state="lost"),
        lambda: finished_file(state="taken"),
    ),
    "reading_file_time_iff_finished": (
        lambda: finished_file(state="taken", finished_at=None),
        lambda: finished_file(state="undone"),
    ),
    "reading_file_time_iff_finished ": (
        lambda: finished_file(state="confirmed"),
        lambda: finished_file(state="confirmed", finished_at=None),
    ),
    "reading_file_why_iff_refused": (
        lambda: finished_file(state="refused"),
        lambda: finished_file(state="refused", refusal="No row is good."),
    ),
    "reading_file_why_iff_refused ": (
        lambda: reading_file(refusal="No row is good."),
        lambda: reading_file(),
    ),
    "reading_file_found_has_time": (
        lambda: reading_file(found={}),
        lambda: reading_file(found={}, looked_at=factory.at(DAY)),
    ),
    "reading_file_found_has_time ": (
        lambda: reading_file(looked_at=factory.at(DAY)),
        lambda: reading_file(),
    ),
    "reading_file_confirmed_has_time": (
        lambda: reading_file(state="confirmed"),
        lambda: reading_file(state="confirmed", confirmed_at=factory.at(DAY)),
    ),
    "reading_file_part_once": (lambda: file_parts(0, 0), lambda: file_parts(0, 1)),
    "declared_rain_once": (
        lambda: declared(None, None),
        lambda: declared(factory.at(DAY), None),
    ),
    "declared_rain_has_reason": (
        lambda: declared(None, reason=""),
        lambda: declared(None, reason="Seen from the porch"),
    ),
    "frequency_table_series_known": (
        lambda: frequencies(None, series="monthly"),
        lambda: frequencies(None, series="annual"),
    ),
    "frequency_table_on_earth": (
        lambda: frequencies(None, lon=-180.1),
        lambda: frequencies(None, lon=-180, lat=90),
    ),
    "frequency_table_says_whose": (
        lambda: frequencies(None, source=""),
        lambda: frequencies(None, source="A"),
    ),
    "frequency_table_says_whose ": (
        lambda: frequencies(None, name=""),
        lambda: frequencies(None, name="A"),
    ),
    "frequency_table_once_a_place": (
        lambda: frequencies(None, None),
        lambda: frequencies(factory.at(factory.TODAY), None),
    ),
    "frequency_table_ended_at_a_time": (
        lambda: frequencies(factory.at(date(2026, 7, 13))),
        lambda: frequencies(factory.at(DAY)),
    ),
    "frequency_table_ended_at_a_time ": (
        lambda: frequencies(None, ended_by=factory.make_user()),
        lambda: frequencies(factory.at(DAY), ended_by=factory.make_user()),
    ),
    "gauge_hour_iff_daily": (
        lambda: gauge(kind=GaugeKind.TIPPING, observation_hour=7),
        lambda: gauge(kind=GaugeKind.DAILY, observation_hour=0),
    ),
    "gauge_hour_iff_daily ": (
        lambda: gauge(kind=GaugeKind.DAILY, observation_hour=24),
        lambda: gauge(kind=GaugeKind.DAILY, observation_hour=23),
    ),
    "gauge_hour_iff_daily  ": (
        lambda: gauge(kind=GaugeKind.DAILY, observation_hour=None),
        lambda: gauge(kind=GaugeKind.INTERVAL, observation_hour=None),
    ),
    "gauge_days_in_order": (
        lambda: gauge(started_on=DAY, ended_on=date(2026, 7, 13)),
        lambda: gauge(started_on=DAY, ended_on=DAY),
    ),
    "outage_times_in_order": (lambda: outage(900, 0), lambda: outage(900, None)),
    "suspicion_kind_known": (
        lambda: suspicion(kind="hunch"),
        lambda: suspicion(kind="streak"),
    ),
    "suspicion_once": (lambda: suspicion(times=2), lambda: suspicion()),
    "suspicion_times_in_order": (lambda: suspicion(end_s=0), lambda: suspicion(end_s=1)),
    "suspicion_set_aside_by_somebody_with_a_note": (
        lambda: found_right(""),
        lambda: found_right("The street was dry."),
    ),
    "batch_source_known": (
        lambda: ReadingBatch.objects.create(gauge=factory.make_gauge(), source="rumour"),
        lambda: ReadingBatch.objects.create(gauge=factory.make_gauge(), source="typed"),
    ),
    "batch_file_once_per_gauge": (lambda: batch(2, "a" * 64), lambda: batch(2, "")),
    "batch_undone_says_why": (
        lambda: undone(undone_at=factory.at(DAY)),
        lambda: undone(undone_at=factory.at(DAY), undone_why="Wrong gauge"),
    ),
    "batch_undone_says_why ": (
        lambda: undone(undone_why="Wrong gauge"),
        lambda: undone(),
    ),
    "gauge_token_label_once": (lambda: tokens(None, None), lambda: tokens(factory.at(DAY), None)),
    "reader_link_once": (lambda: links(None, None), lambda: links(factory.at(DAY), None)),
    "batch_by_link_is_typed": (
        lambda: came("pushed", link=True),
        lambda: came("typed", link=True),
    ),
    "batch_by_link_is_typed ": (
        lambda: came("typed", link=True, login=True),
        lambda: came("typed", login=True),
    ),
    "batch_by_token_is_pushed": (
        lambda: came("file", token=True),
        lambda: came("pushed", token=True),
    ),
    "reading_once": (
        lambda: [reading(gauge=own) for own in [factory.make_gauge()] * 2],
        lambda: [reading(gauge=factory.make_gauge(code)) for code in ("A", "B")],
    ),
    "reading_interval_forward": (
        lambda: reading(start_s=900, end_s=900),
        lambda: reading(start_s=899, end_s=900),
    ),
    "reading_interval_forward ": (
        lambda: reading(end_s=MONTH_S + 1),
        lambda: reading(end_s=MONTH_S),
    ),
    "reading_depth_fits_kind": (
        lambda: reading(kind=KINDS.MISSING, depth_um=0),
        lambda: reading(kind=KINDS.MISSING, depth_um=None),
    ),
    "reading_depth_fits_kind ": (
        lambda: reading(kind=KINDS.TRACE, depth_um=1),
        lambda: reading(kind=KINDS.TRACE, depth_um=0),
    ),
    "reading_depth_fits_kind  ": (
        lambda: reading(kind=KINDS.MEASURED, depth_um=None),
        lambda: reading(kind=KINDS.MULTI_DAY, depth_um=0),
    ),
    "reading_depth_fits_kind   ": (
        lambda: reading(kind=KINDS.ZERO, depth_um=None),
        lambda: reading(kind=KINDS.ZERO, depth_um=0),
    ),
    "storm_span_forward": (lambda: storm(end_s=0), lambda: storm(end_s=1)),
    "storm_merged_is_withdrawn": (lambda: merged(False), lambda: merged(True)),
    "storm_revision_once": (lambda: revisions(1, 1), lambda: revisions(1, 2)),
    "gauge_storm_once": (lambda: part(times=2), lambda: part()),
    "gauge_storm_span_forward": (lambda: part(end_s=0), lambda: part(end_s=1)),
    "site_rain_sureness_known": (
        lambda: site_rain(sureness="guessed"),
        lambda: site_rain(sureness=Sureness.POSSIBLE),
    ),
    "site_rain_once": (lambda: site_rain(times=2), lambda: site_rain()),
    "site_rain_unknown_iff_no_depth": (
        lambda: site_rain(sureness=Sureness.UNKNOWN, depth_um=0),
        lambda: site_rain(sureness=Sureness.UNKNOWN, depth_um=None),
    ),
    "site_rain_unknown_iff_no_depth ": (
        lambda: site_rain(sureness=Sureness.MEASURED, depth_um=None),
        lambda: site_rain(sureness=Sureness.MEASURED, depth_um=0),
    ),
    "site_rain_depth_not_negative": (
        lambda: site_rain(depth_um=-1),
        lambda: site_rain(depth_um=0),
    ),
    "basin_water_once": (lambda: water(times=2), lambda: water()),
    "basin_water_not_negative": (lambda: water(spilled_m3=-0.1), lambda: water(spilled_m3=0)),
    "basin_water_drain_time_not_negative": (
        lambda: water(hours_to_drain=-1),
        lambda: water(hours_to_drain=None),
    ),
}


@pytest.mark.parametrize("name", CASES)
def test_the_database_refuses_what_cannot_be(name):
    with pytest.raises(IntegrityError), transaction.atomic():
        CASES[name][0]()


@pytest.mark.parametrize("name", CASES)
def test_the_database_takes_what_is_just_right(name):
    CASES[name][1]()


def test_every_constraint_of_rain_is_tried_here():
    models = apps.get_app_config("rain").get_models()
    named = {constraint.name for model in models for constraint in model._meta.constraints}
    assert named == {name.strip() for name in CASES}
