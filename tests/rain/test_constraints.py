"""What the database itself refuses, and beside each what it takes."""

from collections.abc import Callable
from datetime import date, datetime
from typing import Any

import pytest
from django.apps import apps
from django.db import IntegrityError, transaction

from stewardship.rain.choices import GaugeKind, ReadingKind, Sureness
from stewardship.rain.models import (
    BasinWater,
    DeclaredRain,
    FrequencyTable,
    GaugeOutage,
    GaugePlace,
    GaugeStorm,
    GaugeToken,
    RainRule,
    ReaderLink,
    Reading,
    ReadingBatch,
    ReadingFile,
    ReadingFilePart,
    SiteRain,
    Storm,
    StormRevision,
    StormSearch,
    Suspicion,
)
from tests import factory

pytestmark = pytest.mark.django_db

DAY = date(2026, 7, 14)


def gauge(**facts: Any) -> Any:
    return factory.make_gauge(**({"code": "G1"} | facts))


def reading(**facts: Any) -> Any:
    own = facts.pop("gauge", None) or factory.make_gauge()
    batch = ReadingBatch.objects.create(gauge=own, source="typed")
    usual = {"start_s": 0, "end_s": 900, "kind": ReadingKind.MEASURED, "depth_um": 254}
    return Reading.objects.create(gauge=own, batch=batch, **(usual | facts))


def storm(**facts: Any) -> Any:
    return Storm.objects.create(**({"start_s": 0, "end_s": 900, "greatest_um": 254} | facts))


def suspicion(times: int = 1, **facts: Any) -> None:
    usual = {"gauge": factory.make_gauge(), "kind": "stuck", "start_s": 0, "end_s": 900}
    for _n in range(times):
        Suspicion.objects.create(**(usual | facts))


def found_right(note: str) -> None:
    by = factory.make_user("coordinator")
    suspicion(
        set_aside_at=factory.at(DAY), set_aside_by=by, set_aside_end_s=900, set_aside_note=note
    )


def merged(withdrawn: bool) -> Any:
    return storm(
        merged_into=storm(), withdrawn_at=factory.at(DAY) if withdrawn else None, start_s=100
    )


def batch(times: int, sha256: str) -> None:
    own = factory.make_gauge()
    for _n in range(times):
        ReadingBatch.objects.create(gauge=own, source="file", sha256=sha256)


def site_rain(times: int = 1, **facts: Any) -> Any:
    site = factory.make_site("OAK-1")
    of = storm()
    usual = {"sureness": Sureness.MEASURED, "depth_um": 5, "storm_revision": 1}
    for _n in range(times):
        found = SiteRain.objects.create(storm=of, site=site, **(usual | facts))
    return found


def water(times: int = 1, **facts: Any) -> None:
    rain = site_rain()
    basin = factory.make_basin(rain.site)
    figures = dict.fromkeys(
        ("inflow_m3", "passed_by_m3", "soaked_m3", "spilled_m3", "greatest_depth_m"), 0.5
    )
    for _n in range(times):
        BasinWater.objects.create(site_rain=rain, basin=basin, **(figures | facts))


def part(times: int = 1, **facts: Any) -> None:
    own, of = factory.make_gauge(), storm()
    usual = {"start_s": 0, "end_s": 900, "depth_um": 254}
    for _n in range(times):
        GaugeStorm.objects.create(gauge=own, storm=of, **(usual | facts))


def places(*days: date) -> None:
    own = factory.make_gauge()
    for day in days:
        GaugePlace.objects.create(gauge=own, since=day, lat=1, lon=1)


def reading_file(**facts: Any) -> ReadingFile:
    return ReadingFile.objects.create(**({"name": "rain.csv", "size": 3, "sha256": "a"} | facts))


def finished_file(**facts: Any) -> ReadingFile:
    return reading_file(
        **({"confirmed_at": factory.at(DAY), "finished_at": factory.at(DAY)} | facts)
    )


def file_parts(*numbers: int) -> None:
    file = reading_file()
    for number in numbers:
        ReadingFilePart.objects.create(file=file, number=number, content=b"1")


def declared(*withdrawn: datetime | None, **facts: Any) -> None:
    site, of = factory.make_site("OAK-1"), storm()
    usual = {"depth_um": 254, "typed": "0.01 in", "reason": "Seen from the porch"}
    for at in withdrawn:
        DeclaredRain.objects.create(site=site, storm=of, withdrawn_at=at, **(usual | facts))


def outage(start_s: int, end_s: int | None) -> None:
    GaugeOutage.objects.create(gauge=factory.make_gauge(), start_s=start_s, end_s=end_s, why="-")


def revisions(*numbers: int) -> None:
    of = storm()
    for number in numbers:
        StormRevision.objects.create(
            storm=of, number=number, start_s=0, end_s=900, greatest_um=1, why="-"
        )


def rules(*withdrawn: datetime | None) -> None:
    for at in withdrawn:
        RainRule.objects.create(starts_on=DAY, withdrawn_at=at)


def search(**facts: Any) -> None:
    StormSearch.objects.create(**({"start_s": 0, "end_s": 9, "reached_s": 0, "why": "-"} | facts))


def tokens(*withdrawn: datetime | None) -> None:
    own = factory.make_gauge()
    for n, at in enumerate(withdrawn):
        GaugeToken.objects.create(gauge=own, digest=f"{n}", label="Yard", revoked_at=at)


def links(*withdrawn: datetime | None) -> None:
    own, reader = factory.make_gauge(), factory.make_person()
    for n, at in enumerate(withdrawn):
        ReaderLink.objects.create(gauge=own, person=reader, digest=f"{n}", revoked_at=at)


def came(source: str, *, link: bool = False, login: bool = False, token: bool = False) -> None:
    own = factory.make_gauge()
    ReadingBatch.objects.create(
        gauge=own,
        source=source,
        by=factory.make_user("reader") if login else None,
        by_person=factory.make_person() if link else None,
        token=GaugeToken.objects.create(gauge=own, digest="1", label="Yard") if token else None,
    )


def undone(**facts: Any) -> None:
    ReadingBatch.objects.create(gauge=factory.make_gauge(), source="file", **facts)


def frequencies(*ended: datetime | None, **facts: Any) -> None:
    usual = {"name": "Palo Azul", "source": "Made up", "lat": 34.5, "lon": -106.2}
    usual |= {"series": "partial", "table": {}, "text": "", "at": factory.at(DAY)}
    for at in ended:
        FrequencyTable.objects.create(ended_at=at, **(usual | facts))


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
