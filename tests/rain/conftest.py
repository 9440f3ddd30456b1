import pytest

from tests.rain.doors import Door, command_door, page_door


@pytest.fixture(params=["command", "page"])
def door(request: pytest.FixtureRequest, coordinator) -> Door:
    """A file brought in by the command, and again by the page."""
    return command_door if request.param == "command" else page_door(coordinator)
