"""The page of a storm: what fell, how sure, who must, who was told, who answered."""

from datetime import date, timedelta
from xml.etree import ElementTree as ET

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from stewardship.care.models import Answer, RainQuestion, Reminder
from stewardship.rain.models import GaugeStorm, StormRevision
from tests import factory
from tests.book import make_message

START = factory.at(date(2026, 7, 14), "16:00")


@pytest.fixture(autouse=True)
def _day(frozen_day):
    pass


@pytest.fixture
def storm(cast):
    gauge = factory.make_gauge()
    factory.make_readings(gauge, START, factory.QUARTER, [0.2, 0.3, None, 0.12], found=True)
    return factory.make_storm(START, hours=1, gauges=[gauge])


def page(client, storm):
    response = client.get(reverse("storm", args=[storm.pk]))
    assert response.status_code == 200
    return response


def test_sites_stand_by_need_and_each_says_where_it_stands(cast, coordinator, storm):
    def site_with(code: str, **duty):
        site = factory.make_built_site(code, owner=cast.owner)
        factory.make_site_rain(storm, site, depth_in=0.4)
        return factory.make_duty(site, storms=[storm], **duty) if duty else None

    silent = site_with("S-1", trigger="after_rain")
    site_with("S-2", owed_by=None)
    site_with("S-3", needs_person_since=factory.TODAY, needs_person_why="cannot")
    site_with("S-4", trigger="after_rain")
    answered = site_with("S-5", trigger="after_rain")
    site_with("S-6", state="met", closed_on=factory.TODAY)
    site_with("S-7", state="excused", closed_on=factory.TODAY)
    site_with("S-8")
    unknown = factory.make_built_site("S-9", owner=cast.owner)
    factory.make_site_rain(storm, unknown, depth_in=None)
    sent = make_message(status="sent", sent_at=START)
    for duty in (silent, answered):
        Reminder.objects.create(duty=duty, person=cast.owner, message=sent)
    Answer.objects.create(
        duty=answered, person=cast.owner, kind="cannot", about_on=date(2026, 7, 14)
    )
    rows = [(row.rain.site.code, row.need) for row in page(coordinator, storm).context["rows"]]
    assert rows == [
        ("S-2", "nobody"),
        ("S-3", "listed"),
        ("S-4", "not_told"),
        ("S-1", "silent"),
        ("S-5", "answered"),
        ("S-9", "unknown"),
        ("S-6", "met"),
        ("S-7", "closed"),
        ("S-8", "none"),
    ]


def test_a_letter_that_failed_is_not_told(cast, coordinator, storm):
    factory.make_site_rain(storm, cast.site)
    duty = factory.make_duty(cast.site, storms=[storm])
    Reminder.objects.create(
        duty=duty, person=cast.owner, message=make_message(status="failed", error="no")
    )
    response = page(coordinator, storm)
    assert [row.need for row in response.context["rows"]] == ["not_told"]
    assert response.context["short"].told == 0


def test_only_what_happened_since_the_storm_began_counts_as_told_and_answered(
    cast, coordinator, storm
):
    factory.make_site_rain(storm, cast.site)
    duty = factory.make_duty(cast.site, opened_on=date(2026, 7, 10), storms=[storm])
    before = START - timedelta(days=2)
    Reminder.objects.create(
        duty=duty,
        person=cast.owner,
        message=make_message(status="sent", sent_at=before),
        made_at=before,
    )
    Answer.objects.create(
        duty=duty, person=cast.owner, kind="cannot", about_on=date(2026, 7, 12), at=before
    )
    response = page(coordinator, storm)
    short, (row,) = response.context["short"], response.context["rows"]
    assert (short.told, short.told_before, short.answered) == (0, 1, 0)
    assert row.words == "told of an earlier storm"
    html = response.content.decode()
    assert "earlier storm: Sun 12 Jul, 4 p.m." in html
    assert "earlier storm: Can’t this time" in html

    after = START + timedelta(hours=20)
    Reminder.objects.create(
        duty=duty,
        person=cast.owner,
        round=2,
        message=make_message("m2", status="sent", sent_at=after),
        made_at=START + timedelta(hours=1),
    )
    response = page(coordinator, storm)
    short, (row,) = response.context["short"], response.context["rows"]
    assert (short.told, short.told_before) == (1, 0)
    assert row.duty.told_at == after  # when it left, not when it was queued


