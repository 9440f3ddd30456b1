import pytest
from django.test import Client

from stewardship.rain.choices import GaugeKind
from stewardship.rain.models import Gauge, Suspicion
from stewardship.rain.services import check_gauges
from tests import factory
from tests.cast import Cast
from tests.rain.doors import Door, command_door, page_door
from tests.rain.odd_gauges import stuck_gauge


@pytest.fixture(params=["command", "page"])
def door(request: pytest.FixtureRequest, coordinator) -> Door:
    """A file brought in by the command, and again by the page."""
    return command_door if request.param == "command" else page_door(coordinator)


@pytest.fixture
def stuck(cast) -> Suspicion:
    stuck_gauge()
    check_gauges()
    return Suspicion.objects.get()


@pytest.fixture
def school(cast: Cast) -> Gauge:
    gauge = factory.make_gauge("school", kind=GaugeKind.DAILY)
    gauge.readers.add(cast.reader.person)
    return gauge


@pytest.fixture
def reader(client_of) -> Client:
    return client_of("reader")
