"""The figures of a period, counted by hand on a small book.

Which figures an agency's yearly report asks for: counts of inspected, found deficient, corrected, with dated records behind
each (reporting practice under 40 CFR 122.34(d); the list itself is common practice, no source).
"""

import json
from datetime import date, datetime, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from people.models import Agency
from stewardship.care.models import CleanOut, Reminder
from stewardship.outbox.models import Message
from stewardship.reports.figures import Figure, Period, Row
from stewardship.reports.gather import gather
from tests import factory

YEAR = Period.until(date(2025, 1, 1), date(2025, 12, 31), today=factory.TODAY)


@pytest.fixture
def book(cast):
    """Two built sites (cast), a third on nobody's ground, and a year of duties, visits, silt and rain."""
    site, other = cast.site, cast.other_site
    third = factory.make_built_site("FIR-3", on=date(2024, 2, 1))
    fourth = factory.make_site("GUM-4")
    # duties of 2025: met in time, met late, excused, withdrawn, met only in 2026, never met
    for opened, due, state, closed in [
        (date(2025, 5, 1), date(2025, 5, 6), "met", date(2025, 5, 4)),
        (date(2025, 6, 1), date(2025, 6, 6), "met", date(2025, 6, 9)),
        (date(2025, 7, 1), date(2025, 7, 6), "excused", date(2025, 7, 2)),
        (date(2025, 8, 1), date(2025, 8, 6), "withdrawn", date(2025, 8, 3)),
        (date(2025, 12, 20), date(2025, 12, 25), "met", date(2026, 1, 2)),
        (date(2025, 12, 30), date(2026, 1, 4), "met", date(2026, 1, 3)),
    ]:
        factory.make_duty(site, opened_on=opened, due_on=due, state=state, closed_on=closed)
    finding = {"item": "trap", "judgement": "act"}
    factory.make_duty(
        other,
        trigger="finding",
        opened_on=date(2025, 9, 2),
        due_on=date(2025, 10, 2),
        reason=finding,
        state="met",
        closed_on=date(2025, 9, 20),
    )
    factory.make_duty(
        other,
        trigger="finding",
        opened_on=date(2025, 9, 2),
        due_on=date(2025, 10, 2),
        reason=finding,
    )
    # visits: two looks at OAK-1 (the last by an inspector), one at ELM-2 with two findings, one in vain, one all unseen
    factory.make_visit(site, date(2025, 5, 4), minutes=30, litres=12)
    factory.make_visit(site, date(2025, 11, 1), evidence="inspected", minutes=60)
    factory.make_visit(
        other, date(2025, 9, 2), evidence="photo", findings=[("trap", "act"), ("inlet", "unsafe")]
    )
    factory.make_visit(other, date(2025, 9, 10), outcome="could_not", minutes=15)
    factory.make_visit(third, date(2025, 3, 1), findings=[("plants", "not_seen")], minutes=5)
    factory.make_visit(site, date(2026, 2, 1))  # next year's
    clean = factory.make_visit(site, date(2025, 10, 10), litres=20)
    CleanOut.objects.filter(visit=clean).update(drop_before_m=0.04)
    # rain: two storms over the 0.25 in rule, one under it, one withdrawn
    factory.make_care_rule(least_in=0.25)
    factory.make_care_rule(least_in=0.5, phase="settled")
    for day, depth in [(date(2025, 7, 1), 0.62), (date(2025, 8, 1), 0.25), (date(2025, 9, 1), 0.2)]:
        storm = factory.make_storm(factory.at(day, "16:00"), depth_in=depth)
        factory.make_site_rain(storm, site, depth_in=depth, water={"soaked_m3": 0.5})
        factory.make_site_rain(storm, other, depth_in=None)
    factory.make_storm(
        factory.at(date(2025, 10, 1)), depth_in=2, withdrawn_at=factory.utc(2025, 10, 2)
    )
    # New Year's Eve at 11 p.m. in town is 2026 in UTC and still 2025 here
    factory.make_storm(factory.at(date(2025, 12, 31), "23:00"), hours=0.5, depth_in=0.3)
    return fourth


def rows_of(figures, key: str) -> list[tuple]:
    return [(row.day, row.site) for row in figures.figure(key).rows]