@pytest.mark.parametrize(
    ("letter", "words"),
    [
        ({"channel": "letter", "to_address": "12 Elm Street"}, "letter waits to be posted"),
        ({"due_at": factory.at(factory.TODAY + timedelta(days=1), "09:00")}, "goes out "),
        ({}, "about to go out"),
        ({"status": "failed", "error": "no"}, "Failed"),
    ],
)
def test_a_message_that_has_not_left_says_what_it_waits_for(
    cast, coordinator, storm, letter, words
):
    factory.make_site_rain(storm, cast.site)
    duty = factory.make_duty(cast.site, storms=[storm])
    Reminder.objects.create(duty=duty, person=cast.owner, message=make_message(**letter))
    response = page(coordinator, storm)
    (row,) = response.context["rows"]
    assert row.words == "due, not told yet"
    assert row.told_words.startswith(words)
    assert response.context["short"].told == 0


def test_the_heading_names_the_days_as_the_letters_do(cast, coordinator):
    daily = factory.make_storm(factory.at(date(2026, 7, 12), "07:00"), hours=24)
    assert page(coordinator, daily).context["heading"] == "Storm of Sun 12 Jul to Mon 13 Jul"
    midnight = factory.make_storm(factory.at(date(2026, 7, 10), "22:00"), hours=2)
    assert page(coordinator, midnight).context["heading"] == "Storm of Fri 10 Jul"


def test_unknown_rain_is_a_dash_and_the_word_never_a_zero(cast, coordinator, storm):
    rain = factory.make_site_rain(storm, cast.site, depth_in=None)
    rain.left_out = [{"gauge": "G1", "why": "one reading is missing"}]
    rain.save()
    html = page(coordinator, storm).content.decode()
    assert "rain not known" in html
    assert "without G1: one reading is missing" in html
    assert "0.00 in" not in html


def test_a_gauge_that_was_left_out_is_said_once_among_the_gauges(cast, coordinator, storm):
    gauge = factory.make_gauge("G5")
    for site in (cast.site, cast.other_site):
        rain = factory.make_site_rain(storm, site, gauge=gauge)
        rain.left_out = [{"gauge": "G1", "why": "one reading is missing"}]
        rain.save()
    far = factory.make_site_rain(storm, factory.make_site("FAR-1"), depth_in=None)
    far.left_out = [{"gauge": "", "why": "no gauge is near enough"}]
    far.save()
    html = page(coordinator, storm).content.decode()
    assert html.count("left out: one reading is missing") == 1
    assert "without G1" not in html  # every site has another gauge
    assert "the nearer a gauge, the more it counts" in html
    assert "no gauge is near enough" in html
    assert "without :" not in html


def test_every_drawing_has_its_figures_as_a_table(cast, coordinator, storm):
    response = page(coordinator, storm)
    (record,) = response.context["records"]
    assert 'role="img"' in record.svg
    assert "no reading" in record.svg
    assert record.missing == 1
    assert [one.reading.depth_um for one in record.intervals] == [5080, 7620, None, 3048]
    html = response.content.decode()
    assert "one reading is missing" in html
    assert "Tue 14 Jul, 4:15 p.m." in html


def test_a_daily_gauge_shows_its_whole_day(cast, coordinator, storm):
    daily = factory.make_gauge("D2", kind="daily")
    seven = factory.at(date(2026, 7, 14), "07:00")
    factory.make_readings(daily, seven, timedelta(days=1), [0.62], found=True)
    GaugeStorm.objects.create(
        gauge=daily,
        storm=storm,
        start_s=factory.seconds(seven),
        end_s=factory.seconds(seven) + 86_400,
        depth_um=factory.um(0.62),
        coarse=True,
    )
    records = {r.gauge.code: r for r in page(coordinator, storm).context["records"]}
    assert [one.start for one in records["D2"].intervals] == [seven]
    assert records["D2"].svg == ""  # one bar says no more than its number


def test_silence_of_a_gauge_that_reports_only_rain_is_dry(cast, coordinator, storm):
    bucket = factory.make_gauge("T3", kind="tipping", lists_dry=False)
    for hours in (0, 0.5, 0.75):
        factory.make_readings(
            bucket, START + timedelta(hours=hours), timedelta(minutes=5), [0.1], found=True
        )
    GaugeStorm.objects.create(
        gauge=bucket, storm=storm, start_s=storm.start_s, end_s=storm.end_s, depth_um=5080
    )
    records = {r.gauge.code: r for r in page(coordinator, storm).context["records"]}
    assert records["T3"].svg
    assert "no reading" not in records["T3"].svg


