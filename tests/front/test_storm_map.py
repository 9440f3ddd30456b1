"""Where a storm fell, as a map: who is drawn where, what the mean over it weighs."""

from datetime import date

import pytest

from stewardship.rain.models import GaugeStorm
from tests import factory
from tests.front.storm_pages import START, SVG, by_code, drawn, has_part, marks, page, text_of

pytestmark = pytest.mark.usefixtures("frozen_day")


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
    assert [at.need.rain.site.code for at in response.context["by_site"]] == [
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
    assert "No site was in the book when this storm was worked out." in response.content.decode()


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
    far = factory.make_gauge("FAR", lat=factory.LAT + 1)
    factory.make_readings(far, START, factory.QUARTER, [1, 1, 0.5, 0.5], found=True)
    has_part(far, storm, 3.0)
    quiet = factory.make_gauge("QUIET", lat=factory.LAT + 1)
    factory.make_readings(quiet, START, factory.QUARTER, [0, 0, 0, 0], found=True)
    response = page(coordinator, storm)
    assert by_code(response)["FAR"].share is None
    assert by_code(response)["G1"].percent == 100
    assert set(by_code(response)) == {"G1", "FAR"}
    html = text_of(response)
    assert "too far from every site to speak for one: the nearest is 69.1 mi away" in html
    assert "beyond the map, so not in its mean" in html
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