def test_t31_a_year_is_counted_with_the_rows_behind_each_figure(book):
    figures = gather(period=YEAR)
    value = figures.value
    assert value("built") == 3
    assert value("in_force") == 3
    assert rows_of(figures, "looked_at") == [
        (date(2025, 9, 2), "ELM-2"),
        (date(2025, 11, 1), "OAK-1"),
    ]
    assert rows_of(figures, "looked_at_inspected") == [(date(2025, 11, 1), "OAK-1")]
    assert rows_of(figures, "looked_at_photo") == [(date(2025, 9, 2), "ELM-2")]
    assert value("looked_at_reported") == 0
    assert rows_of(figures, "wanting") == [(date(2025, 9, 2), "ELM-2")]
    assert "Sediment trap: Act" in figures.figure("wanting").rows[0].what
    assert value("follow_ups") == 2
    assert value("follow_ups_met") == 1
    assert value("follow_ups_overdue") == 1
    assert value("duties") == 8
    fates = {
        key: value(f"duties_{key}")
        for key in ("met", "met_late", "overdue", "open", "excused", "withdrawn")
    }
    # the one met on 2 January was overdue on New Year's Eve, the one due on 4 January merely open
    assert fates == {
        "met": 2, "met_late": 1, "overdue": 2, "open": 1, "excused": 1, "withdrawn": 1
    }  # fmt: skip
    assert sum(fates.values()) == value("duties")
    assert value("days_to_met") == 8  # of 3, 8 and 18 days
    assert value("visits") == 5
    assert value("tried") == 1
    assert value("hours") == pytest.approx((30 + 60 + 15 + 5) / 60)
    assert figures.figure("hours").without_amount == 2


def test_t29_unknown_is_neither_good_nor_bad(book):
    figures = gather(period=YEAR, known_for_days=120)
    # FIR-3 was never really seen; ELM-2 was seen 120 days before the last day; OAK-1 two months before
    assert rows_of(figures, "unknown") == [(None, "FIR-3")]
    conditions = {line.code: line.condition for line in figures.by_site}
    assert conditions == {"ELM-2": "unsafe", "FIR-3": "unknown", "OAK-1": "good"}
    stricter = gather(period=YEAR, known_for_days=30)
    assert {line.code: line.condition for line in stricter.by_site} == {
        "ELM-2": "unsafe",
        "FIR-3": "unknown",
        "OAK-1": "unknown",
    }


def test_a_site_just_built_is_counted_as_new(book, cast):
    factory.make_built_site("NEW-1", owner=cast.owner, on=YEAR.ends_on)
    figures = gather(period=YEAR)
    assert rows_of(figures, "new") == [(None, "NEW-1")]
    assert rows_of(figures, "unknown") == [(None, "FIR-3")]


def test_t45_what_was_measured_is_kept_apart_from_what_was_guessed(book):
    figures = gather(period=YEAR)
    assert figures.value("silt_measured") == 20
    assert figures.value("silt_estimated") == 12
    assert figures.figure("silt_estimated").basis == "estimate"
    assert figures.figure("silt_measured").basis == "record"
    assert figures.value("soaked") == pytest.approx(1.5)
    assert figures.figure("soaked").basis == "estimate"


def test_storms_are_counted_in_the_programs_own_days_against_the_rule_of_the_day(book):
    figures = gather(period=YEAR)
    assert [line.day for line in figures.storms] == [
        date(2025, 7, 1),
        date(2025, 8, 1),
        date(2025, 9, 1),
        date(2025, 12, 31),
    ]
    assert [line.over_threshold for line in figures.storms] == [True, True, False, True]
    assert figures.value("storms_over") == 3
    first = figures.storms[0]
    assert (first.site_least_um, first.site_greatest_um, first.sites_unknown) == (15748, 15748, 1)


def test_a_site_without_any_known_rain_has_no_depth_rather_than_zero(book):
    last = gather(period=YEAR, agency=Agency.objects.get(code="parks")).storms[0]
    assert (last.site_least_um, last.sites_unknown) == (None, 1)