def test_t18_a_revised_storm_shows_how_it_changed_and_what_waits_for_a_decision(
    cast, coordinator, storm
):
    storm.revision = 2
    storm.save()
    StormRevision.objects.create(
        storm=storm,
        number=2,
        start_s=storm.start_s,
        end_s=storm.end_s + 900,
        greatest_um=factory.um(0.8),
        why="Late readings of G2",
    )
    RainQuestion.objects.create(site=cast.site, storm=storm, ask="add", storm_revision=2)
    html = page(coordinator, storm).content.decode()
    assert "Late readings of G2" in html
    assert "0.80 in" in html
    assert "Late rain: a look would be due" in html
    assert reverse("care:rain_questions") in html


def test_a_storm_that_was_merged_leads_to_the_one_it_is_part_of(cast, coordinator, storm):
    other = factory.make_storm(
        START + timedelta(hours=3), merged_into=storm, withdrawn_at=factory.at(factory.TODAY)
    )
    html = page(coordinator, other).content.decode()
    assert reverse("storm", args=[storm.pk]) in html
    assert "part of" in html


def test_a_storm_that_is_not_there_is_not_there(cast, coordinator):
    assert coordinator.get(reverse("storm", args=[99])).status_code == 404


def test_the_page_asks_a_fixed_number_of_queries(cast, coordinator, storm):
    def fill(start: int, count: int) -> None:
        for n in range(start, start + count):
            site = factory.make_built_site(f"FIR-{n}", owner=cast.owner)
            factory.make_site_rain(storm, site)
            factory.make_duty(site, storms=[storm])
            gauge = factory.make_gauge(f"X{n}")
            factory.make_readings(gauge, START, factory.QUARTER, [0.1], found=True)
            GaugeStorm.objects.create(
                gauge=gauge, storm=storm, start_s=storm.start_s, end_s=storm.end_s, depth_um=2540
            )

    fill(1, 1)
    with CaptureQueriesContext(connection) as few:
        page(coordinator, storm)
    fill(2, 8)
    with CaptureQueriesContext(connection) as many:
        page(coordinator, storm)
    assert len(many) == len(few)


def test_it_says_how_unusual_the_rain_was_and_which_part_is_representative(coordinator, storm):
    """40 CFR 122.21(g)(7)(ii): over 0.1 in, at least 72 h after the last one over 0.1 in."""
    assert "How unusual it was" not in page(coordinator, storm).content.decode()
    factory.make_frequency_table()
    earlier = factory.make_storm(START - timedelta(days=4), hours=1)
    part = GaugeStorm.objects.get(storm=storm)
    before = {"gauge": part.gauge, "storm": earlier, "depth_um": factory.um(0.2)}
    GaugeStorm.objects.create(start_s=earlier.start_s, end_s=earlier.end_s, **before)
    GaugeStorm.objects.filter(pk=part.pk).update(
        peak_5min_um=factory.um(0.1), peak_60min_um=factory.um(0.6)
    )
    text = " ".join(page(coordinator, storm).content.decode().split())
    assert "between a 1- and 2-year 60-minute rain" in text
    assert "a representative storm" in text and "72 hours or more" in text
    assert "How unusual it was at G1 · Gauge G1" in text

    GaugeStorm.objects.filter(storm=earlier).update(end_s=part.start_s - 71 * 3600)
    assert "a representative storm" not in page(coordinator, storm).content.decode()


def test_more_gauges_cost_no_more_queries(coordinator, storm):
    factory.make_frequency_table()

    def queries() -> int:
        with CaptureQueriesContext(connection) as seen:
            page(coordinator, storm)
        return len(seen)

    few = queries()
    for code in ("G2", "G3", "G4"):
        gauge = factory.make_gauge(code)
        factory.make_readings(gauge, START, factory.QUARTER, [0.2, 0.3, None, 0.12], found=True)
        span = {"start_s": storm.start_s, "end_s": storm.end_s, "depth_um": factory.um(0.4)}
        GaugeStorm.objects.create(gauge=gauge, storm=storm, peak_60min_um=span["depth_um"], **span)
    assert queries() == few


# -- the map --------------------------------------------------------------------------------------------------
SVG = "{http://www.w3.org/2000/svg}"


