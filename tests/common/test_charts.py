"""Charts: real text, a text alternative, our colours as classes, drawn once per content."""

from datetime import UTC, datetime, timedelta
from xml.etree import ElementTree as ET

import pytest
from django.core.cache import cache
from django.utils import translation

from stewardship.common import charts

START = datetime(2026, 7, 14, 21, 0, tzinfo=UTC)  # 3 p.m. in Denver
SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture(autouse=True)
def fresh_cache():
    cache.clear()


def draw(depths=(0.0, 2.54, 5.08, None, 2.54), **changes) -> str:
    edges = [START + timedelta(minutes=15 * n) for n in range(len(depths) + 1)]
    bars = charts.Bars(edges, list(depths))
    options = {
        "scale": charts.Scale.holding([bars]),
        "title": "Rain at Juniper St",
        "description": "0.40 in fell.",
        "units": "us",
        "zone": "America/Denver",
    }
    return charts.hyetograph(bars, **(options | changes))


def texts(svg: str) -> list[str]:
    return [text.text for text in ET.fromstring(svg).iter(f"{SVG}text")]


def test_a_chart_keeps_its_words_as_text_and_carries_an_alternative():
    svg = draw()

    assert "total 0.40 in" in texts(svg)
    assert "in per hour, each bar 15 min" in texts(svg)
    assert ET.fromstring(svg)[0].text == "Rain at Juniper St. 0.40 in fell."


def test_hours_are_those_of_the_programs_zone():
    assert "3 p.m." in texts(draw())


def test_an_interval_without_a_reading_is_not_drawn_as_zero():
    assert "no reading" in texts(draw())
    assert "no reading" not in texts(draw(depths=(0.0, 2.54)))


def test_colours_can_follow_light_and_dark():
    root = ET.fromstring(draw())

    assert not [e for e in root.iter() if "style" in e.attrib]
    assert any("f-water" in e.get("class", "") for e in root.iter())
    assert any("s-ink" in e.get("class", "") for e in root.iter())


def test_two_charts_in_one_page_share_no_id():
    def ids(svg: str) -> set[str]:
        return {e.get("id") for e in ET.fromstring(svg).iter() if e.get("id")}

    first = draw()

    assert ids(first)
    assert not ids(first) & ids(draw(title="Rain at Mesquite Ave"))


def test_a_chart_is_drawn_once_per_content_and_language(monkeypatch):
    drawn = []
    real = charts.svg_of

    def counting(*args, **kwargs):
        drawn.append(1)
        return real(*args, **kwargs)

    monkeypatch.setattr(charts, "svg_of", counting)
    assert draw() == draw()
    assert len(drawn) == 1
    with translation.override("es"):
        draw()
    draw(depths=(1.0, 1.0))
    assert len(drawn) == 3


def test_all_dry_is_a_chart_too():
    assert "total 0.00 in" in texts(draw(depths=(0.0, 0.0)))


def test_edges_must_fit_the_depths():
    with pytest.raises(ValueError, match="one more edge"):
        charts.Bars([START], [1.0])


def test_bars_of_different_length_are_as_high_as_it_rained_hard():
    edges = [START, START + timedelta(minutes=15), START + timedelta(minutes=75)]
    bars = charts.Bars(edges, [2.54, 2.54])
    assert bars.mm_per_h == pytest.approx([10.16, 2.54])
    assert bars.total_mm == pytest.approx(5.08)
    svg = charts.hyetograph(
        bars,
        scale=charts.Scale.holding([bars]),
        title="x",
        description="y",
        units="metric",
        zone="America/Denver",
    )
    assert "mm per hour" in texts(svg)


def heights(svg: str) -> list[str]:
    """What the ticks of the upright axis say."""
    return [text for text in texts(svg) if text and text.replace(".", "").isdigit()]


def test_records_on_one_scale_share_their_axes():
    small, large = (
        charts.Bars([START + timedelta(minutes=15 * n) for n in range(at, at + 4)], depths)
        for at, depths in ((0, [0.0, 1.0, 0.0]), (4, [5.0, 20.0, 5.0]))
    )
    both = charts.Scale.holding([small, large])
    assert (both.start, both.end) == (START, START + timedelta(minutes=105))
    assert (both.most_mm_per_h, both.most_mm) == pytest.approx((80.0, 30.0))
    same = {"title": "x", "description": "y", "units": "us", "zone": "America/Denver"}
    first, second = (charts.hyetograph(one, scale=both, **same) for one in (small, large))
    assert heights(first) == heights(second)
    own = charts.hyetograph(small, scale=charts.Scale.holding([small]), **same)
    assert heights(own) != heights(first)  # not the one that is kept under the common scale