def test_an_agencys_figures_hold_only_its_own_sites(book, cast):
    figures = gather(period=YEAR, agency=cast.agency)
    assert figures.scope == "Streets Department"
    assert {line.code for line in figures.by_site} == {"OAK-1"}
    codes = {row.site for group in figures.groups for fig in group.figures for row in fig.rows}
    assert codes <= {"OAK-1", ""}


def test_by_agency_adds_up_to_the_whole(book):
    figures = gather(period=YEAR)
    assert [(line.name, line.built) for line in figures.by_agency] == [
        ("", 1), ("Parks Department", 1), ("Streets Department", 1)
    ]  # fmt: skip
    assert sum(line.unknown for line in figures.by_agency) == figures.value("unknown")
    assert sum(line.looked_at for line in figures.by_agency) == figures.value("looked_at")


def test_a_running_period_is_told_as_of_today(book):
    running = Period.until(date(2026, 1, 1), date(2026, 12, 31), today=factory.TODAY)
    assert running.is_running
    assert running.as_of == factory.TODAY
    figures = gather(period=running)
    assert figures.value("visits") == 1


def test_a_site_retired_in_the_year_keeps_its_work_and_leaves_the_count(book, cast):
    site = cast.site
    site.stage, site.retired_on = "retired", date(2025, 12, 1)
    site.save()
    figures = gather(period=YEAR)
    assert figures.value("built") == 2
    assert ("OAK-1" in {row.site for row in figures.figure("visits").rows}) is True


def test_reminders_count_only_what_went_out(book, cast):
    duty = cast.site.duties.first()
    for n, status in enumerate(["sent", "failed"]):
        at = factory.at(date(2025, 5, 2))
        message = Message.objects.create(
            key=f"m{n}",
            message_class="reminder",
            channel="email",
            status=status,
            to_name="Ines Quist",
            to_address="ines.quist@example.org",
            template="x",
            rfc_message_id=f"<{n}@example.org>",
            due_at=at,
            sent_at=at if status == "sent" else None,
        )
        Reminder.objects.create(
            duty=duty, person=cast.owner, round=n + 1, message=message, made_at=at
        )
    assert rows_of(gather(period=YEAR), "reminders") == [(date(2025, 5, 2), "OAK-1")]


def test_every_value_is_made_of_its_rows():
    rows = [Row(None, "A", "", 1.0), Row(None, "B", "", None), Row(None, "C", "", 4.0)]
    assert Figure("a", "", rows=rows).value == 3
    assert Figure("a", "", kind="sum", rows=rows).value == 5
    assert Figure("a", "", kind="median", rows=rows).value == 2.5
    assert Figure("a", "", kind="median").value is None
    assert Figure("a", "", kind="sum", rows=rows).without_amount == 1


def test_frozen_figures_are_plain_data_and_hold_every_row(book):
    figures = gather(period=YEAR)
    data = json.loads(json.dumps(figures.as_data()))
    assert data["period"] == {
        "starts_on": "2025-01-01",
        "ends_on": "2025-12-31",
        "as_of": "2025-12-31",
    }
    for group in data["groups"]:
        for figure in group["figures"]:
            live = figures.figure(figure["key"])
            assert figure["value"] == live.value
            assert len(figure["rows"]) == len(live.rows)


def test_more_sites_duties_and_visits_ask_no_more_queries(book, cast):
    with CaptureQueriesContext(connection) as few:
        gather(period=YEAR)
    for n in range(10, 25):
        site = factory.make_built_site(f"YEW-{n}", owner=cast.owner)
        factory.make_visit(site, date(2025, 5, 5), findings=[("trap", "act")], litres=3)
        factory.make_duty(site, opened_on=date(2025, 5, 1))
        storm = factory.make_storm(datetime(2025, 5, 1, tzinfo=factory.ZONE) + timedelta(days=n))
        factory.make_site_rain(storm, site, water={})
    with CaptureQueriesContext(connection) as many:
        gather(period=YEAR)
    assert len(many) == len(few)


def test_work_done_before_the_readings_came_took_no_day_rather_than_less_than_none(cast):
    factory.make_duty(
        cast.site,
        opened_on=date(2025, 7, 3),
        due_on=date(2025, 7, 8),
        state="met",
        closed_on=date(2025, 7, 2),
    )
    figures = gather(period=YEAR, known_for_days=120)
    assert figures.figure("days_to_met").value == 0