def drawn(response) -> ET.Element:
    """The map as it stands in the page."""
    html = response.content.decode()
    start = html.index("<svg", html.index("storm-map"))
    svg = html[start : html.index("</svg>", start) + len("</svg>")]
    return ET.fromstring(svg.replace("<svg", f'<svg xmlns="{SVG[1:-1]}"', 1))


def marks(root: ET.Element, kind: str) -> list[ET.Element]:
    return [one for one in root.iter() if kind in one.get("class", "").split()]


def has_part(gauge, storm, depth_in: float = 0.62, **fields) -> GaugeStorm:
    span = {"start_s": storm.start_s, "end_s": storm.end_s}
    return GaugeStorm.objects.create(
        gauge=gauge, storm=storm, depth_um=factory.um(depth_in), **(span | fields)
    )


def by_code(response) -> dict:
    return {record.gauge.code: record for record in response.context["records"]}


def test_the_map_has_words_for_who_cannot_see_it_and_one_dot_for_each_site(
    cast, coordinator, storm
):
    for n, depth in enumerate((0.2, 0.8, 0.0, None)):
        site = factory.make_built_site(f"OAK-{n + 5}", owner=cast.owner, lat=factory.LAT + n / 500)
        factory.make_site_rain(storm, site, depth_in=depth)
    response = page(coordinator, storm)
    root = drawn(response)
    assert root.get("role") == "img"
    labels = [root.find(f".//*[@id='{name}']") for name in root.get("aria-labelledby").split()]
    assert labels[0].text == "Storm of Tue 14 Jul"
    assert "4 sites and one gauge" in labels[1].text
    assert "Most rain at OAK-6 (0.80 in), least at OAK-7 (0.00 in)." in labels[1].text
    dots = {one.find(f"{SVG}title").text: one for one in marks(root, "map-dot")}
    assert sorted(dots) == [
        "OAK-5: 0.20 in, Estimated",
        "OAK-6: 0.80 in, Estimated",
        "OAK-7: 0.00 in, Estimated",
        "OAK-8: not known",
    ]
    radius = {words[:5]: float(dot.get("r")) for words, dot in dots.items()}
    assert radius["OAK-6"] > radius["OAK-5"] > radius["OAK-7"]
    height = float(root.get("viewBox").split()[3])
    for dot in dots.values():
        assert 0 < float(dot.get("cx")) < 640
        assert 0 < float(dot.get("cy")) < height
    assert "a site whose rain is not known" in response.content.decode()
    # all of it stands in a table, too
    assert [row.rain.site.code for row in response.context["by_site"]] == [
        "OAK-5",
        "OAK-6",
        "OAK-7",
        "OAK-8",
    ]


def test_north_is_up_and_the_scale_bar_is_as_long_as_it_says(cast, coordinator, storm):
    """Two sites 1 mile apart from south to north: 1609.344 m (NIST SP 811, appendix B) on a sphere of 6371.0088 km."""
    degrees = 1609.344 / 111_195.08
    for code, up in (("OAK-5", 0), ("OAK-6", degrees)):
        site = factory.make_built_site(code, owner=cast.owner, lat=factory.LAT + up)
        factory.make_site_rain(storm, site)
    response = page(coordinator, storm)
    root = drawn(response)
    y = {dot.find(f"{SVG}title").text[:5]: float(dot.get("cy")) for dot in marks(root, "map-dot")}
    assert y["OAK-6"] < y["OAK-5"]
    drawing = response.context["map"]
    assert drawing.bar_words == "2,000 ft"
    assert float(drawing.bar) / 2000 * 5280 == pytest.approx(y["OAK-5"] - y["OAK-6"], abs=0.5)

    cast.program.units = "metric"
    cast.program.save()
    assert page(coordinator, storm).context["map"].bar_words == "500 m"


def test_shares_of_the_map_make_a_hundred_per_cent_and_the_mean(cast, coordinator, storm):
    """A. H. Thiessen 1911: the mean weighs each gauge by the area that is nearest to it."""
    factory.make_site_rain(storm, cast.site)
    for n, depth in enumerate((0.2, 0.4, 0.9)):
        gauge = factory.make_gauge(
            f"T{n}", lat=factory.LAT - 0.003 * n, lon=factory.LON + 0.01 * (n - 1)
        )
        has_part(gauge, storm, depth)
    response = page(coordinator, storm)
    records = response.context["records"]
    assert [record.gauge.code for record in records] == ["T2", "G1", "T1", "T0"]
    assert sum(record.share for record in records) == pytest.approx(1)
    assert sum(record.percent for record in records) == 100
    mean_um = sum(record.share * record.depth_um for record in records)
    assert response.context["mean_um"] == pytest.approx(mean_um, abs=1)
    html = " ".join(response.content.decode().split())
    assert "Mean over the map" in html
    assert marks(drawn(response), "map-cell")
    for record in records:
        assert f"{record.percent} %" in html


