"""The list of sites: search, filters, planting phase, CSV."""

import csv
from datetime import date
from io import StringIO

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from sites.choices import Phase
from sites.models import Site, phase_on
from tests import factory

LIST = reverse("sites:list")


def codes(response) -> list[str]:
    return [row.record.code for row in response.context["table"].rows]


def test_the_list_shows_every_site_with_its_stage_in_words(cast, coordinator):
    factory.make_site("ASH-9")
    response = coordinator.get(LIST)
    assert codes(response) == ["ASH-9", "ELM-2", "OAK-1"]
    page = response.content.decode()
    assert "Proposed" in page
    assert "Built" in page


@pytest.mark.parametrize(
    ("query", "found"),
    [
        ("?q=saltbush ash", ["ASH-9"]),
        ("?stage=built", ["ELM-2", "OAK-1"]),
        ("?stage=proposed&q=oak", []),
        ("?agency=null", ["ASH-9"]),
    ],
)
def test_filters_narrow_the_list(cast, coordinator, query, found):
    factory.make_site("ASH-9")
    assert codes(coordinator.get(LIST + query)) == found


def test_the_agency_filter_shows_that_agencys_sites(cast, coordinator):
    assert codes(coordinator.get(f"{LIST}?agency={cast.agency.pk}")) == ["OAK-1"]


def test_a_filter_that_cannot_be_read_is_told_at_its_field(cast, coordinator):
    page = coordinator.get(LIST + "?stage=nonsense").content.decode()
    assert "errorlist" in page
    assert "Choose one of those listed" in page


@pytest.mark.parametrize(
    ("planted", "on"),
    [
        (date(2024, 2, 29), date(2025, 2, 28)),
        (date(2024, 2, 29), date(2025, 3, 1)),
        (date(2024, 2, 29), date(2026, 2, 28)),
        (date(2025, 7, 15), date(2026, 7, 14)),
        (date(2025, 7, 15), date(2026, 7, 15)),
        (date(2024, 7, 15), date(2026, 7, 15)),
        (date(2024, 7, 16), date(2026, 7, 15)),
        (date(2024, 8, 31), date(2026, 8, 31)),
    ],
)
def test_the_phase_filter_agrees_with_the_phase_of_each_site(db, planted, on):
    site = factory.make_built_site("OAK-1", on=planted)
    for phase in Phase:
        shown = Site.objects.in_phase(phase, on=on).exists()
        assert shown == (phase_on(planted, on=on) == phase == site.phase(on=on))


def test_what_was_replanted_later_does_not_change_the_phase_of_an_earlier_day(db):
    site = factory.make_built_site("OAK-1", on=date(2023, 1, 10))
    factory.make_basin(site, "B", phase_from=date(2026, 7, 1))
    assert site.phase(on=date(2026, 6, 30)) == Phase.SETTLED
    assert site.phase(on=date(2026, 7, 1)) == Phase.SETTLING_IN
    assert Site.objects.in_phase(Phase.SETTLED, on=date(2026, 6, 30)).exists()
    assert Site.objects.in_phase(Phase.SETTLING_IN, on=date(2026, 7, 1)).exists()


def test_a_retired_site_has_a_dash_for_its_planting(cast, coordinator):
    cast.site.stage, cast.site.retired_on = "retired", date(2026, 7, 1)
    cast.site.save()
    (row,) = coordinator.get(LIST + "?stage=retired").context["table"].rows
    assert row.get_cell("phase") == "–"


def test_the_csv_holds_what_the_filter_shows_and_starts_no_formula(cast, coordinator):
    factory.make_site("ASH-9", address='=HYPERLINK("x")')
    response = coordinator.get(LIST + "?stage=proposed&_export=csv")
    text = b"".join(response.streaming_content).decode("utf-8-sig")
    rows = list(csv.DictReader(StringIO(text)))
    assert [row["Site"] for row in rows] == ["ASH-9"]
    assert rows[0]["Nearest address"].startswith("'=")
    assert float(rows[0]["Latitude"]) == factory.LAT


def test_more_sites_ask_no_more_queries(cast, coordinator):
    with CaptureQueriesContext(connection) as few:
        coordinator.get(LIST)
    for n in range(10, 30):
        factory.make_built_site(f"FIR-{n}", owner=cast.owner)
    with CaptureQueriesContext(connection) as many:
        coordinator.get(LIST)
    assert len(many) == len(few)
