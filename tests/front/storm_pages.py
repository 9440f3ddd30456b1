"""What tests of the storm page share: the page, its words, its map."""

from datetime import date
from xml.etree import ElementTree as ET

from django.urls import reverse

from stewardship.rain.models import GaugeStorm
from tests import factory

START = factory.at(date(2026, 7, 14), "16:00")


def page(client, storm):
    response = client.get(reverse("storm", args=[storm.pk]))
    assert response.status_code == 200
    return response


def text_of(response) -> str:
    return " ".join(response.content.decode().split())


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