def test_two_gauges_halve_a_map_between_them(cast, coordinator):
    """Worked by hand: two gauges as far east and west of a lone site as each other share the rectangle equally."""
    storm = factory.make_storm(START, hours=1)
    factory.make_site_rain(storm, cast.site)
    for code, lon, depth in (("W", -0.005, 0.2), ("E", 0.005, 0.6)):
        gauge = factory.make_gauge(code, lat=factory.LAT, lon=factory.LON + lon)
        has_part(gauge, storm, depth)
    response = page(coordinator, storm)
    assert [record.percent for record in response.context["records"]] == [50, 50]
    assert response.context["mean_um"] == pytest.approx(factory.um(0.4), abs=1)


def test_gauges_at_one_place_are_one_mark_with_one_cell_and_share_it(cast, coordinator):
    storm = factory.make_storm(START, hours=1)
    factory.make_site_rain(storm, cast.site)
    for code, lon in (("A1", 0.004), ("A2", 0.004), ("B", -0.004)):
        has_part(factory.make_gauge(code, lon=factory.LON + lon), storm)
    response = page(coordinator, storm)
    records = by_code(response)
    assert records["A1"].share == records["A2"].share
    assert sum(one.share for one in records.values()) == pytest.approx(1)
    root = drawn(response)
    assert [one.find(f"{SVG}title").text for one in marks(root, "map-tube")] == [
        "A1 0.62 in, A2 0.62 in",
        "B 0.62 in",
    ]
    (lines,) = marks(root, "map-cell")
    assert lines.get("d").count("M") == 1  # one line between the two places

    records["B"].gauge.storms.all().delete()
    response = page(coordinator, storm)
    assert not marks(drawn(response), "map-cell")
    assert sum(one.share for one in response.context["records"]) == pytest.approx(1)


def test_a_storm_of_one_gauge_alone_has_a_map_with_an_area(coordinator):
    gauge = factory.make_gauge()
    storm = factory.make_storm(START, hours=1, gauges=[gauge])
    response = page(coordinator, storm)
    (record,) = response.context["records"]
    assert record.percent == 100
    assert response.context["mean_um"] == factory.um(0.62)
    root = drawn(response)
    assert len(marks(root, "map-tube")) == 1
    assert not marks(root, "map-dot")
    assert "No site had been worked out for this storm." in response.content.decode()


def test_without_any_place_there_is_no_map_and_the_page_stands(cast, coordinator):
    site = factory.make_built_site("OAK-5", owner=cast.owner, lat=None, lon=None)
    gauge = factory.make_gauge()
    gauge.places.all().delete()
    storm = factory.make_storm(START, hours=1, gauges=[gauge])
    factory.make_site_rain(storm, site, depth_in=None)
    factory.make_frequency_table()
    response = page(coordinator, storm)
    assert response.context["map"] is None
    assert "Where it fell" not in response.content.decode()
    assert "nobody wrote down where it stands" in response.content.decode()


def test_a_gauge_without_a_place_is_told_of_below_the_map_and_weighs_nothing(
    cast, coordinator, storm
):
    factory.make_site_rain(storm, cast.site)
    lost = factory.make_gauge("LOST")
    lost.places.all().delete()
    has_part(lost, storm, 2.0)
    factory.make_frequency_table()
    response = page(coordinator, storm)
    assert by_code(response)["LOST"].share is None
    assert by_code(response)["G1"].percent == 100
    assert (
        "Gauge LOST is not on the map: nobody wrote down where it stands."
        in response.content.decode()
    )


def test_a_site_without_coordinates_is_named_below_the_map(cast, coordinator, storm):
    factory.make_site_rain(storm, cast.site)
    lost = factory.make_built_site("OAK-5", owner=cast.owner, lat=None, lon=None)
    factory.make_site_rain(storm, lost, depth_in=None)
    response = page(coordinator, storm)
    assert len(marks(drawn(response), "map-dot")) == 1
    html = response.content.decode()
    assert "OAK-5 is not on the map: its coordinates are not known." in html


