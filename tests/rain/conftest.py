import pytest

from stewardship.rain.models import Suspicion
from stewardship.rain.services import check_gauges
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