def test_where_no_sites_rain_is_known_the_map_says_so_at_each(cast, coordinator, storm):
    for site in (cast.site, cast.other_site):
        rain = factory.make_site_rain(storm, site, depth_in=None)
        rain.left_out = [{"gauge": "G1", "why": "one reading is missing"}]
        rain.save()
    response = page(coordinator, storm)
    root = drawn(response)
    assert len(marks(root, "map-unknown")) == 2
    assert response.context["mean_um"] is None  # the only gauge was left out
    html = " ".join(response.content.decode().split())
    assert "What it was at the sites is not known." in html
    assert "G1 left out" in html
    assert "a gauge that was left out" in html
    assert "Not known does not mean dry." in html
    assert "0.00 in" not in html


def test_a_gauge_too_far_from_every_site_does_not_weigh_and_does_not_stretch_the_map(
    cast, coordinator, storm
):
    factory.make_site_rain(storm, cast.site)
    has_part(factory.make_gauge("FAR", lat=factory.LAT + 1), storm, 3.0)
    response = page(coordinator, storm)
    assert by_code(response)["FAR"].share is None
    assert by_code(response)["G1"].percent == 100
    html = response.content.decode()
    assert "left out: too far from every site to count" in html
    assert "Gauge FAR stands beyond the edge of the map." in html
    assert len(marks(drawn(response), "map-tube")) == 1


def test_a_gauge_in_reach_that_stayed_dry_weighs_and_one_that_said_nothing_does_not(
    cast, coordinator, storm
):
    factory.make_site_rain(storm, cast.site)
    dry = factory.make_gauge("DRY", lon=factory.LON + 0.01)
    factory.make_readings(dry, START, factory.QUARTER, [0, 0, 0, 0], found=True)
    factory.make_gauge("MUTE")
    response = page(coordinator, storm)
    records = by_code(response)
    assert set(records) == {"G1", "DRY"}
    assert (records["DRY"].depth_um, records["DRY"].notes) == (0, ["stayed dry"])
    assert records["DRY"].share > 0
    assert response.context["mean_um"] < factory.um(0.62)


def test_a_gauge_stands_on_the_map_where_it_stood_on_the_storms_last_day(cast, coordinator, storm):
    factory.make_site_rain(storm, cast.site)
    gauge = GaugeStorm.objects.get(storm=storm).gauge
    before = marks(drawn(page(coordinator, storm)), "map-tube")[0].get("transform")
    gauge.places.create(since=date(2026, 7, 15), lat=factory.LAT + 0.04, lon=factory.LON)
    assert marks(drawn(page(coordinator, storm)), "map-tube")[0].get("transform") == before
    gauge.places.create(since=date(2026, 7, 14), lat=factory.LAT - 0.02, lon=factory.LON)
    assert marks(drawn(page(coordinator, storm)), "map-tube")[0].get("transform") != before


def test_names_of_many_sites_never_lie_on_each_other(cast, coordinator, storm):
    for n in range(30):
        site = factory.make_built_site(
            f"OAK-{100 + n}",
            owner=cast.owner,
            lat=factory.LAT + n % 3 * 0.0004,
            lon=factory.LON + n // 3 * 0.0009,
        )
        factory.make_site_rain(storm, site, depth_in=0.1 + n / 50)
    response = page(coordinator, storm)
    drawing = response.context["map"]
    assert len(drawing.dots) == 30
    assert drawing.unnamed == 30 - len(drawing.site_labels)
    assert 0 < len(drawing.site_labels) <= 30

    def box(label) -> tuple[float, float, float, float]:
        """Words of 12.5 units: about 6 to a letter."""
        width, x, y = 6 * len(label.words), float(label.x), float(label.y)
        left = {"start": x, "middle": x - width / 2, "end": x - width}[label.anchor]
        return left, y - 10, left + width, y + 2

    boxes = [box(label) for label in drawing.site_labels]
    for n, one in enumerate(boxes):
        for other in boxes[:n]:
            assert (
                one[2] <= other[0] or other[2] <= one[0] or one[3] <= other[1] or other[3] <= one[1]
            )


# -- gauges and sites -----------------------------------------------------------------------------------------
def test_t14_each_site_says_which_gauge_its_rain_comes_from_and_how_far_that_is(
    cast, coordinator, storm
):
    rain = factory.make_site_rain(storm, cast.site, depth_in=0.5)
    rain.sources = [
        {"gauge": "G1", "weight": 0.862, "distance_m": 445, "depth_um": 12_700},
        {"gauge": "G2", "weight": 0.134, "distance_m": 3300, "depth_um": 12_700},
        {"gauge": "REMOTE", "weight": 0.004, "distance_m": 4900, "depth_um": 12_700},
    ]
    rain.save()
    html = " ".join(page(coordinator, storm).content.decode().split())
    assert "G1 86 %, 0.3 mi" in html
    assert "G2 13 %, 2.1 mi" in html
    assert "REMOTE" not in html  # rounds to nothing
    assert "Worked out between gauges that are farther away" in html

    cast.program.units = "metric"
    cast.program.save()
    html = " ".join(page(coordinator, storm).content.decode().split())
    assert "G1 86 %, 0.4 km" in html
    assert "G2 13 %, 3.3 km" in html


def test_how_sure_explains_the_words_that_are_there_and_no_others(cast, coordinator, storm):
    factory.make_site_rain(storm, cast.site, sureness="measured")
    html = " ".join(page(coordinator, storm).content.decode().split())
    assert "within 0.3 mi, or within 0.6 mi if it counts for 75 % or more" in html
    assert "Not known does not mean dry." not in html


def test_how_unusual_it_was_at_a_site_is_said_only_where_there_is_a_table(cast, coordinator, storm):
    rain = factory.make_site_rain(storm, cast.site, depth_in=0.62)
    rain.peak_15min_um, rain.peak_60min_um = factory.um(0.3), factory.um(0.62)
    rain.save()
    response = page(coordinator, storm)
    assert not response.context["any_unusual_site"]
    assert "How unusual" not in response.content.decode()
    factory.make_frequency_table()
    html = " ".join(page(coordinator, storm).content.decode().split())
    assert "between a 1- and 2-year 60-minute rain" in html


def test_the_gauges_table_says_how_hard_it_rained_and_how_long_it_had_been_dry(
    cast, coordinator, storm
):
    GaugeStorm.objects.filter(storm=storm).update(
        peak_15min_um=factory.um(0.3), peak_60min_um=factory.um(0.6), dry_before_s=30 * 3600
    )
    html = " ".join(page(coordinator, storm).content.decode().split())
    for words in ("0.30 in", "0.60 in", "30 h", "one reading is missing"):
        assert words in html


def test_a_gauge_with_two_parts_in_a_long_storm_is_one_line_with_both(cast, coordinator):
    gauge = factory.make_gauge()
    storm = factory.make_storm(START, hours=12)
    for hours, depth, peak in ((0, 0.3, 0.2), (10, 0.2, 0.15)):
        start = START + timedelta(hours=hours)
        factory.make_readings(gauge, start, factory.QUARTER, [depth / 4] * 4, found=True)
        start_s = factory.seconds(start)
        has_part(
            gauge, storm, depth, start_s=start_s, end_s=start_s + 3600, peak_15min_um=factory.um(peak)
        )  # fmt: skip
    (record,) = page(coordinator, storm).context["records"]
    assert record.depth_um == factory.um(0.5)
    assert record.peak_15min_um == factory.um(0.2)
    assert len(record.intervals) == 8
    assert record.svg.count("<svg") == 1


def test_all_drawings_of_a_page_share_one_scale(cast, coordinator, storm):
    """The same ticks on both axes, so that a slow rain looks slow beside a fast one."""
    slow = factory.make_gauge("SLOW")
    hour = timedelta(hours=1)
    factory.make_readings(slow, START - hour, hour, [0.02, 0.03, 0.02], found=True)
    start_s = storm.start_s - 3600
    has_part(slow, storm, 0.07, start_s=start_s, end_s=start_s + 3 * 3600)
    records = by_code(page(coordinator, storm))

    def ticks(svg: str) -> list[str]:
        words = [one.text or "" for one in ET.fromstring(svg).iter(f"{SVG}text")]
        return [one for one in words if one[0].isdigit()]

    assert ticks(records["SLOW"].svg) == ticks(records["G1"].svg)
    assert "in per hour, each bar 1 h" in records["SLOW"].svg
    assert "in per hour, each bar 15 min" in records["G1"].svg
    # 0.3 in of 15 minutes is 1.2 in per hour, which the axis of both reaches
    assert "1.00" in ticks(records["SLOW"].svg)
